#include "bass_json.hpp"

#include "bass_picture_json.hpp"
#include "rig_json.hpp"

namespace ringtrue::json {
namespace {

constexpr int bass_decimals_of_shift_ms = 3;
constexpr int bass_decimals_of_change_db = 2;
constexpr int bass_decimals_of_frequency_hz = 1;
constexpr int bass_decimals_of_ratio_db = 1;
constexpr std::size_t most_octaves = 100;
constexpr std::size_t most_subs = 1'024;
constexpr std::size_t most_trials = 1'000;
constexpr std::size_t most_grouped_mains = 1'024;

Object format_variance(const std::optional<std::array<double, 2>>& variance_db2) {
  if (!variance_db2) return nullptr;
  return {{"together", number((*variance_db2)[0], bass_decimals_of_change_db)},
          {"as_set", number((*variance_db2)[1], bass_decimals_of_change_db)}};
}

Object format_subs(const std::vector<BassAlignmentResult::Sub>& subs) {
  Object array = Object::array();
  for (const auto& sub : subs) {
    array.push_back({{"label", sub.label},
                     {"shift_ms", number(sub.shift_ms, bass_decimals_of_shift_ms)},
                     {"gain_db", number(sub.gain_db, bass_decimals_of_change_db)}});
  }
  return array;
}

Object format_alignment(const BassAlignmentResult& alignment) {
  return {{"subs", format_subs(alignment.subs)},
          {"band_hz", Object::array({alignment.band_hz[0], alignment.band_hz[1]})},
          {"gain_db", number(alignment.gain_db, bass_decimals_of_change_db)},
          {"power_gain_db", number(alignment.power_gain_db, bass_decimals_of_change_db)},
          {"worst_main", alignment.worst_main},
          {"worst_main_change_db", number(alignment.worst_main_change_db, bass_decimals_of_change_db)},
          {"spatial_variance_db2", format_variance(alignment.spatial_variance_db2)}};
}

Object format_trials(const std::vector<CrossoverSuggestion::Trial>& trials) {
  Object tried = Object::array();
  for (const auto& trial : trials) {
    tried.push_back({{"crossover_hz", trial.crossover_hz},
                     {"shortfall_db", number(trial.shortfall_db, bass_decimals_of_change_db)},
                     {"roughness_db", number(trial.roughness_db, bass_decimals_of_change_db)}});
  }
  return tried;
}

Object format_suggestion(const CrossoverSuggestion& suggestion) {
  Object result{{"crossover_hz", suggestion.crossover_hz}, {"tried", format_trials(suggestion.tried)}};
  if (suggestion.own.empty()) return result;
  result["own"] = Object::array();
  for (const auto& group : suggestion.own) {
    Object mains = Object::array();
    for (const auto& label : group.mains) mains.push_back(label);
    result["own"].push_back(
        {{"mains", std::move(mains)}, {"crossover_hz", group.crossover_hz}, {"tried", format_trials(group.tried)}});
  }
  return result;
}

std::optional<std::array<double, 2>> read_variance(const Reader& reader) {
  return std::array{reader.at("together").number(), reader.at("as_set").number()};
}

std::vector<BassAlignmentResult::Sub> read_subs(const Reader& reader) {
  std::vector<BassAlignmentResult::Sub> subs;
  for (const auto& sub : reader.elements(most_subs)) {
    const auto gain = sub.find("gain_db");
    subs.push_back({sub.at("label").text(), sub.at("shift_ms").number(), gain ? gain->number() : 0.0});
  }
  return subs;
}

BassAlignmentResult read_alignment(const Reader& reader) {
  const auto variance = reader.find("spatial_variance_db2");
  return {.subs = read_subs(reader.at("subs")),
          .spatial_variance_db2 = variance ? read_variance(*variance) : std::nullopt,
          .band_hz = reader.at("band_hz").numbers<2>(),
          .gain_db = reader.at("gain_db").number(),
          .power_gain_db = reader.at("power_gain_db").number(),
          .worst_main = reader.at("worst_main").text(),
          .worst_main_change_db = reader.at("worst_main_change_db").number()};
}

std::vector<CrossoverSuggestion::Trial> read_trials(const Reader& reader) {
  std::vector<CrossoverSuggestion::Trial> trials;
  for (const auto& trial : reader.elements(most_trials)) {
    trials.push_back(
        {trial.at("crossover_hz").number(), trial.at("shortfall_db").number(), trial.at("roughness_db").number()});
  }
  return trials;
}

CrossoverSuggestion read_suggestion(const Reader& reader) {
  CrossoverSuggestion suggestion{reader.at("crossover_hz").number(), read_trials(reader.at("tried"))};
  const auto own = reader.find("own");
  if (!own) return suggestion;
  for (const auto& group : own->elements(most_grouped_mains)) {
    suggestion.own.push_back({{}, group.at("crossover_hz").number(), read_trials(group.at("tried"))});
    for (const auto& label : group.at("mains").elements(most_grouped_mains)) {
      suggestion.own.back().mains.push_back(label.text());
    }
  }
  return suggestion;
}

}  // namespace

Object format_bass(const Calibration& calibration) {
  Object bass = format_bass_management(calibration.rig.bass_management);
  if (bass.is_null()) return bass;
  const auto& alignment = calibration.bass_alignment;
  const auto& suggestion = calibration.crossover_suggestion;
  bass["alignment"] = alignment ? format_alignment(*alignment) : Object{};
  bass["crossover_suggestion"] = suggestion ? format_suggestion(*suggestion) : Object{};
  bass["lfe_peak_dbfs"] = number(calibration.lfe_peak_dbfs, bass_decimals_of_change_db);
  bass["picture"] = calibration.bass_picture ? format_bass_picture(*calibration.bass_picture) : Object{};
  return bass;
}

void read_bass(const Reader& reader, Calibration& calibration) {
  if (const auto alignment = reader.find("alignment")) calibration.bass_alignment = read_alignment(*alignment);
  if (const auto peak = reader.find("lfe_peak_dbfs")) calibration.lfe_peak_dbfs = peak->number();
  if (const auto picture = reader.find("picture")) calibration.bass_picture = read_bass_picture(*picture);
  if (const auto suggestion = reader.find("crossover_suggestion")) {
    calibration.crossover_suggestion = read_suggestion(*suggestion);
  }
}

Object format_lfe_groups(const std::vector<LfeGroupResult>& groups) {
  Object array = Object::array();
  for (const LfeGroupResult& group : groups) {
    array.push_back(
        {{"subs", format_subs(group.subs)}, {"spatial_variance_db2", format_variance(group.spatial_variance_db2)}});
  }
  return array;
}

std::vector<LfeGroupResult> read_lfe_groups(const Reader& reader) {
  std::vector<LfeGroupResult> groups;
  for (const auto& group : reader.elements(most_subs)) {
    const auto variance = group.find("spatial_variance_db2");
    groups.push_back({read_subs(group.at("subs")), variance ? read_variance(*variance) : std::nullopt});
  }
  return groups;
}

Object format_band_ends(const BandEnds& ends) {
  return {{"low_3_db_hz", number(ends.low_3_db_hz, bass_decimals_of_frequency_hz)},
          {"low_10_db_hz", number(ends.low_10_db_hz, bass_decimals_of_frequency_hz)},
          {"high_3_db_hz", number(ends.high_3_db_hz, bass_decimals_of_frequency_hz)},
          {"high_10_db_hz", number(ends.high_10_db_hz, bass_decimals_of_frequency_hz)}};
}

BandEnds read_band_ends(const Reader& reader) {
  return {.low_3_db_hz = optional_number(reader.at("low_3_db_hz")),
          .low_10_db_hz = optional_number(reader.at("low_10_db_hz")),
          .high_3_db_hz = optional_number(reader.at("high_3_db_hz")),
          .high_10_db_hz = optional_number(reader.at("high_10_db_hz"))};
}

Object format_low_octaves(const std::vector<LowOctave>& octaves) {
  Object array = Object::array();
  for (const LowOctave& octave : octaves) {
    array.push_back({{"centre_hz", number(octave.centre_hz, bass_decimals_of_frequency_hz)},
                     {"level_db", number(octave.level_db, bass_decimals_of_change_db)},
                     {"signal_to_noise_db", number(octave.signal_to_noise_db, bass_decimals_of_ratio_db)}});
  }
  return array;
}

std::vector<LowOctave> read_low_octaves(const Reader& reader) {
  std::vector<LowOctave> octaves;
  for (const Reader& octave : reader.elements(most_octaves)) {
    octaves.push_back(
        {octave.at("centre_hz").number(), octave.at("level_db").number(), octave.at("signal_to_noise_db").number()});
  }
  return octaves;
}

}  // namespace ringtrue::json
