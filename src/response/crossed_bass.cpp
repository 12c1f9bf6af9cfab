#include "crossed_bass.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/level.hpp"

namespace ringtrue {
namespace {

// How much louder the upper end of a sub's band is than its lowest octave. In 60 simulated rooms, modes included: subs
// with low-passes of 100 to 150 Hz -36 to -5 dB, two-way speakers on the sub's output -20 to +14 dB. A small sub
// without low-pass in a room's dip may come to the latter's: alone, it proves nothing.
constexpr double odd_for_a_sub_db = 6.0;
constexpr double surely_exchanged_db = 3.0;  // exchange_db

/// How much louder one band of a response is than another, dB.
std::optional<double> louder_db(const SpeakerMeasurement& measured, Band band, Band other) {
  const ImpulseResponse& response = measured.response;
  if (response.samples.empty()) return {};
  const Takes takes{response.sample_rate_hz,
                    0,
                    {response.samples.begin(), response.samples.end()},
                    std::vector<double>(response.samples.size())};
  const auto level = pink_band_level(takes, band, 0, takes.mean.size());
  const auto reference = pink_band_level(takes, other, 0, takes.mean.size());
  if (!level || !reference) return {};
  return level->level_db.value - reference->level_db.value;
}

Band upper_end(Hertz end) { return {Hertz{end.value() / 1.3}, end}; }

bool is_heard_well(const SpeakerMeasurement& measured) {
  constexpr double needed_db = 15.0;  // signal over noise
  return measured.heard && measured.signal_to_noise_db >= needed_db;
}

/// That figure of a sub. Empty where it is not heard well, or its band is too narrow.
std::optional<double> tilt_db(const Speaker& sub, const SpeakerMeasurement& measured) {
  constexpr double widest_hz = 230.0;
  constexpr double narrowest_hz = 140.0;
  const Band flat = flat_band(sub.band);
  if (!is_heard_well(measured)) return {};
  if (flat.high.value() < narrowest_hz || flat.low.value() > 40.0) return {};
  return louder_db(measured, upper_end(std::min(flat.high, Hertz{widest_hz})),
                   {flat.low, Hertz{1.7 * flat.low.value()}});
}

/// How much louder the upper end of a band is than its lowest octave: negative behind a sub's low-pass.
std::optional<double> roll_off_db(const SpeakerMeasurement& measured, Band band) {
  return louder_db(measured, upper_end(band.high), {band.low, Hertz{2.0 * band.low.value()}});
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
  if (first.samples.empty() || first.samples.size() != second.samples.size()) return false;
  if (common.high.value() < 1.2 * common.low.value()) return false;
  const std::vector<double> x(first.samples.begin(), first.samples.end());
  const std::vector<double> y(second.samples.begin(), second.samples.end());
  return pair_lag(x, y, common, first.sample_rate_hz).coherence > alike;
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
  std::vector<bool> said(rig.speakers.size(), false);
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!measurement.speakers[s].bass_only) continue;
    measurement.speakers[s].trusted = false;
    if (const auto sub = exchanged_with(rig, measurement, s)) {
      measurement.speakers[*sub].trusted = false;
      said[*sub] = true;
      add_exchange(measurement, rig.speakers[s], rig.speakers[*sub]);
    } else {
      add_bass_only(rig, measurement, s);
    }
  }
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (is_main(rig.speakers[s]) || said[s]) continue;
    const double tilt = tilt_db(rig.speakers[s], measurement.speakers[s]).value_or(-99.0);
    if (tilt < odd_for_a_sub_db) continue;
    measurement.findings.push_back(
        {Severity::note, "full-range-sub", rig.speakers[s].label,
         fmt::format(
             "{} (output {}) is {:.0f} dB louder at the upper end of its band than in its lowest octave. A small "
             "sub, or a dip of the room, may do that; so does a main speaker on the sub's cable: listen to it.",
             rig.speakers[s].label, rig.speakers[s].output, tilt)});
  }
}

}  // namespace ringtrue
