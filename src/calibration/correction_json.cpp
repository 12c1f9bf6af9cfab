#include "correction_json.hpp"

namespace ringtrue::json {
namespace {

constexpr int correction_decimals_of_level_db = 2;
constexpr int correction_decimals_of_change_db = 3;
constexpr int correction_decimals_of_frequency_hz = 1;
constexpr int correction_decimals_of_fir_hz = 4;
constexpr std::size_t most_third_octaves = 1'000;
constexpr std::size_t most_fir_points = 10'000;
constexpr int most_taps = 262'144;

Object format_levels(const std::vector<double>& levels_db) {
  Object list = Object::array();
  for (const double level : levels_db) list.push_back(number(level, correction_decimals_of_level_db));
  return list;
}

Object format_positions(const std::vector<std::vector<double>>& positions) {
  Object list = Object::array();
  for (const auto& levels : positions) list.push_back(format_levels(levels));
  return list;
}

std::vector<double> read_levels(const Reader& reader, std::size_t count) {
  std::vector<double> levels;
  for (const auto& level : reader.elements(count)) levels.push_back(level.number());
  reader.require(levels.size() == count, "as long as correction.third_octave_hz");
  return levels;
}

std::vector<std::vector<double>> read_positions(const Reader& reader, std::size_t third_octaves,
                                                std::size_t positions) {
  std::vector<std::vector<double>> result;
  for (const auto& levels : reader.elements(positions)) result.push_back(read_levels(levels, third_octaves));
  return result;
}

}  // namespace

Object format_correction(const std::optional<CorrectionResult>& correction) {
  if (!correction) return nullptr;
  Object centres = Object::array();
  for (const double f : correction->third_octave_hz) centres.push_back(number(f, correction_decimals_of_frequency_hz));
  Object result{{"target", correction->target},
                {"transition_hz", number(correction->transition_hz, correction_decimals_of_frequency_hz)},
                {"transition_from", correction->transition_from},
                {"third_octave_hz", std::move(centres)}};
  if (correction->fir_taps == 0) return result;
  Object frequencies = Object::array();
  for (const double f : correction->fir_frequency_hz) frequencies.push_back(number(f, correction_decimals_of_fir_hz));
  result["fir"] = {{"taps", correction->fir_taps},
                   {"mixed_phase", correction->fir_mixed_phase},
                   {"frequency_hz", std::move(frequencies)}};
  return result;
}

Object format_correction(const std::optional<SpeakerCorrection>& correction) {
  if (!correction) return nullptr;
  Object result{{"band_hz", Object::array({number(correction->band_hz[0], correction_decimals_of_frequency_hz),
                                           number(correction->band_hz[1], correction_decimals_of_frequency_hz)})},
                {"level_change_db", number(correction->level_change_db, correction_decimals_of_change_db)},
                {"largest_boost_db", number(correction->largest_boost_db, correction_decimals_of_change_db)},
                {"deviation_before_db", number(correction->deviation_before_db, correction_decimals_of_level_db)},
                {"deviation_after_db", number(correction->deviation_after_db, correction_decimals_of_level_db)},
                {"target_db", format_levels(correction->target_db)},
                {"before_db", format_positions(correction->before_db)},
                {"after_db", format_positions(correction->after_db)}};
  if (!correction->fir_gain_db.empty()) result["fir_gain_db"] = format_levels(correction->fir_gain_db);
  return result;
}

CorrectionResult read_correction(const Reader& reader) {
  CorrectionResult correction;
  correction.target = reader.at("target").text();
  correction.transition_hz = reader.at("transition_hz").number();
  correction.transition_from = reader.at("transition_from").text();
  for (const auto& f : reader.at("third_octave_hz").elements(most_third_octaves)) {
    correction.third_octave_hz.push_back(f.number());
  }
  if (const auto fir = reader.find("fir")) {
    correction.fir_taps = fir->at("taps").integer(16, most_taps);
    correction.fir_mixed_phase = fir->at("mixed_phase").boolean();
    for (const auto& f : fir->at("frequency_hz").elements(most_fir_points)) {
      const double last = correction.fir_frequency_hz.empty() ? 0.0 : correction.fir_frequency_hz.back();
      f.require(f.number() > last, "larger than the one before");
      correction.fir_frequency_hz.push_back(f.number());
    }
  }
  return correction;
}

SpeakerCorrection read_speaker_correction(const Reader& reader, const CorrectionResult& common, std::size_t positions) {
  const std::size_t third_octaves = common.third_octave_hz.size();
  SpeakerCorrection correction{.band_hz = reader.at("band_hz").numbers<2>(),
                               .level_change_db = reader.at("level_change_db").number(),
                               .largest_boost_db = reader.at("largest_boost_db").number(),
                               .deviation_before_db = reader.at("deviation_before_db").number(),
                               .deviation_after_db = reader.at("deviation_after_db").number(),
                               .target_db = read_levels(reader.at("target_db"), third_octaves),
                               .before_db = read_positions(reader.at("before_db"), third_octaves, positions),
                               .after_db = read_positions(reader.at("after_db"), third_octaves, positions)};
  if (const auto gains = reader.find("fir_gain_db")) {
    correction.fir_gain_db = read_levels(*gains, common.fir_frequency_hz.size());
    gains->require(!correction.fir_gain_db.empty(), "a list of gains");
  }
  return correction;
}

}  // namespace ringtrue::json
