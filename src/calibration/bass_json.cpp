#include "bass_json.hpp"

#include "rig_json.hpp"

namespace ringtrue::json {
namespace {

constexpr int decimals_of_shift_ms = 3;
constexpr int decimals_of_change_db = 2;
constexpr int decimals_of_frequency_hz = 1;
constexpr std::size_t most_subs = 1'024;
constexpr std::size_t most_trials = 1'000;

Object format_alignment(const BassAlignmentResult& alignment) {
  Object subs = Object::array();
  for (const auto& sub : alignment.subs) {
    subs.push_back({{"label", sub.label}, {"shift_ms", number(sub.shift_ms, decimals_of_shift_ms)}});
  }
  return {{"subs", std::move(subs)},
          {"band_hz", Object::array({alignment.band_hz[0], alignment.band_hz[1]})},
          {"gain_db", number(alignment.gain_db, decimals_of_change_db)},
          {"power_gain_db", number(alignment.power_gain_db, decimals_of_change_db)},
          {"worst_main", alignment.worst_main},
          {"worst_main_change_db", number(alignment.worst_main_change_db, decimals_of_change_db)}};
}

Object format_suggestion(const CrossoverSuggestion& suggestion) {
  Object tried = Object::array();
  for (const auto& trial : suggestion.tried) {
    tried.push_back({{"crossover_hz", trial.crossover_hz},
                     {"shortfall_db", number(trial.shortfall_db, decimals_of_change_db)},
                     {"roughness_db", number(trial.roughness_db, decimals_of_change_db)}});
  }
  return {{"crossover_hz", suggestion.crossover_hz}, {"tried", std::move(tried)}};
}

BassAlignmentResult read_alignment(const Reader& reader) {
  BassAlignmentResult alignment{.subs = {},
                                .band_hz = reader.at("band_hz").numbers<2>(),
                                .gain_db = reader.at("gain_db").number(),
                                .power_gain_db = reader.at("power_gain_db").number(),
                                .worst_main = reader.at("worst_main").text(),
                                .worst_main_change_db = reader.at("worst_main_change_db").number()};
  for (const auto& sub : reader.at("subs").elements(most_subs)) {
    alignment.subs.push_back({sub.at("label").text(), sub.at("shift_ms").number()});
  }
  return alignment;
}

CrossoverSuggestion read_suggestion(const Reader& reader) {
  CrossoverSuggestion suggestion{reader.at("crossover_hz").number(), {}};
  for (const auto& trial : reader.at("tried").elements(most_trials)) {
    suggestion.tried.push_back(
        {trial.at("crossover_hz").number(), trial.at("shortfall_db").number(), trial.at("roughness_db").number()});
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
  return bass;
}

void read_bass(const Reader& reader, Calibration& calibration) {
  if (const auto alignment = reader.find("alignment")) calibration.bass_alignment = read_alignment(*alignment);
  if (const auto suggestion = reader.find("crossover_suggestion")) {
    calibration.crossover_suggestion = read_suggestion(*suggestion);
  }
}

Object format_band_ends(const BandEnds& ends) {
  return {{"low_3_db_hz", number(ends.low_3_db_hz, decimals_of_frequency_hz)},
          {"low_10_db_hz", number(ends.low_10_db_hz, decimals_of_frequency_hz)},
          {"high_3_db_hz", number(ends.high_3_db_hz, decimals_of_frequency_hz)},
          {"high_10_db_hz", number(ends.high_10_db_hz, decimals_of_frequency_hz)}};
}

BandEnds read_band_ends(const Reader& reader) {
  return {.low_3_db_hz = optional_number(reader.at("low_3_db_hz")),
          .low_10_db_hz = optional_number(reader.at("low_10_db_hz")),
          .high_3_db_hz = optional_number(reader.at("high_3_db_hz")),
          .high_10_db_hz = optional_number(reader.at("high_10_db_hz"))};
}

}  // namespace ringtrue::json
