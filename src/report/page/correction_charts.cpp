#include "correction_charts.hpp"

#include <fmt/format.h>

#include <cmath>

#include "../in_output_order.hpp"
#include "ringtrue/core/statistics.hpp"

namespace ringtrue::page {
namespace {

const Axis frequency_axis{"Frequency in Hz", "Hz", true, {{20.0, 20'000.0}}};

std::vector<std::optional<double>> values(const std::vector<double>& y) { return {y.begin(), y.end()}; }

bool has_curves(const SpeakerResult& speaker, const CorrectionResult& all) {
  return speaker.correction && !speaker.correction->before_db.empty() &&
         speaker.correction->target_db.size() == all.third_octave_hz.size();
}

}  // namespace

std::optional<Chart> response_chart(const Calibration& calibration, std::size_t index) {
  const SpeakerResult& speaker = calibration.speakers[index];
  if (!calibration.correction || !has_curves(speaker, *calibration.correction)) return std::nullopt;
  const SpeakerCorrection& correction = *speaker.correction;
  const auto& x = calibration.correction->third_octave_hz;
  Chart chart{fmt::format("response-{}", index),
              "Response in third octaves",
              fmt::format("{}: from {:.0f} to {:.0f} Hz the average of the mic positions departs from the target by "
                          "{:.1f} dB as measured, and by {:.1f} dB with the settings (standard deviation).",
                          speaker.label, correction.band_hz[0], correction.band_hz[1], correction.deviation_before_db,
                          correction.deviation_after_db),
              frequency_axis,
              {"dB against the target's 0 dB", "dB", false, {}},
              {},
              {},
              1};
  for (std::size_t p = 0; p < correction.before_db.size(); ++p) {
    chart.series.push_back({fmt::format("position {}", p + 1), Look::position, x, values(correction.before_db[p])});
  }
  chart.series.push_back({"average", Look::average, x, values(power_average_db(correction.before_db))});
  chart.series.push_back({"target", Look::target, x, values(correction.target_db)});
  chart.series.push_back({"expected after", Look::after, x, values(power_average_db(correction.after_db))});
  return chart;
}

std::optional<Chart> overlay_chart(const Calibration& calibration, bool after) {
  if (!calibration.correction) return std::nullopt;
  Chart chart{after ? "overlay-after" : "overlay-before",
              after ? "All loudspeakers, expected with the settings" : "All loudspeakers, as measured",
              "The average response of every loudspeaker in third octaves.",
              frequency_axis,
              {"dB against the target's 0 dB", "dB", false, {}},
              {},
              {},
              1};
  for (const auto* speaker : in_output_order(calibration)) {
    if (!has_curves(*speaker, *calibration.correction)) continue;
    chart.series.push_back(
        {speaker->label, Look::one_of_many, calibration.correction->third_octave_hz,
         values(power_average_db(after ? speaker->correction->after_db : speaker->correction->before_db))});
  }
  return chart.series.empty() ? std::nullopt : std::optional{chart};
}

}  // namespace ringtrue::page
