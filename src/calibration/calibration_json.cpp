#include "ringtrue/calibration/calibration_json.hpp"

#include "bass_json.hpp"
#include "correction_json.hpp"
#include "json_numbers.hpp"
#include "json_reader.hpp"
#include "rig_json.hpp"
#include "ringtrue/calibration/sound_pressure.hpp"
#include "ringtrue/core/errors.hpp"
#include "room_json.hpp"
#include "short_arrays.hpp"

namespace ringtrue {
namespace {

using json::number;
using json::Object;
using json::optional_number;
using json::Reader;

constexpr const char* schema = "ringtrue.calibration/1";
constexpr int deepest = 64;
constexpr std::size_t largest_bytes = std::size_t{64} << 20;
constexpr std::size_t most_findings = 100'000;

// Decimals that carry meaning: each is at least ten times finer than the best measurement of its kind.
constexpr int decimals_of_time_ms = 5;
constexpr int decimals_of_level_db = 3;
constexpr int decimals_of_level_uncertainty_db = 4;
constexpr int decimals_of_ratio_db = 1;
constexpr int decimals_of_decay_s = 3;
constexpr int decimals_of_place_m = 4;
constexpr int decimals_of_angle_deg = 2;
constexpr int decimals_of_speed_m_s = 2;
constexpr int decimals_of_setting = 6;  // finer than any interface's step: drops only binary noise (3.4100000000000001)

/// Levels are saved as dB SPL where the rig says what that is.
std::optional<double> shifted(std::optional<double> level_db, double offset_db) {
  if (level_db) *level_db += offset_db;
  return level_db;
}

Object format_position(const PositionResult& position, double level_offset_db) {
  return {{"arrival_ms", number(position.arrival_ms, decimals_of_time_ms)},
          {"arrival_uncertainty_ms", number(position.arrival_uncertainty_ms, decimals_of_time_ms)},
          {"distance_m", number(position.distance_m, decimals_of_place_m)},
          {"level_db", number(shifted(position.level_db, level_offset_db), decimals_of_level_db)},
          {"level_uncertainty_db", number(position.level_uncertainty_db, decimals_of_level_uncertainty_db)},
          {"signal_to_noise_db", number(position.signal_to_noise_db, decimals_of_ratio_db)},
          {"decay_time_s", number(position.decay_time_s, decimals_of_decay_s)}};
}

Object format_place(const Point& place) {
  return Object::array({number(place.x, decimals_of_place_m), number(place.y, decimals_of_place_m),
                        number(place.z, decimals_of_place_m)});
}

Object format_measured(const MeasuredSpeaker& measured, double level_offset_db) {
  const auto& place = measured.position_m;
  const auto& found = measured.found;
  std::optional<Direction> direction;
  if (place) direction = direction_of(*place);
  if (found) direction = found->direction;
  Object positions = Object::array();
  for (const auto& position : measured.positions) positions.push_back(format_position(position, level_offset_db));
  return {
      {"polarity", name(measured.polarity)},
      {"position_m", place ? format_place(*place) : Object{}},
      {"azimuth_deg", direction ? number(direction->azimuth_deg, decimals_of_angle_deg) : Object{}},
      {"elevation_deg", direction ? number(direction->elevation_deg, decimals_of_angle_deg) : Object{}},
      {"direction_uncertainty_deg", found ? number(found->direction_uncertainty_deg, decimals_of_angle_deg) : Object{}},
      {"distance_m", found ? number(found->distance_m, decimals_of_place_m) : Object{}},
      {"distance_uncertainty_m", found ? number(found->distance_uncertainty_m, decimals_of_place_m) : Object{}},
      {"positions", std::move(positions)},
      {"band_ends", json::format_band_ends(measured.band_ends)},
      {"low_octaves", json::format_low_octaves(measured.low_octaves)},
      {"room", json::format_speaker_room(measured.room)}};
}

Object format_settings(const Settings& settings) {
  Object equaliser = Object::array();
  for (const auto& filter : settings.equaliser) {
    equaliser.push_back({{"shape", name(filter.shape)},
                         {"frequency_hz", number(filter.frequency_hz, decimals_of_setting)},
                         {"gain_db", number(filter.gain_db, decimals_of_setting)},
                         {"q", number(filter.q, decimals_of_setting)}});
  }
  return {{"delay_ms", number(settings.delay_ms, decimals_of_setting)},
          {"trim_db", number(settings.trim_db, decimals_of_setting)},
          {"invert", settings.invert},
          {"equaliser", std::move(equaliser)}};
}

Object format_speaker(const SpeakerResult& speaker, double level_offset_db) {
  return {{"label", speaker.label},
          {"output", speaker.output},
          {"kind", name(speaker.kind)},
          {"status", name(speaker.status)},
          {"measured", format_measured(speaker.measured, level_offset_db)},
          {"settings", format_settings(speaker.settings)},
          {"correction", json::format_correction(speaker.correction)}};
}

Object format_locating(const std::optional<Locating>& locating) {
  if (!locating) return nullptr;
  return {{"speed_of_sound_m_s", number(locating->speed_of_sound_m_s, decimals_of_speed_m_s)},
          {"speed_solved", locating->speed_solved},
          {"spot_uncertainty_m", number(locating->spot_uncertainty_m, decimals_of_place_m)}};
}

Object format_finding(const Finding& finding) {
  return {{"severity", name(finding.severity)},
          {"code", finding.code},
          {"speaker", finding.speaker ? Object(*finding.speaker) : Object{}},
          {"message", finding.message}};
}

PositionResult read_position(const Reader& reader, double level_offset_db) {
  return {.arrival_ms = optional_number(reader.at("arrival_ms")),
          .arrival_uncertainty_ms = optional_number(reader.at("arrival_uncertainty_ms")),
          .distance_m = optional_number(reader.at("distance_m")),
          .level_db = shifted(optional_number(reader.at("level_db")), -level_offset_db),
          .level_uncertainty_db = optional_number(reader.at("level_uncertainty_db")),
          .signal_to_noise_db = optional_number(reader.at("signal_to_noise_db")),
          .decay_time_s = optional_number(reader.at("decay_time_s"))};
}

/// Earlier versions wrote the angles of a place alone: what tells that a place was found is its uncertainty.
std::optional<FoundPlace> read_found(const Reader& reader) {
  const auto uncertainty = reader.find("direction_uncertainty_deg");
  if (!uncertainty) return std::nullopt;
  return FoundPlace{.direction = {reader.at("azimuth_deg").number(), reader.at("elevation_deg").number()},
                    .direction_uncertainty_deg = uncertainty->number(),
                    .distance_m = optional_number(reader.at("distance_m")),
                    .distance_uncertainty_m = optional_number(reader.at("distance_uncertainty_m"))};
}

MeasuredSpeaker read_measured(const Reader& reader, const Rig& rig) {
  MeasuredSpeaker measured;
  measured.polarity = reader.at("polarity").one_of({Polarity::normal, Polarity::inverted, Polarity::unsure});
  measured.position_m = json::optional(reader.at("position_m"), [](const Reader& place) {
    const auto [x, y, z] = place.numbers<3>();
    return Point{x, y, z};
  });
  const double level_offset_db = spl_offset_db(rig).value_or(0.0);
  for (const auto& position : reader.at("positions").elements(rig.positions.size())) {
    measured.positions.push_back(read_position(position, level_offset_db));
  }
  measured.found = read_found(reader);
  if (const auto ends = reader.find("band_ends")) measured.band_ends = json::read_band_ends(*ends);
  if (const auto octaves = reader.find("low_octaves")) measured.low_octaves = json::read_low_octaves(*octaves);
  if (const auto room = reader.find("room")) measured.room = json::read_speaker_room(*room);
  return measured;
}

Filter read_filter(const Reader& reader) {
  return {.shape = reader.at("shape").one_of({FilterShape::peak, FilterShape::low_shelf, FilterShape::high_shelf}),
          .frequency_hz = reader.at("frequency_hz").number(),
          .gain_db = reader.at("gain_db").number(),
          .q = reader.at("q").number()};
}

Settings read_settings(const Reader& reader) {
  Settings settings{.delay_ms = optional_number(reader.at("delay_ms")),
                    .trim_db = optional_number(reader.at("trim_db")),
                    .invert = reader.at("invert").boolean(),
                    .equaliser = {}};
  for (const auto& filter : reader.at("equaliser").elements(1'024)) settings.equaliser.push_back(read_filter(filter));
  return settings;
}

/// The result of one speaker, which must be the rig's speaker at the same place in the list.
SpeakerResult read_speaker(const Reader& reader, const Calibration& calibration) {
  const Rig& rig = calibration.rig;
  const std::size_t index = calibration.speakers.size();
  const Speaker& speaker = rig.speakers[index];
  reader.at("label").require(reader.at("label").text() == speaker.label, '"' + speaker.label + "\" as in the rig");
  reader.at("output").require(reader.at("output").number() == speaker.output,
                              std::to_string(speaker.output) + " as in the rig");
  SpeakerResult result{.label = speaker.label,
                       .output = speaker.output,
                       .kind = reader.at("kind").one_of({speaker.kind}),
                       .status = reader.at("status").one_of({Status::ok, Status::silent, Status::unreliable}),
                       .measured = read_measured(reader.at("measured"), rig),
                       .settings = read_settings(reader.at("settings"))};
  if (const auto correction = reader.find("correction")) {
    correction->require(calibration.correction.has_value(), "backed by a correction of the whole calibration");
    result.correction =
        json::read_speaker_correction(*correction, *calibration.correction, result.measured.positions.size());
  }
  return result;
}

Locating read_locating(const Reader& reader) {
  return {.speed_of_sound_m_s = reader.at("speed_of_sound_m_s").number(),
          .speed_solved = reader.at("speed_solved").boolean(),
          .spot_uncertainty_m = reader.at("spot_uncertainty_m").number()};
}

Finding read_finding(const Reader& reader) {
  return {.severity = reader.at("severity").one_of({Severity::stop, Severity::warn, Severity::note}),
          .code = reader.at("code").text(),
          .speaker = json::optional(reader.at("speaker"), [](const Reader& label) { return label.text(); }),
          .message = reader.at("message").text()};
}

}  // namespace

std::string format_calibration(const Calibration& calibration) {
  const double level_offset_db = spl_offset_db(calibration.rig).value_or(0.0);
  Object speakers = Object::array();
  for (const auto& speaker : calibration.speakers) speakers.push_back(format_speaker(speaker, level_offset_db));
  Object findings = Object::array();
  for (const auto& finding : calibration.findings) findings.push_back(format_finding(finding));
  const Object all{{"schema", schema},
                   {"date", calibration.date.empty() ? Object{} : Object(calibration.date)},
                   {"rig", json::format_rig(calibration.rig)},
                   {"time_reference", name(calibration.time_reference)},
                   {"level_unit", level_unit(calibration.rig)},
                   {"speakers", std::move(speakers)},
                   {"bass_management", json::format_bass(calibration)},
                   {"lfe_only", json::format_lfe_groups(calibration.lfe_groups)},
                   {"correction", json::format_correction(calibration.correction)},
                   {"locating", format_locating(calibration.locating)},
                   {"room", json::format_room(calibration.room)},
                   {"findings", std::move(findings)}};
  const std::string text = all.dump(2, ' ', false, Object::error_handler_t::replace);  // a file name may not be UTF-8
  return json::with_short_arrays(text) + '\n';
}

Calibration parse_calibration(std::string_view text, const std::string& text_name) {
  if (text.size() > largest_bytes) {
    throw InvalidInput{text_name, "is larger than 64 MiB", "use a calibration.json that this program wrote"};
  }
  const json::Parsed parsed = json::parse(text, text_name, deepest);
  const Reader reader{parsed, text_name};
  reader.at("schema").require(reader.at("schema").text() == schema, '"' + std::string{schema} + '"');

  Calibration calibration;
  if (const auto date = reader.find("date")) calibration.date = date->text();
  calibration.rig = json::read_rig(reader.at("rig"));
  calibration.time_reference =
      reader.at("time_reference").one_of({TimeReference::loopback, TimeReference::earliest_arrival});
  if (const auto correction = reader.find("correction")) calibration.correction = json::read_correction(*correction);
  const auto speakers = reader.at("speakers").elements(calibration.rig.speakers.size());
  reader.at("speakers")
      .require(speakers.size() == calibration.rig.speakers.size(), "as long as the rig's speaker list");
  for (const auto& speaker : speakers) {
    calibration.speakers.push_back(read_speaker(speaker, calibration));
  }
  if (const auto bass = reader.find("bass_management")) json::read_bass(*bass, calibration);
  if (const auto groups = reader.find("lfe_only")) calibration.lfe_groups = json::read_lfe_groups(*groups);
  if (const auto locating = reader.find("locating")) calibration.locating = read_locating(*locating);
  if (const auto room = reader.find("room")) calibration.room = json::read_room(*room);
  for (const auto& finding : reader.at("findings").elements(most_findings)) {
    calibration.findings.push_back(read_finding(finding));
  }
  return calibration;
}

}  // namespace ringtrue
