#include "kept_filters.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

#include "expected_response.hpp"
#include "heard_responses.hpp"
#include "neutral_response.hpp"
#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

constexpr double clearly_worse_db = 1.0;  // of the standard deviation from the target; a judgement

using Levels = std::vector<std::vector<double>>;  // [mic position][third octave]

/// Mean of level - target over the corrected band.
double mean_over_target_db(const SpeakerCorrection& correction, std::span<const double> level_db) {
  double sum = 0.0;
  double count = 0.0;
  const auto centres_hz = shown_third_octaves_hz();
  for (std::size_t i = 0; i < centres_hz.size(); ++i) {
    if (centres_hz[i] < correction.band_hz[0] || centres_hz[i] > correction.band_hz[1]) continue;
    sum += level_db[i] - correction.target_db[i];
    count += 1.0;
  }
  return count > 0.0 ? sum / count : 0.0;
}

/// Third octaves of a speaker at each position where it was heard. @param gain_db  of filters, per cell; empty: none
Levels levels_of(std::span<const PowerCells> cells, std::span<const double> gain_db) {
  Levels levels;
  for (const PowerCells& position : cells) levels.push_back(third_octave_levels_db(position, gain_db));
  return levels;
}

std::vector<PowerCells> cells_of(const Rig& rig, std::span<const PositionMeasurement> positions, std::size_t speaker) {
  std::vector<PowerCells> cells;
  for (const HeardResponse& response : heard_responses(rig, positions, speaker)) cells.emplace_back(response);
  return cells;
}

/// The old responses at the positions that have new ones.
std::vector<PositionMeasurement> same_positions(std::span<const PositionMeasurement> before,
                                                std::span<const PositionMeasurement> now, std::size_t speaker) {
  std::vector<PositionMeasurement> result;
  for (std::size_t p = 0; p < std::min(before.size(), now.size()); ++p) {
    if (now[p].speakers[speaker].heard) result.push_back(before[p]);
  }
  return result;
}

double deviation_of(const SpeakerCorrection& correction, const Levels& levels) {
  return deviation_db(power_average_db(levels), correction.target_db, correction.band_hz);
}

std::string kept_words(const SpeakerResult& speaker) {
  const std::size_t filters = speaker.settings.equaliser.size();
  if (filters == 0) return "impulse response";
  return filters == 1 ? "filter" : fmt::format("{} filters", filters);
}

/// @param then_db  the deviation before the move; empty where it is not known how the filters do now
void add_kept_note(const SpeakerResult& speaker, std::optional<double> then_db, Findings& findings) {
  std::string words = fmt::format("{} (output {}) keeps its {}.", speaker.label, speaker.output, kept_words(speaker));
  if (then_db) {
    const auto& now = speaker.correction;
    words += fmt::format(
        " Its response departs from the target by {:.1f} dB now, {:.1f} dB without; before the move it was {:.1f} dB "
        "(standard deviations).",
        now->deviation_after_db, now->deviation_before_db, *then_db);
    const bool unfit = now->deviation_after_db > now->deviation_before_db + 0.05 ||
                       now->deviation_after_db > *then_db + clearly_worse_db;
    if (unfit) words += " That no longer fits well: calibrate the whole ring again for new filters.";
  }
  findings.push_back({Severity::note, "filters-kept", speaker.label, std::move(words)});
}

/// What the kept filters do at the new place, in the same levels as before the move.
/// @returns the deviation they left before the move, at the same positions; empty where that is not known
std::optional<double> renew_correction(const Rig& rig, std::span<const PositionMeasurement> before,
                                       std::span<const PositionMeasurement> now, std::size_t s,
                                       SpeakerResult& speaker) {
  const auto cells = cells_of(rig, now, s);
  const auto old_cells = cells_of(rig, same_positions(before, now, s), s);
  if (!speaker.correction || speaker.correction->before_db.empty() || cells.empty() || old_cells.empty() ||
      speaker.correction->target_db.size() != shown_third_octaves_hz().size()) {
    return std::nullopt;
  }
  SpeakerCorrection& correction = *speaker.correction;
  const double rate_hz = rig.interface.sample_rate_hz;
  const auto gains = gain_db(speaker.settings.equaliser, PowerCells::centres_hz(), Hertz{rate_hz});
  const double shown_at_db = mean_over_target_db(correction, power_average_db(correction.before_db));
  correction.before_db = levels_of(cells, {});
  correction.after_db = levels_of(cells, gains);
  const double shift_db = mean_over_target_db(correction, power_average_db(correction.before_db)) - shown_at_db;
  for (Levels* const levels : {&correction.before_db, &correction.after_db}) {
    for (auto& position : *levels) {
      for (double& level : position) level -= shift_db;
    }
  }
  correction.deviation_before_db = deviation_of(correction, correction.before_db);
  correction.deviation_after_db = deviation_of(correction, correction.after_db);
  correction.level_change_db =
      equaliser_effect_db(now.front().speakers[s].response, speaker.settings.equaliser, speaker.kind, rate_hz);
  return deviation_of(correction, levels_of(old_cells, gains));
}

}  // namespace

void renew_corrections(const Calibration& against, std::span<const PositionMeasurement> before,
                       std::span<const std::size_t> named, Recheck& result) {
  for (const std::size_t s : named) {
    SpeakerResult& speaker = result.calibration.speakers[s];
    const bool by_fir = speaker.correction && !speaker.correction->fir_gain_db.empty();
    if (speaker.status != Status::ok || (speaker.settings.equaliser.empty() && !by_fir)) continue;
    const auto then_db = by_fir ? std::nullopt : renew_correction(against.rig, before, result.positions, s, speaker);
    add_kept_note(speaker, then_db, result.findings);
  }
}

}  // namespace ringtrue
