#include "rig_json.hpp"

#include <set>

namespace ringtrue::json {
namespace {

constexpr int most_outputs = 1'024;  // far above any interface
constexpr std::size_t most_speakers = 1'024;
constexpr std::size_t most_positions = 1'024;

template <std::size_t N>
Object exact(const std::array<double, N>& values) {
  Object array = Object::array();
  for (const double value : values) array.push_back(value + 0.0);  // + 0.0: never -0
  return array;
}

Object format_room(const RoomFacts& room) {
  return {{"size_m", room.size_m ? exact(*room.size_m) : Object{}},
          {"ear_height_m", room.ear_height_m},
          {"temperature_c", room.temperature_c + 0.0}};
}

Object format_interface(const Interface& interface) {
  return {{"sample_rate_hz", interface.sample_rate_hz},
          {"trim_range_db", exact(interface.trim_range_db)},
          {"trim_step_db", interface.trim_step_db},
          {"delay_range_ms", exact(interface.delay_range_ms)},
          {"delay_step_ms", interface.delay_step_ms},
          {"eq_bands", interface.eq_bands},
          {"eq_gain_range_db", exact(interface.eq_gain_range_db)},
          {"eq_gain_step_db", interface.eq_gain_step_db},
          {"eq_q_range", exact(interface.eq_q_range)},
          {"eq_frequency_range_hz", exact(interface.eq_frequency_range_hz)},
          {"polarity_switch", interface.polarity_switch},
          {"loopback_output", interface.loopback_output ? Object(*interface.loopback_output) : Object{}}};
}

Object format_microphone(const MicrophoneFacts& microphone) {
  return {{"full_scale_spl_db", microphone.full_scale_spl_db ? Object(*microphone.full_scale_spl_db) : Object{}}};
}

Object format_speaker(const Speaker& speaker) {
  Object object{{"label", speaker.label},
                {"output", speaker.output},
                {"kind", name(speaker.kind)},
                {"band_hz", exact(std::array{speaker.band.low.value(), speaker.band.high.value()})}};
  if (speaker.crossover_hz) object["crossover_hz"] = *speaker.crossover_hz;
  if (speaker.lfe_only) object["lfe_only"] = true;
  if (speaker.nominal) {
    object["azimuth_deg"] = speaker.nominal->azimuth_deg + 0.0;
    object["elevation_deg"] = speaker.nominal->elevation_deg + 0.0;
  }
  return object;
}

RoomFacts read_room_in_rig(const Reader& reader) {
  return {.size_m = optional(reader.at("size_m"), [](const Reader& size) { return size.numbers<3>(); }),
          .ear_height_m = reader.at("ear_height_m").number(),
          .temperature_c = reader.at("temperature_c").number()};
}

double positive(const Reader& reader) {
  const double value = reader.number();
  reader.require(value > 0.0, "positive");
  return value;
}

std::array<double, 2> range(const Reader& reader) {
  const auto bounds = reader.numbers<2>();
  reader.require(bounds[0] <= bounds[1], "a range, lowest first");
  return bounds;
}

Interface read_interface(const Reader& reader) {
  return {.sample_rate_hz = positive(reader.at("sample_rate_hz")),
          .trim_range_db = range(reader.at("trim_range_db")),
          .trim_step_db = positive(reader.at("trim_step_db")),
          .delay_range_ms = range(reader.at("delay_range_ms")),
          .delay_step_ms = positive(reader.at("delay_step_ms")),
          .eq_bands = reader.at("eq_bands").integer(0, 1'024),
          .eq_gain_range_db = range(reader.at("eq_gain_range_db")),
          .eq_gain_step_db = positive(reader.at("eq_gain_step_db")),
          .eq_q_range = range(reader.at("eq_q_range")),
          .eq_frequency_range_hz = range(reader.at("eq_frequency_range_hz")),
          .polarity_switch = reader.at("polarity_switch").boolean(),
          .loopback_output = optional(reader.at("loopback_output"),
                                      [](const Reader& output) { return output.integer(1, most_outputs); })};
}

BassManagement read_bass_management(const Reader& reader) {
  BassManagement bass{.crossover_hz = positive(reader.at("crossover_hz")),
                      .lfe_gain_db = reader.at("lfe_gain_db").number()};
  if (const auto slope = reader.find("slope")) {
    using enum CrossoverSlope;
    bass.slope = slope->one_of({lr12, lr24, lr36, lr48, bw12, bw18, bw24});
  }
  return bass;
}

std::optional<Direction> read_nominal(const Reader& reader) {
  const auto azimuth = reader.find("azimuth_deg");
  if (!azimuth) return std::nullopt;
  return Direction{azimuth->number(), reader.at("elevation_deg").number()};
}

Speaker read_speaker(const Reader& reader) {
  const auto band = range(reader.at("band_hz"));
  const auto crossover = reader.find("crossover_hz");
  const auto lfe_only = reader.find("lfe_only");
  return {.label = reader.at("label").text(),
          .output = reader.at("output").integer(1, most_outputs),
          .kind = reader.at("kind").one_of({SpeakerKind::main, SpeakerKind::sub}),
          .band = {Hertz{band[0]}, Hertz{band[1]}},
          .crossover_hz = crossover ? std::optional{positive(*crossover)} : std::nullopt,
          .nominal = read_nominal(reader),
          .lfe_only = lfe_only && lfe_only->boolean()};
}

std::vector<Speaker> read_speakers(const Reader& reader) {
  std::vector<Speaker> speakers;
  std::set<std::string> labels;
  std::set<int> outputs;
  for (const auto& element : reader.elements(most_speakers)) {
    speakers.push_back(read_speaker(element));
    element.require(labels.insert(speakers.back().label).second, "a speaker with a label of its own");
    element.require(outputs.insert(speakers.back().output).second, "a speaker on an output of its own");
  }
  return speakers;
}

}  // namespace

Object format_bass_management(const std::optional<BassManagement>& bass_management) {
  if (!bass_management) return nullptr;
  return {{"crossover_hz", bass_management->crossover_hz},
          {"lfe_gain_db", bass_management->lfe_gain_db + 0.0},
          {"slope", name(bass_management->slope)}};
}

Object format_rig(const Rig& rig) {
  Object speakers = Object::array();
  for (const auto& speaker : rig.speakers) speakers.push_back(format_speaker(speaker));
  Object positions = Object::array();
  for (const auto& position : rig.positions) {
    const auto [x, y, z] = position.offset_m;
    positions.push_back({{"offset_m", exact(std::array{x, y, z})}});
  }
  return {{"name", rig.name},
          {"layout", rig.layout},
          {"room", format_room(rig.room)},
          {"interface", format_interface(rig.interface)},
          {"bass_management", format_bass_management(rig.bass_management)},
          {"microphone", format_microphone(rig.microphone)},
          {"speaker", std::move(speakers)},
          {"position", std::move(positions)}};
}

Rig read_rig(const Reader& reader) {
  Rig rig{.name = reader.at("name").text(),
          .layout = reader.at("layout").text(),
          .room = read_room_in_rig(reader.at("room")),
          .interface = read_interface(reader.at("interface")),
          .bass_management = optional(reader.at("bass_management"), read_bass_management),
          .microphone = {},
          .speakers = read_speakers(reader.at("speaker")),
          .positions = {}};
  if (const auto microphone = reader.find("microphone")) {
    rig.microphone.full_scale_spl_db = optional(microphone->at("full_scale_spl_db"), [](const Reader& level) {
      level.require(level.number() >= 20.0 && level.number() <= 200.0, "20 to 200 dB SPL");
      return level.number();
    });
  }
  for (const auto& position : reader.at("position").elements(most_positions)) {
    const auto [x, y, z] = position.at("offset_m").numbers<3>();
    rig.positions.push_back({{x, y, z}});
  }
  return rig;
}

}  // namespace ringtrue::json
