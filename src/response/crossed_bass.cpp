#include "crossed_bass.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "heard_well.hpp"
#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/level.hpp"

namespace ringtrue {
namespace {

constexpr double surely_exchanged_db = 3.0;  // exchange_db

Band upper_end(Hertz end) { return {Hertz{end.value() / 1.3}, end}; }

/// How much louder the upper end of a band is than its lowest octave: negative behind a sub's low-pass.
std::optional<double> roll_off_db(const SpeakerMeasurement& measured, Band band) {
  return louder_by_db(measured.response, upper_end(band.high), {band.low, Hertz{2.0 * band.low.value()}});
}

/// How surely the sub's output plays a main while the main's plays a sub: the low-pass that the one lacks, and the
/// other has. In 24 simulated rooms, modes included, with real exchanges 7 to 40 dB, with a second sub on the main's
/// output -40 to -1 dB.
std::optional<double> exchange_db(const Rig& rig, const PositionMeasurement& measurement, std::size_t main,
                                  std::size_t sub) {
  const Band one = flat_band(rig.speakers[main].band);
  const Band other = flat_band(rig.speakers[sub].band);
  const Band common{std::max({one.low, other.low, Hertz{60.0}}), std::min({one.high, other.high, Hertz{220.0}})};
  if (common.high.value() < 2.2 * common.low.value()) return {};
  const auto of_main = roll_off_db(measurement.speakers[main], common);
  const auto of_sub = roll_off_db(measurement.speakers[sub], common);
  if (!of_main || !of_sub) return {};
  return 2.0 * *of_sub - *of_main;
}

/// True when two outputs play the same speaker: their responses are alike where both sweeps reach.
bool same_sound(const Rig& rig, const PositionMeasurement& measurement, std::size_t a, std::size_t b) {
  constexpr double alike = 0.93;
  const Band& one = rig.speakers[a].band;
  const Band& other = rig.speakers[b].band;
  const Band common{std::max(one.low, other.low), std::min(one.high, other.high)};
  const ImpulseResponse& first = measurement.speakers[a].response;
  const ImpulseResponse& second = measurement.speakers[b].response;
  const std::size_t size = std::min(first.samples.size(), second.samples.size());
  if (size == 0) return false;
  if (common.high.value() < 1.2 * common.low.value()) return false;
  return pair_lag(std::span{first.samples}.first(size), std::span{second.samples}.first(size), common,
                  first.sample_rate_hz)
             .coherence > alike;
}

/// The sub that may play what this bass-only main should, if there is one.
std::optional<std::size_t> exchanged_with(const Rig& rig, const PositionMeasurement& measurement, std::size_t main) {
  std::optional<std::size_t> sub;
  double highest_db = surely_exchanged_db;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (is_main(rig.speakers[s])) continue;
    if (!is_heard_well(measurement.speakers[s])) continue;
    const auto likely = exchange_db(rig, measurement, main, s);
    if (!likely || *likely < highest_db || same_sound(rig, measurement, main, s)) continue;
    sub = s;
    highest_db = *likely;
  }
  return sub;
}

void add_exchange(PositionMeasurement& measurement, const Speaker& main, const Speaker& sub) {
  for (const Speaker* named : {&main, &sub}) {
    measurement.findings.push_back(
        {Severity::stop, "swapped-outputs", named->label,
         fmt::format("Outputs {} ({}) and {} ({}) are exchanged: {} plays only bass and {} plays what a main plays. "
                     "Exchange the two cables and measure again.",
                     main.output, main.label, sub.output, sub.label, main.label, sub.label)});
  }
}

void add_bass_only(const Rig& rig, PositionMeasurement& measurement, std::size_t s) {
  const Speaker& speaker = rig.speakers[s];
  std::string why = "its cable may lead to a sub, or its tweeter and crossover are dead";
  for (std::size_t other = 0; other < rig.speakers.size(); ++other) {
    if (is_main(rig.speakers[other]) || !measurement.speakers[other].heard) continue;
    if (same_sound(rig, measurement, s, other)) why = "its cable leads to " + rig.speakers[other].label;
  }
  measurement.findings.push_back({Severity::stop, "bass-only", speaker.label,
                                  fmt::format("{} (output {}) plays bass and nothing above: {}. Correct that and "
                                              "measure again.",
                                              speaker.label, speaker.output, why)});
}

}  // namespace

void find_crossed_bass(const Rig& rig, PositionMeasurement& measurement) {
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!measurement.speakers[s].bass_only) continue;
    measurement.speakers[s].trusted = false;
    if (const auto sub = exchanged_with(rig, measurement, s)) {
      measurement.speakers[*sub].trusted = false;
      add_exchange(measurement, rig.speakers[s], rig.speakers[*sub]);
    } else {
      add_bass_only(rig, measurement, s);
    }
  }
}

}  // namespace ringtrue
