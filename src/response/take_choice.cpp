#include "ringtrue/response/take_choice.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "displacement.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t repeated_anywhere = 60;  // frames: the smallest usual buffer has 64
constexpr std::size_t repeated_at_a_break = 24;

// A block counts as disturbed from these ratios to the usual on (12 dB, 12 dB, 16 dB): stationary noise of 1500 blocks
// stays below, in the bass with its few degrees of freedom as well.
constexpr std::array<double, disturbance_filters> disturbed_ratio{16.0, 16.0, 40.0};
// What the two stretches differ by without any noise, as their alignment is good to a thousandth of a frame: -50 dB of
// the treble; a quarter of it in the middle filter, nothing in the bass.
constexpr std::array<double, disturbance_filters> alignment_share{1e-5, 2.5e-6, 0.0};
constexpr double also_disturbed = 0.25;  // of the stronger take's disturbance
constexpr std::size_t clipped_frames_that_matter = 12;

std::size_t sweep_frames(const Stimulus& stimulus, std::size_t sweep, double rate_hz) {
  const auto samples = stimulus.shapes[stimulus.sweeps[sweep].shape].samples.size();
  return static_cast<std::size_t>(static_cast<double>(samples) / stimulus.sample_rate_hz * rate_hz);
}

/// Frames of the recording in which a sweep and its early decay are heard.
Stretch heard_in(const Stimulus& stimulus, std::size_t sweep, const Synchronisation& sync) {
  constexpr double decay_s = 0.1;
  const double from = std::max(0.0, sync.zero_frames[sweep]);
  const double length = static_cast<double>(sweep_frames(stimulus, sweep, sync.rate_hz)) + decay_s * sync.rate_hz;
  return {static_cast<std::size_t>(from), static_cast<std::size_t>(std::max(0.0, sync.zero_frames[sweep] + length))};
}

TakeFault fault_of(std::size_t sweep, const RecordingFaults& faults, const Synchronisation& sync) {
  const bool cut = std::ranges::any_of(sync.timeline.steps,
                                       [&](const TimelineStep& step) { return step.inside && step.after == sweep; });
  if (cut) return TakeFault::cut;
  if (!sync.whole[sweep]) return TakeFault::absent;
  if (faults.dropped_in[sweep]) return TakeFault::dropped;
  if (faults.repeated_in[sweep]) return TakeFault::repeated;
  if (faults.clipped[sweep] >= clipped_frames_that_matter) return TakeFault::clipped;
  return TakeFault::none;
}

/// The usual energy of each block, by filter: the median over all pairs, and over pairs of the same sweep at that
/// block.
class Usual {
 public:
  Usual(const Stimulus& stimulus, std::span<const SweepPair> pairs, std::span<const PairResponse> responses,
        std::span<const TakeChoice> choices)
      : stimulus_{stimulus}, pairs_{pairs}, responses_{responses}, alike_(stimulus.shapes.size()) {
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      if (choices[i].faults[0] == TakeFault::none && choices[i].faults[1] == TakeFault::none) whole_.push_back(i);
    }
    for (std::size_t f = 0; f < disturbance_filters; ++f) {
      std::vector<double> all;
      for (const std::size_t i : whole_) {
        const auto& energies = responses[i].disturbance.energies[f];
        all.insert(all.end(), energies.begin(), energies.end());
      }
      overall_[f] = median(std::move(all));
      for (std::size_t s = 0; s < alike_.size(); ++s) alike_[s][f] = of_shape(s, f);
    }
  }

  [[nodiscard]] double at(std::size_t filter, std::size_t pair, std::size_t block) const {
    const std::vector<double>& fellows = alike_[shape(pair)][filter];
    const double alike = block < fellows.size() ? fellows[block] : 0.0;
    const double alignment = alignment_share[filter] * responses_[pair].disturbance.loudness[block];
    return std::max({overall_[filter], alike, alignment, 1e-18});
  }

 private:
  [[nodiscard]] std::size_t shape(std::size_t pair) const { return stimulus_.sweeps[pairs_[pair].first].shape; }

  /// Medians over the whole pairs of one sweep, block by block; 0 where there are too few.
  [[nodiscard]] std::vector<double> of_shape(std::size_t wanted, std::size_t filter) const {
    constexpr std::size_t enough_fellows = 3;
    std::vector<std::span<const double>> fellows;
    std::size_t blocks = 0;
    for (const std::size_t i : whole_) {
      if (shape(i) != wanted) continue;
      fellows.emplace_back(responses_[i].disturbance.energies[filter]);
      blocks = std::max(blocks, fellows.back().size());
    }
    std::vector<double> medians;
    std::vector<double> energies;
    for (std::size_t b = 0; b < blocks; ++b) {
      energies.clear();
      for (const auto& fellow : fellows) {
        if (b < fellow.size()) energies.push_back(fellow[b]);
      }
      medians.push_back(energies.size() >= enough_fellows ? median(energies) : 0.0);
    }
    return medians;
  }

  const Stimulus& stimulus_;
  std::span<const SweepPair> pairs_;
  std::span<const PairResponse> responses_;
  std::vector<std::size_t> whole_;
  std::array<double, disturbance_filters> overall_{};
  std::vector<std::array<std::vector<double>, disturbance_filters>> alike_;  // by shape
};

/// Strongest disturbance of each take of a pair, as a ratio to the usual, and its block; 0: none.
struct PairDisturbance {
  std::array<double, 2> ratio{0.0, 0.0};
  std::array<std::size_t, 2> block{0, 0};
  std::size_t first_block = 0;  // of all that are disturbed
  std::size_t last_block = 0;

  [[nodiscard]] bool any() const { return ratio[0] > 0.0 || ratio[1] > 0.0; }
};

/// @param breaks_off  whether one of the takes breaks off about a block: that the takes differ there is no news
template <class BreaksOff>
PairDisturbance find_disturbance(const Usual& usual, std::size_t pair, const PairResponse& response,
                                 std::span<const float> microphone, std::array<std::ptrdiff_t, 2> starts,
                                 std::size_t block_frames, const BreaksOff& breaks_off) {
  PairDisturbance found;
  const std::size_t blocks = response.disturbance.loudness.size();
  for (std::size_t block = 0; block < blocks; ++block) {
    double strongest = 0.0;
    std::size_t filter = 0;
    for (std::size_t f = 0; f < disturbance_filters; ++f) {
      const double ratio = response.disturbance.energies[f][block] / usual.at(f, pair, block);
      if (ratio <= disturbed_ratio[f] || ratio <= strongest) continue;
      strongest = ratio;
      filter = f;
    }
    if (strongest == 0.0 || breaks_off(block)) continue;
    if (!found.any()) found.first_block = block;
    found.last_block = block;
    const auto offset = static_cast<std::ptrdiff_t>(block * block_frames);
    const auto take = static_cast<std::size_t>(
        disturbed_take(microphone, starts[0] + offset, starts[1] + offset, block_frames, filter));
    if (strongest > found.ratio[take]) {
      found.ratio[take] = strongest;
      found.block[take] = block;
    }
  }
  return found;
}

void settle(TakeChoice& choice) {
  const auto good = [&](std::size_t take) { return choice.faults[take] == TakeFault::none; };
  const auto there = [&](std::size_t take) {
    return choice.faults[take] != TakeFault::absent && choice.faults[take] != TakeFault::cut;
  };
  choice.usable = good(0) || good(1);
  choice.used = choice.usable ? std::array{good(0), good(1)} : std::array{there(0), there(1)};
}

bool both_there(const TakeChoice& choice) {
  return std::ranges::none_of(choice.faults,
                              [](TakeFault fault) { return fault == TakeFault::absent || fault == TakeFault::cut; });
}

/// A step of the time line beside this sweep, which the spans could not tell from one inside it.
bool beside_a_step(std::size_t sweep, const Synchronisation& sync) {
  return std::ranges::any_of(sync.timeline.steps, [&](const TimelineStep& step) {
    return std::abs(step.frames) >= 0.5 && (sweep == step.after || (!step.inside && sweep == step.after + 1));
  });
}

/// A dropout of that sweep within a stretch: it is said already, and no noise.
bool breaks_off(const RecordingFaults& faults, std::size_t sweep, Stretch where) {
  if (!faults.dropped_in[sweep]) return false;
  const Stretch dropped = faults.dropped[*faults.dropped_in[sweep]];
  return dropped.from < where.to && dropped.to > where.from;
}

/// A block that begins at a frame, with the blocks beside it.
Stretch around(std::ptrdiff_t at, std::size_t block) {
  const auto from = static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, at - static_cast<std::ptrdiff_t>(block)));
  return {from, from + 3 * block};
}

std::ptrdiff_t frames_of(std::size_t blocks, std::size_t block) { return static_cast<std::ptrdiff_t>(blocks * block); }

/// Frames after the start of a response's window at which its sweep begins and ends.
struct SweepPlace {
  std::ptrdiff_t from = 0;
  std::ptrdiff_t to = 0;
};

/// Names what disturbed a pair: samples lost inside a sweep, a buffer heard twice, or a noise.
void judge_disturbance(TakeChoice& choice, const SweepPair& pair, const PairResponse& response, Band band,
                       const PairDisturbance& found, const std::array<std::ptrdiff_t, 2>& starts,
                       const Synchronisation& sync, const RecordingFaults& faults, std::span<const float> microphone,
                       std::size_t block, SweepPlace where) {
  // A buffer came twice in one of the two: that it differs from the other is no news.
  if (choice.faults[0] == TakeFault::repeated || choice.faults[1] == TakeFault::repeated) return;
  if (const auto broken = broken_sweep(response, band, sync.rate_hz)) {
    // Where the time line already says beside which sweep samples were lost, that is the broken one.
    const bool first_beside = beside_a_step(pair.first, sync);
    const bool second_beside = beside_a_step(pair.second, sync);
    const int take = first_beside == second_beside ? broken->take : first_beside ? 0 : 1;
    choice.faults[static_cast<std::size_t>(take)] = TakeFault::cut;
    choice.broken_frames = broken->frames;
    return;
  }
  const std::array<std::size_t, 2> sweeps{pair.first, pair.second};
  if (!beside_a_step(pair.first, sync) && !beside_a_step(pair.second, sync)) {
    if (const auto displaced = find_displacement(microphone, starts, frames_of(found.first_block, block),
                                                 frames_of(found.last_block + 1, block), where.from, where.to)) {
      choice.faults[static_cast<std::size_t>(displaced->take)] = TakeFault::cut;
      choice.broken_frames = displaced->frames;
      return;
    }
  }
  const std::size_t worse = found.ratio[0] >= found.ratio[1] ? 0 : 1;
  const auto disturbed = [&](std::size_t take) { return found.ratio[take] > also_disturbed * found.ratio[worse]; };
  for (const std::size_t take : {0U, 1U}) {
    if (!disturbed(take)) continue;
    // From lost samples on the takes differ by the sweep itself, and which of them is louder is chance: not a noise
    // too.
    const std::size_t other = 1 - take;
    if (disturbed(other) && beside_a_step(sweeps[other], sync) && !beside_a_step(sweeps[take], sync)) continue;
    if (beside_a_step(sweeps[take], sync)) {
      choice.faults[take] = TakeFault::cut;
      continue;
    }
    const std::ptrdiff_t at = starts[take] + frames_of(found.block[take], block);
    if (faults.repeated_in[sweeps[take]]) continue;
    if (repeated_stretch(microphone, around(at, block), repeated_at_a_break)) {
      choice.faults[take] = TakeFault::repeated;
    } else {
      choice.noisy[take] = true;
      if (choice.faults[take] == TakeFault::none) choice.faults[take] = TakeFault::disturbed;
    }
    choice.disturbance_db[take] = 10.0 * std::log10(found.ratio[take]);
    choice.disturbed_at_s[take] = static_cast<double>(at) / sync.rate_hz;
  }
}

/// Takes as alike as only rounding leaves them: computed, not recorded, and nothing disturbed them.
bool agree_to_rounding(const PairResponse& response) {
  constexpr double share = 1e-9;  // of the energy: 90 dB below; the quietest rooms and converters leave 1e-7
  return response.unlike < share;
}

}  // namespace

RecordingFaults find_faults(std::span<const float> microphone, const SampleSurvey& survey, const Stimulus& stimulus,
                            const Synchronisation& sync, unsigned threads) {
  RecordingFaults faults;
  faults.format_step = survey.least_magnitude;
  faults.dropped = dropped_stretches(microphone, survey);
  faults.repeated_in.resize(stimulus.sweeps.size());
  parallel_for(stimulus.sweeps.size(), threads, [&](std::size_t i) {
    faults.repeated_in[i] = repeated_stretch(microphone, heard_in(stimulus, i, sync), repeated_anywhere);
  });
  const std::vector<std::size_t> clipped = clipped_frames(microphone, survey);
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const Stretch heard = heard_in(stimulus, i, sync);
    const auto first = std::ranges::lower_bound(clipped, heard.from);
    const auto last = std::ranges::lower_bound(clipped, heard.to);
    faults.clipped.push_back(static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, last - first)));
    faults.dropped_in.emplace_back();
    for (std::size_t d = 0; d < faults.dropped.size(); ++d) {
      if (faults.dropped[d].from < heard.to && faults.dropped[d].to > heard.from) faults.dropped_in.back() = d;
    }
  }
  return faults;
}

std::vector<TakeChoice> choose_takes(const Stimulus& stimulus, std::span<const SweepPair> pairs,
                                     std::span<const PairResponse> responses, const RecordingFaults& faults,
                                     const Synchronisation& sync, std::span<const float> microphone,
                                     std::size_t zero_index) {
  std::vector<TakeChoice> choices(pairs.size());
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    choices[i].faults = {fault_of(pairs[i].first, faults, sync), fault_of(pairs[i].second, faults, sync)};
    for (const std::size_t take : {0U, 1U}) {
      const auto& repeated = faults.repeated_in[take == 0 ? pairs[i].first : pairs[i].second];
      if (repeated) choices[i].disturbed_at_s[take] = static_cast<double>(repeated->from) / sync.rate_hz;
    }
    if (pairs[i].first == pairs[i].second) choices[i].faults[1] = TakeFault::absent;
  }
  const Usual usual{stimulus, pairs, responses, choices};
  const std::size_t block = disturbance_block(sync.rate_hz);
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (both_there(choices[i]) && !agree_to_rounding(responses[i])) {
      const auto start = [&](std::size_t sweep) {
        return static_cast<std::ptrdiff_t>(frame_before(sync.zero_frames[sweep])) -
               static_cast<std::ptrdiff_t>(zero_index);
      };
      const std::array<std::ptrdiff_t, 2> starts{start(pairs[i].first), start(pairs[i].second)};
      const auto broken_off = [&](std::size_t at_block) {
        const std::ptrdiff_t into = frames_of(at_block, block);
        return breaks_off(faults, pairs[i].first, around(starts[0] + into, block)) ||
               breaks_off(faults, pairs[i].second, around(starts[1] + into, block));
      };
      const PairDisturbance found = find_disturbance(usual, i, responses[i], microphone, starts, block, broken_off);
      const Band band = flat_band(stimulus.shapes[stimulus.sweeps[pairs[i].first].shape].band);
      if (found.any()) {
        const auto before = static_cast<std::ptrdiff_t>(zero_index);
        constexpr double flight_s = 0.02;  // with a loopback zero is when it leaves the interface
        const auto length = static_cast<std::ptrdiff_t>(sweep_frames(stimulus, pairs[i].first, sync.rate_hz)) +
                            static_cast<std::ptrdiff_t>(flight_s * sync.rate_hz);
        judge_disturbance(choices[i], pairs[i], responses[i], band, found, starts, sync, faults, microphone, block,
                          {before, before + length});
      }
    }
    settle(choices[i]);
  }
  return choices;
}

namespace {

/// Whether the longer responses of a subwoofer are there, and nothing befell the sweeps that play meanwhile: what did
/// is in them as well.
bool long_is_sound(std::size_t i, std::span<const PairResponse> responses, std::span<const TakeChoice> choices,
                   const Stimulus& stimulus, std::span<const SweepPair> pairs, double rate_hz) {
  if (responses[i].first_long.empty()) return false;
  const SweepShape& own = stimulus.shapes[stimulus.sweeps[pairs[i].first].shape];
  const auto longer = std::max(responses[i].first_long.size(), responses[i].second_long.size());
  const double reach_s =
      static_cast<double>(own.samples.size()) / stimulus.sample_rate_hz + static_cast<double>(longer) / rate_hz;
  const auto reaches = [&](std::size_t sub, std::size_t sweep) {
    const double later_s = start_s(stimulus, sweep) - start_s(stimulus, sub);
    return later_s > 0.0 && later_s < reach_s;
  };
  for (std::size_t other = 0; other < pairs.size(); ++other) {
    for (const std::size_t take : {0U, 1U}) {
      const std::size_t sweep = take == 0 ? pairs[other].first : pairs[other].second;
      const bool meanwhile = reaches(pairs[i].first, sweep) || reaches(pairs[i].second, sweep);
      if (meanwhile && choices[other].faults[take] != TakeFault::none) return false;
    }
  }
  return true;
}

}  // namespace

std::optional<Takes> takes_of(std::size_t i, std::span<const PairResponse> responses,
                              std::span<const TakeChoice> choices, const Stimulus& stimulus,
                              std::span<const SweepPair> pairs, double rate_hz, std::size_t zero_index) {
  const auto& used = choices[i].used;
  if (!used[0] && !used[1]) return {};
  if (used[0] && used[1] && long_is_sound(i, responses, choices, stimulus, pairs, rate_hz)) {
    return combine(responses[i].first_long, responses[i].second_long, rate_hz, zero_index);
  }
  if (used[0] && used[1]) return combine(responses[i].first, responses[i].second, rate_hz, zero_index);
  const std::vector<float>& alone = used[0] ? responses[i].first : responses[i].second;
  Takes takes{rate_hz, zero_index, alone, {}};
  // One take has the noise of a mean of two times the square root of two.
  std::size_t donor = i;
  for (std::size_t other = 0; other < pairs.size(); ++other) {
    const bool alike = stimulus.sweeps[pairs[other].first].shape == stimulus.sweeps[pairs[i].first].shape;
    if (alike && choices[other].used[0] && choices[other].used[1] && choices[other].usable) {
      donor = other;
      break;
    }
  }
  takes.noise = combine(responses[donor].first, responses[donor].second, rate_hz, zero_index).noise;
  if (donor == i && choices[i].faults[0] != TakeFault::disturbed && choices[i].faults[1] != TakeFault::disturbed) {
    // The other take is missing: what is left of the response before the sound arrives is all that is known of the
    // noise.
    const std::size_t quiet = zero_index / 2;
    for (std::size_t n = 0; n < takes.noise.size(); ++n) takes.noise[n] = takes.mean[n % quiet];
    return takes;
  }
  for (float& x : takes.noise) x *= std::numbers::sqrt2_v<float>;
  return takes;
}

}  // namespace ringtrue
