#include "ringtrue/response/input_processing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <optional>

#include "ringtrue/core/statistics.hpp"
#include "ringtrue/response/clock.hpp"

namespace ringtrue {
namespace {

Finding processed(std::string message) {
  return {Severity::stop, "input-processing", std::nullopt, std::move(message)};
}

/// The same speaker comes out louder in one pass than in the other.
std::optional<Finding> wandering_level(const Recording& recording, const Stimulus& stimulus,
                                       std::span<const PairResponse> responses, std::span<const TakeChoice> choices) {
  constexpr double steady_db = 0.08;  // ten times what temperature does between two sweeps
  // For as much noise as sound: four times the spread over some 4000 bins of a decay from 20 Hz to 20 kHz.
  constexpr double noise_db = 0.6;
  constexpr double whole_band_hz = 20'000.0;
  const std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  std::size_t wandering = 0;
  std::size_t looked_at = 0;
  double largest_db = 0.0;
  for (std::size_t i = 0; i < responses.size(); ++i) {
    const TakeChoice& choice = choices[i];
    const bool both = choice.used[0] && choice.used[1] && choice.usable;
    if (!both || responses[i].likeness < 0.9 || choice.noisy[0] || choice.noisy[1]) continue;
    ++looked_at;
    // The projection of noisy takes falls short by their likeness; what is left is the gain.
    const double change_db = 20.0 * std::log10(std::max(1e-6, responses[i].gain / responses[i].likeness));
    const double noise_in_sound = std::sqrt(std::max(0.0, 1.0 / responses[i].likeness - 1.0));
    const Band band = stimulus.shapes[stimulus.sweeps[pairs[i].first].shape].band;
    const double fewer_bins = std::sqrt(whole_band_hz / (band.high.value() - band.low.value()));
    if (std::abs(change_db) <= steady_db + noise_db * fewer_bins * noise_in_sound) continue;
    ++wandering;
    largest_db = std::max(largest_db, std::abs(change_db));
  }
  const std::size_t needed = responses.size() > 2 ? 2 : 1;  // one of many may only be noisy
  if (wandering < needed || 4 * wandering < looked_at) return {};
  return processed(
      fmt::format("{}: the same sweep comes out up to {:.1f} dB louder one time than the other, on {} of "
                  "{} speakers: something turns the microphone up and down. Switch off automatic gain, "
                  "noise suppression and enhancements for this input, then measure again; the levels "
                  "here are not to be trusted.",
                  recording.name, largest_db, wandering, looked_at));
}

/// Whether a mean square of the treble is noise at all: above `least` and the rounding to the format's steps. That
/// makes noise where there is sound and none in silence: step^2 / 12, times 6 by the second difference; four times as
/// much is more than rounding.
bool is_noise(double mean_square, double least, double format_step) {
  return mean_square >= std::max(least, 2.0 * format_step * format_step);
}

/// Noise suppression: between the sweeps the recording is far quieter than the noise that comes with them.
/// @param between  energy of a block of the quietest sound around the sweeps
std::optional<Finding> noise_gate(const Recording& recording, std::span<const PairResponse> responses, double between,
                                  std::size_t block, double format_step) {
  constexpr double suppressed = 8.0;  // 9 dB in energy; in 200 simulated rooms without one 0.3 to 0.4 dB
  constexpr double audible = 1e-10;   // -100 dBFS: below that it is no noise but the arithmetic of a simulation
  std::vector<double> differences;
  for (const PairResponse& response : responses) {
    const auto& treble = response.disturbance.energies[0];
    differences.insert(differences.end(), treble.begin(), treble.end());
  }
  const double with_sound = 0.5 * median(std::move(differences));
  if (!is_noise(with_sound / static_cast<double>(block), audible, format_step)) return {};
  if (with_sound < suppressed * between) return {};
  return processed(fmt::format(
      "{}: between the sweeps the noise drops by {:.0f} dB: something mutes the microphone when it is quiet and cuts "
      "off the room's decay. Switch off noise suppression, gates and enhancements for this input, then measure again.",
      recording.name, 10.0 * std::log10(with_sound / std::max(between, 1e-18))));
}

/// Lower quartile of the treble's block energies in a stretch of time; empty when less than 0.15 s of it was recorded.
/// The quartile passes over a click and a cough.
std::optional<double> noise_between(const Recording& recording, double from_frame, double to_frame, std::size_t block) {
  const auto size = static_cast<double>(recording.microphone.size());
  const auto from = static_cast<std::size_t>(std::clamp(from_frame, 0.0, size));
  const auto to = static_cast<std::size_t>(std::clamp(to_frame, 0.0, size));
  constexpr std::size_t least_blocks = 7;
  if (to < from + least_blocks * block) return {};
  const std::span<const float> sound{recording.microphone};
  return percentile(treble_energies(sound.subspan(from, to - from), block), 0.25);
}

/// Automatic gain: before the first sweep and long after the last one the noise is louder than it ever is around the
/// sweeps, because there the gain had time to rise. A noise that falls and rises by itself would have to do it twice,
/// in step with the speakers.
/// @param around  energy of a block of the quietest sound around the sweeps
std::optional<Finding> rising_noise(const Recording& recording, const Stimulus& stimulus, const Synchronisation& sync,
                                    double around, std::size_t block, double format_step) {
  constexpr double raised = 1.6;         // 2 dB in energy: a steady noise's quartiles lie within 0.5 dB
  constexpr double least_heard = 1e-12;  // -120 dBFS
  const double rate_hz = sync.rate_hz;
  const double begins = sync.zero_frames.front();
  const auto& last = stimulus.shapes[stimulus.sweeps.back().shape];
  const double ends =
      sync.zero_frames.back() + static_cast<double>(last.samples.size()) * rate_hz / stimulus.sample_rate_hz;
  const auto before = noise_between(recording, begins - 0.45 * rate_hz, begins - 0.05 * rate_hz, block);
  const double latest = std::min(static_cast<double>(recording.microphone.size()), ends + 3.0 * rate_hz);
  const auto after = noise_between(recording, std::max(ends + 0.7 * rate_hz, latest - 0.3 * rate_hz), latest, block);
  if (!before || !after || !is_noise(around / static_cast<double>(block), least_heard, format_step)) return {};
  if (std::min(*before, *after) < raised * around) return {};
  return processed(fmt::format(
      "{}: the noise is {:.0f} dB louder before the first and after the last sweep than around the sweeps: something "
      "turns the microphone up when it is quiet and down when it is loud. Switch off automatic gain, noise suppression "
      "and enhancements for this input, then measure again; the levels here are not to be trusted.",
      recording.name, 10.0 * std::log10(std::min(*before, *after) / around)));
}

/// Energy of a block of the quietest sound around the sweeps, of those that are as the microphone gave them: pinned to
/// full scale or zero there is no noise. Empty when there are none.
std::optional<double> quietest_block(std::span<const PairResponse> responses, std::span<const TakeChoice> choices) {
  std::vector<double> blocks;
  for (std::size_t i = 0; i < responses.size(); ++i) {
    const auto as_given = [](TakeFault fault) { return fault == TakeFault::none || fault == TakeFault::disturbed; };
    if (std::ranges::all_of(choices[i].faults, as_given)) {
      std::ranges::copy(loudness_of(responses.subspan(i, 1)), std::back_inserter(blocks));
    }
  }
  if (blocks.empty()) return {};
  return percentile(std::move(blocks), 0.05);
}

}  // namespace

Findings input_processing_findings(const Recording& recording, const Stimulus& stimulus,
                                   std::span<const PairResponse> responses, std::span<const TakeChoice> choices,
                                   const Synchronisation& sync, double format_step) {
  const std::size_t block = disturbance_block(sync.rate_hz);
  const auto quietest = quietest_block(responses, choices);
  Findings findings;
  auto gain = wandering_level(recording, stimulus, responses, choices);
  if (!gain && quietest) gain = rising_noise(recording, stimulus, sync, *quietest, block, format_step);
  if (gain) findings.push_back(*std::move(gain));
  auto gate = quietest ? noise_gate(recording, responses, *quietest, block, format_step) : std::nullopt;
  if (gate) findings.push_back(*std::move(gate));
  return findings;
}

}  // namespace ringtrue
