#include "crossover_suggestion.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

constexpr double lowest_tried_hz = 40.0;
constexpr double highest_tried_hz = 200.0;
constexpr double step_hz = 10.0;
constexpr Band smooth_over{Hertz{30.0}, Hertz{400.0}};    // where roughness is judged, whatever the crossover
constexpr double third_octave_reach = 1.122462048309373;  // 2^(1/6)
constexpr double as_good_db = 0.3;                        // a score that much better is worth a change

constexpr double heard_from_hz = 100.0;      // above, a sub may be heard to stand where it stands
constexpr double heard_db_per_octave = 1.0;  // what that counts; a judgement

using Trial = CrossoverSuggestion::Trial;

double score_db(const Trial& trial) {
  const double octaves = std::max(0.0, std::log2(trial.crossover_hz / heard_from_hz));
  return trial.shortfall_db + trial.roughness_db + heard_db_per_octave * octaves;
}

std::complex<double> turn(double frequency_hz, const BassAlignment& alignment) {
  const double angle = -2e-3 * std::numbers::pi * frequency_hz * alignment.shift_ms;
  return std::polar(1.0, angle) * (alignment.invert ? -1.0 : 1.0);
}

/// Mean over positions and, on a logarithmic scale, over frequencies of what adding up in phase would win.
double shortfall_db(const BassPair& pair, const BassAlignment& alignment) {
  double sum = 0.0;
  double weights = 0.0;
  for (std::size_t k = 0; k < pair.frequency_hz.size(); ++k) {
    const auto turned = turn(pair.frequency_hz[k], alignment);
    for (std::size_t p = 0; p < pair.main.size(); ++p) {
      const double best = std::abs(pair.main[p][k]) + std::abs(pair.sub[p][k]);
      const double is = std::abs(pair.main[p][k] + turned * pair.sub[p][k]);
      sum += 20.0 * std::log10(std::max(best, 1e-15) / std::max(is, 1e-15)) / pair.frequency_hz[k];
      weights += 1.0 / pair.frequency_hz[k];
    }
  }
  return sum / weights;
}

/// Level of the sum's power, averaged over positions and third octaves around every bin.
std::vector<double> smoothed_db(const BassPair& pair, const BassAlignment& alignment) {
  std::vector<double> sums{0.0};
  for (std::size_t k = 0; k < pair.frequency_hz.size(); ++k) {
    double power = 0.0;
    for (std::size_t p = 0; p < pair.main.size(); ++p) {
      power += std::norm(pair.main[p][k] + turn(pair.frequency_hz[k], alignment) * pair.sub[p][k]);
    }
    sums.push_back(sums.back() + power);
  }
  std::vector<double> levels;
  for (const double f : pair.frequency_hz) {
    const GridRange near =
        grid_range(pair.frequency_hz, {Hertz{f / third_octave_reach}, Hertz{f * third_octave_reach}});
    const double power = (sums[near.first + near.count] - sums[near.first]) / static_cast<double>(near.count);
    levels.push_back(10.0 * std::log10(std::max(power, 1e-30)));
  }
  return levels;
}

/// Standard deviation of the smoothed sum on a logarithmic frequency scale.
double roughness_db(const BassPair& pair, const BassAlignment& alignment) {
  const auto levels = smoothed_db(pair, alignment);
  double weights = 0.0, mean = 0.0, square = 0.0;
  for (std::size_t k = 0; k < levels.size(); ++k) {
    const double w = 1.0 / pair.frequency_hz[k];
    weights += w;
    mean += w * levels[k];
    square += w * levels[k] * levels[k];
  }
  mean /= weights;
  return std::sqrt(std::max(0.0, square / weights - mean * mean));
}

/// Average over the mains by importance.
template <class Judge>
double over_mains(std::span<const BassPair> pairs, const Judge& judge) {
  double sum = 0.0;
  double weights = 0.0;
  for (const BassPair& pair : pairs) {
    sum += pair.importance * judge(pair);
    weights += pair.importance;
  }
  return sum / weights;
}

/// Those of the pairs whose mains are in question.
std::vector<BassPair> pairs_of(const BassPairs& all, std::span<const std::size_t> mains) {
  std::vector<BassPair> result;
  for (std::size_t m = 0; m < all.mains.size(); ++m) {
    if (std::ranges::find(mains, all.mains[m]) != mains.end()) result.push_back(all.pairs[m]);
  }
  return result;
}

/// @param mains  those that get this crossover and are judged; the sub is set for all
Trial try_crossover(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                    std::span<const SpeakerResult> speakers, std::span<const std::size_t> mains, double crossover_hz) {
  CrossoverChoice choice = crossover_of(rig);
  for (const std::size_t s : mains) choice.frequency_hz[s] = crossover_hz;
  const BassPairs around = pair_mains(rig, bass, group, choice, speakers);
  double lowest_crossover_hz = crossover_hz;
  for (const std::size_t s : around.mains) lowest_crossover_hz = std::min(lowest_crossover_hz, choice.frequency_hz[s]);
  const BassAlignment alignment = align_bass(around.pairs, allowed_shifts(rig, group, speakers, lowest_crossover_hz));
  const BassPairs wide = pair_mains(rig, bass, group, choice, speakers, smooth_over);
  return {crossover_hz,
          over_mains(pairs_of(around, mains), [&](const BassPair& pair) { return shortfall_db(pair, alignment); }),
          over_mains(pairs_of(wide, mains), [&](const BassPair& pair) { return roughness_db(pair, alignment); })};
}

/// Where the mains' level in the room is 3 dB down, the middle one of them: any single one may be a dip of the room.
/// 0 where most play lower than was measured.
double mains_low_end_hz(std::span<const SpeakerResult> speakers, std::span<const std::size_t> mains) {
  std::vector<double> low_ends;
  for (const std::size_t s : mains) low_ends.push_back(speakers[s].measured.band_ends.low_3_db_hz.value_or(0.0));
  return median(std::move(low_ends));
}

/// Ascending, the present one among them.
std::vector<double> frequencies_to_try(std::span<const double> offered_hz, double now_hz) {
  std::vector<double> all{offered_hz.begin(), offered_hz.end()};
  if (all.empty()) {
    const int steps = static_cast<int>(std::lround((highest_tried_hz - lowest_tried_hz) / step_hz));
    for (int i = 0; i <= steps; ++i) all.push_back(lowest_tried_hz + i * step_hz);
  }
  all.push_back(now_hz);
  std::ranges::sort(all);
  all.erase(std::unique(all.begin(), all.end()), all.end());
  return all;
}

/// The rig's own crossover where it is as good as the best; else the lowest that is, because low sounds hide where the
/// sub stands.
double chosen_hz(const std::vector<Trial>& tried, double low_end_hz, double now_hz) {
  const auto allowed = [&](const Trial& trial) {
    return trial.crossover_hz >= std::min(low_end_hz, tried.back().crossover_hz);
  };
  double best = 1e9;
  for (const Trial& trial : tried) {
    if (allowed(trial)) best = std::min(best, score_db(trial));
  }
  const auto good = [&](const Trial& trial) { return allowed(trial) && score_db(trial) <= best + as_good_db; };
  const auto now = std::ranges::find(tried, now_hz, &Trial::crossover_hz);
  if (now != tried.end() && good(*now)) return now_hz;
  return std::ranges::find_if(tried, good)->crossover_hz;
}

std::string in_words(const Trial& trial) {
  return fmt::format("{:.0f} Hz ({:.1f} dB short of adding up in phase, {:.1f} dB rough)", trial.crossover_hz,
                     trial.shortfall_db, trial.roughness_db);
}

/// "" for all mains, or "for Ls and Rs ".
std::string for_whom(std::span<const std::string> labels) {
  std::string words;
  for (const std::string& label : labels) words += (words.empty() ? "for " : " and ") + label;
  return words.empty() ? words : words + ' ';
}

/// @param whom   "for Ls and Rs ", or "" where it is for all mains
/// @param where  the key of the rig that says it
void add_note(const std::vector<Trial>& tried, double chosen_hz, double now_hz, const std::string& whom,
              const char* where, Findings& findings) {
  const auto chosen = std::ranges::find(tried, chosen_hz, &Trial::crossover_hz);
  const auto now = std::ranges::find(tried, now_hz, &Trial::crossover_hz);
  const std::string of_all =
      fmt::format("Of the crossovers from {:g} to {:g} Hz", tried.front().crossover_hz, tried.back().crossover_hz);
  const std::string stays =
      fmt::format("{} {}none is clearly better than {}: leave it.", of_all, whom, in_words(*chosen));
  const std::string moves = fmt::format(
      "{}, {} is the best choice {}here; now it is {}. To use it, set it in the interface and as crossover_hz {}, and "
      "calibrate again from the same recordings.",
      of_all, in_words(*chosen), whom, in_words(*now), where);
  findings.push_back({Severity::note, "crossover-suggestion", std::nullopt, chosen_hz == now_hz ? stays : moves});
}

/// Mains that share a crossover: the first group those without one of their own (it may have no members).
struct Sharing {
  double now_hz;
  std::vector<std::size_t> mains;
};

std::vector<Sharing> groups_of(const Rig& rig, std::span<const std::size_t> mains) {
  std::vector<Sharing> groups{{rig.bass_management->crossover_hz, {}}};
  for (const std::size_t s : mains) {
    const auto& own_hz = rig.speakers[s].crossover_hz;
    const auto is_its = [&](const Sharing& group) { return group.now_hz == own_hz; };
    auto group = own_hz ? std::find_if(groups.begin() + 1, groups.end(), is_its) : groups.begin();
    if (group == groups.end()) group = groups.insert(group, {*own_hz, {}});
    group->mains.push_back(s);
  }
  return groups;
}

}  // namespace

void suggest_crossover(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                       std::span<const double> offered_hz, Calibration& calibration) {
  if (group.members.empty()) return;
  const auto mains = pair_mains(rig, bass, group, crossover_of(rig), calibration.speakers).mains;
  if (mains.empty()) return;
  const auto groups = groups_of(rig, mains);
  CrossoverSuggestion suggestion{rig.bass_management->crossover_hz, {}};
  for (const Sharing& sharing : groups) {
    if (sharing.mains.empty()) continue;
    std::vector<Trial> tried;
    for (const double at_hz : frequencies_to_try(offered_hz, sharing.now_hz)) {
      tried.push_back(try_crossover(rig, bass, group, calibration.speakers, sharing.mains, at_hz));
    }
    const double at_hz = chosen_hz(tried, mains_low_end_hz(calibration.speakers, sharing.mains), sharing.now_hz);
    std::vector<std::string> labels;
    for (const std::size_t s : sharing.mains) labels.push_back(rig.speakers[s].label);
    const bool is_rigs = &sharing == &groups.front();
    const bool are_all = sharing.mains.size() == mains.size();
    add_note(tried, at_hz, sharing.now_hz, are_all ? "" : for_whom(labels),
             is_rigs ? "of [bass_management] in the rig" : "of these speakers in the rig", calibration.findings);
    if (is_rigs) {
      suggestion.crossover_hz = at_hz;
      suggestion.tried = std::move(tried);
    } else {
      suggestion.own.push_back({std::move(labels), at_hz, std::move(tried)});
    }
  }
  calibration.crossover_suggestion = std::move(suggestion);
}

}  // namespace ringtrue
