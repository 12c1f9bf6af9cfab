#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/response/interleaved.hpp"

namespace ringtrue {
namespace {

// Above the bass: there no band edge of a response rings before it for long.
constexpr Band looked_at{Hertz{200.0}, Hertz{8'000.0}};
constexpr double look_from_ms = 25.0;  // before the direct sound
constexpr double look_to_ms = 10.0;
constexpr double clean_db = -50.0;       // ten over what the schedule is made for: rooms decay unevenly
constexpr double disturbing_db = -40.0;  // 1 %: 0.09 dB of level
constexpr double spoiling_db = -30.0;
constexpr double silent_db = -40.0;  // no louder than that against its fellows: it is what reaches over from them

double mean_square(std::span<const double> x) {
  double sum = 0.0;
  for (const double sample : x) sum += sample * sample;
  return x.empty() ? 0.0 : sum / static_cast<double>(x.size());
}

std::vector<double> filtered(std::span<const float> samples, double rate_hz) {
  const RealFft fft{good_fft_size(samples.size() + 512)};
  auto result = tapered_band(fft, spectrum(fft, samples), looked_at, 1.0, 0.5, Hertz{rate_hz});
  result.resize(samples.size());
  return result;
}

/// Mean square of the noise in one sweep's response, from the speakers that play twice; empty where none did.
std::optional<double> noise_power(std::span<const SweepPair> pairs, const InterleavedResponses& responses,
                                  double rate_hz, double highest_hz, const Stimulus& stimulus) {
  std::vector<double> powers;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    const Band band = stimulus.shapes[stimulus.sweeps[pairs[i].first].shape].band;
    if (pairs[i].first == pairs[i].second || band.high.value() < highest_hz) continue;
    std::vector<float> difference = responses.pairs[i].first;
    for (std::size_t n = 0; n < difference.size(); ++n) difference[n] -= responses.pairs[i].second[n];
    const auto noise = filtered(difference, rate_hz);
    powers.push_back(0.5 * mean_square(std::span{noise}.first(responses.zero_index / 2)));
  }
  if (powers.empty()) return {};
  return *std::ranges::min_element(powers);
}

/// Level of mains heard, by direct_db.
std::optional<double> usual_direct_db(const Rig& rig, const PositionMeasurement& measurement) {
  std::vector<double> heights;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (rig.speakers[s].kind == SpeakerKind::main && measurement.speakers[s].heard) {
      heights.push_back(measurement.speakers[s].direct_db);
    }
  }
  if (heights.empty()) return {};
  return *std::ranges::max_element(heights);
}

/// A speaker that is not there is "heard" in an interleaved recording as what other speakers leave in its window.
void silence_what_reaches_over(const Rig& rig, PositionMeasurement& measurement) {
  std::vector<double> levels;
  for (const SpeakerMeasurement& speaker : measurement.speakers) {
    if (speaker.heard && speaker.level_db) levels.push_back(speaker.level_db->value);
  }
  const auto usual_db = usual_direct_db(rig, measurement);
  if (levels.empty() || !usual_db) return;
  const double loudest_db = *std::ranges::max_element(levels);
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    SpeakerMeasurement& speaker = measurement.speakers[s];
    if (!speaker.heard) continue;
    const bool is_main = rig.speakers[s].kind == SpeakerKind::main;
    const bool there = is_main ? speaker.direct_db > *usual_db + silent_db
                               : speaker.level_db && speaker.level_db->value > loudest_db + silent_db;
    if (there) continue;
    const double direct_db = speaker.direct_db;
    speaker = {};
    speaker.direct_db = direct_db;
  }
}

double typical_decay_s(const PositionMeasurement& measurement, double planned_s) {
  std::vector<double> times;
  for (const SpeakerMeasurement& speaker : measurement.speakers) {
    if (speaker.decay_time_s) times.push_back(*speaker.decay_time_s);
  }
  return times.empty() ? planned_s : median(std::move(times));
}

}  // namespace

void check_windows(const Rig& rig, const Stimulus& stimulus, std::span<const SweepPair> pairs,
                   const InterleavedResponses& responses, const Synchronisation& sync,
                   PositionMeasurement& measurement) {
  silence_what_reaches_over(rig, measurement);
  const double decay_s = typical_decay_s(measurement, stimulus.decay.value());
  const double noise = noise_power(pairs, responses, sync.rate_hz, looked_at.high.value(), stimulus).value_or(0.0);
  // What is heard before a response dies away under it: energy of all that is left of an exponential decay.
  const double left_over_frames = decay_s * sync.rate_hz / (6.0 * std::numbers::ln10);
  double worst_db = -200.0;
  std::size_t worst = 0;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    SpeakerMeasurement& speaker = measurement.speakers[pairs[i].speaker];
    if (!speaker.heard || !speaker.arrival_ms || rig.speakers[pairs[i].speaker].kind != SpeakerKind::main) continue;
    const auto h = filtered(responses.pairs[i].first, sync.rate_hz);
    const double direct = static_cast<double>(responses.zero_index) + speaker.arrival_ms->value * 1e-3 * sync.rate_hz;
    const auto at = [&](double ms_before) {
      return static_cast<std::size_t>(std::clamp(direct - ms_before * 1e-3 * sync.rate_hz, 0.0, double(h.size())));
    };
    const double before = mean_square(std::span{h}.subspan(at(look_from_ms), at(look_to_ms) - at(look_from_ms)));
    const double own = mean_square(h) * static_cast<double>(h.size());
    const double crosstalk_db =
        10.0 * std::log10(std::max(std::max(before - noise, 0.25 * noise) * left_over_frames / own, 1e-20));
    if (crosstalk_db > spoiling_db) speaker.trusted = false;
    if (crosstalk_db > worst_db) {
      worst_db = crosstalk_db;
      worst = pairs[i].speaker;
    }
  }
  if (worst_db <= -200.0) return;
  const std::string& label = rig.speakers[worst].label;
  if (worst_db <= disturbing_db) {
    measurement.findings.push_back(
        {Severity::note, "interleaved", std::nullopt,
         fmt::format(
             "{}: the sweeps overlapped and their responses came apart: other speakers reach into a response by "
             "{:.0f} dB at most ({}){}. Noises during one sweep, and where samples were lost, cannot be told "
             "in such a recording.",
             measurement.name, worst_db, label,
             worst_db <= clean_db ? "" : ", more than the -60 dB it was made for, too little to matter here")});
    return;
  }
  measurement.findings.push_back(
      {worst_db > spoiling_db ? Severity::stop : Severity::warn, "overlapping-responses", label,
       fmt::format("{}: other speakers reach into the response of {} by {:.0f} dB: the sweeps follow each other too "
                   "closely for this room, which dies away in {:.2f} s, or a speaker distorts strongly. Make the "
                   "stimulus again with --decay {:.2f}, or without --interleave, and measure again.",
                   measurement.name, label, worst_db, decay_s,
                   std::max(1.25 * decay_s, 1.5 * stimulus.decay.value()))});
}

}  // namespace ringtrue
