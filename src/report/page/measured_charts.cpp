#include "measured_charts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "../in_output_order.hpp"
#include "ringtrue/calibration/sound_pressure.hpp"

namespace ringtrue::page {
namespace {

const PositionResult* listening(const SpeakerResult& speaker) {
  return speaker.measured.positions.empty() ? nullptr : &speaker.measured.positions.front();
}

/// A row per loudspeaker with a point before and one after.
struct Rows {
  std::vector<std::string> names;
  std::vector<std::optional<double>> before;
  std::vector<std::optional<double>> after;
};

/// The same with every value against the smallest of its kind, so that equal ones line up at what they differ by.
void count_from(std::vector<std::optional<double>>& values, double origin) {
  for (auto& value : values) {
    if (value) *value -= origin;
  }
}

std::optional<double> smallest(const std::vector<std::optional<double>>& values) {
  std::optional<double> least;
  for (const auto& value : values) {
    if (value && (!least || *value < *least)) least = value;
  }
  return least;
}

double spread(const std::vector<std::optional<double>>& values) {
  double low = std::numeric_limits<double>::infinity();
  double high = -low;
  for (const auto& value : values) {
    if (!value) continue;
    low = std::min(low, *value);
    high = std::max(high, *value);
  }
  return high > low ? high - low : 0.0;
}

Rows arrivals(const Calibration& calibration) {
  Rows rows;
  for (const auto* speaker : in_output_order(calibration)) {
    const auto* at = listening(*speaker);
    rows.names.push_back(speaker->label);
    rows.before.push_back(at == nullptr ? std::nullopt : at->arrival_ms);
    const bool both = rows.before.back() && speaker->settings.delay_ms;
    rows.after.push_back(both ? std::optional{*rows.before.back() + *speaker->settings.delay_ms} : std::nullopt);
  }
  if (const auto origin = smallest(rows.before)) {
    count_from(rows.before, *origin);
    count_from(rows.after, *origin);
  }
  return rows;
}

Rows levels(const Calibration& calibration) {
  const double offset_db = spl_offset_db(calibration.rig).value_or(0.0);
  Rows rows;
  for (const auto* speaker : in_output_order(calibration)) {
    const auto* at = listening(*speaker);
    rows.names.push_back(speaker->label);
    rows.before.push_back(at == nullptr ? std::nullopt : at->level_db);
    if (rows.before.back()) *rows.before.back() += offset_db;
    const bool both = rows.before.back() && speaker->settings.trim_db;
    const double filters_db = speaker->correction ? speaker->correction->level_change_db : 0.0;
    rows.after.push_back(both ? std::optional{*rows.before.back() + *speaker->settings.trim_db + filters_db}
                              : std::nullopt);
  }
  return rows;
}

Chart of_rows(Rows rows, std::string id, std::string title, Axis x, int digits) {
  const std::string summary = fmt::format(
      "One row for each of {} loudspeakers: as cabled they differ by up to {:.{}f} {}, with these settings by {:.{}f} "
      "{}.",
      rows.names.size(), spread(rows.before), digits, x.unit, spread(rows.after), digits, x.unit);
  Chart chart{std::move(id), std::move(title), summary, std::move(x), {}, std::move(rows.names), {}, digits};
  chart.series.push_back({"As cabled", Look::points_before, {}, std::move(rows.before)});
  chart.series.push_back({"With these settings", Look::points_after, {}, std::move(rows.after)});
  return chart;
}

/// Where the direct sound stands in the response, in samples.
double direct_sound(const SpeakerMeasurement& measured, const SpeakerResult& speaker) {
  const auto& response = measured.response;
  const auto* at = listening(speaker);
  if (at != nullptr && at->arrival_ms) {
    return (*at->arrival_ms - response.first_sample_ms) * response.sample_rate_hz / 1'000.0;
  }
  const auto loudest = std::ranges::max_element(response.samples, {}, [](float v) { return std::abs(v); });
  return static_cast<double>(loudest - response.samples.begin());
}

double largest(const std::vector<float>& samples) {
  float peak = 0.0F;
  for (const float v : samples) peak = std::max(peak, std::abs(v));
  return peak > 0.0F ? static_cast<double>(peak) : 1.0;
}

std::string speaker_id(const char* kind, std::size_t index) { return fmt::format("{}-{}", kind, index); }

}  // namespace

Chart arrival_chart(const Calibration& calibration) {
  return of_rows(arrivals(calibration), "arrivals", "When the sound arrives",
                 {"ms after the first loudspeaker as cabled", "ms", false, {}}, 2);
}

Chart level_chart(const Calibration& calibration) {
  return of_rows(levels(calibration), "levels", "How loud it is",
                 {fmt::format("Level in {}", level_unit(calibration.rig)), level_unit(calibration.rig), false, {}}, 1);
}

Chart impulse_chart(const SpeakerResult& speaker, std::size_t index, const SpeakerMeasurement& measured) {
  constexpr double before_ms = 1.0;
  const double after_ms = speaker.kind == SpeakerKind::sub ? 60.0 : 6.0;
  const auto& response = measured.response;
  const double per_ms = response.sample_rate_hz / 1'000.0;
  const double direct = direct_sound(measured, speaker);
  const auto count = static_cast<double>(response.samples.size());
  const auto first = std::clamp(std::floor(direct - before_ms * per_ms), 0.0, count);
  const auto last = std::clamp(std::ceil(direct + after_ms * per_ms), first, count);
  const auto step = std::max<std::size_t>(1, static_cast<std::size_t>((last - first) / 700.0));
  const double peak = largest(response.samples);
  Chart chart{speaker_id("impulse", index),
              "Impulse response",
              fmt::format("The impulse response of {} at the listening position, from {:g} ms before its direct sound "
                          "to {:g} ms after.",
                          speaker.label, before_ms, after_ms),
              {"ms after the direct sound", "ms", false, {{-before_ms, after_ms}}},
              {"Largest value 1", "", false, {}},
              {},
              {},
              2};
  Series line{"Impulse response", Look::average, {}, {}};
  for (auto n = static_cast<std::size_t>(first); n < static_cast<std::size_t>(last); n += step) {
    line.x.push_back((static_cast<double>(n) - direct) / per_ms);
    line.y.push_back(static_cast<double>(response.samples[n]) / peak);
  }
  chart.series.push_back(std::move(line));
  return chart;
}

Chart reflection_chart(const SpeakerResult& speaker, std::size_t index, const SpeakerMeasurement& measured) {
  constexpr double before_ms = 2.0, after_ms = 40.0, step_ms = 0.1, floor_db = -60.0;
  const auto& response = measured.response;
  const double per_ms = response.sample_rate_hz / 1'000.0;
  const double direct = direct_sound(measured, speaker);
  const double peak = largest(response.samples);
  Chart chart{speaker_id("reflections", index),
              "Early reflections",
              fmt::format("Level of the impulse response of {} over the first {:g} ms after its direct sound.",
                          speaker.label, after_ms),
              {"ms after the direct sound", "ms", false, {{-before_ms, after_ms}}},
              {"dB", "dB", false, {{floor_db, 5.0}}},
              {},
              {},
              1};
  Series line{"Level", Look::average, {}, {}};
  for (double t = -before_ms; t < after_ms; t += step_ms) {
    const auto from = static_cast<std::ptrdiff_t>(std::floor(direct + t * per_ms));
    const auto to = static_cast<std::ptrdiff_t>(std::floor(direct + (t + step_ms) * per_ms));
    if (from < 0 || to > std::ssize(response.samples)) continue;
    double most = 0.0;
    for (auto n = from; n < to; ++n) {
      most = std::max(most, std::abs(static_cast<double>(response.samples[static_cast<std::size_t>(n)])));
    }
    line.x.push_back(t + step_ms / 2.0);
    line.y.push_back(std::max(floor_db, 20.0 * std::log10(std::max(most / peak, 1e-9))));
  }
  chart.series.push_back(std::move(line));
  return chart;
}

}  // namespace ringtrue::page
