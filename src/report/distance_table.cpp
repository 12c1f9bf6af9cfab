#include "distance_table.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "in_output_order.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "settings_rows.hpp"

namespace ringtrue {
namespace {

/// From the listening position: by the place where it was found, else by the arrival.
std::optional<double> distance_of(const SpeakerResult& speaker) {
  const auto& measured = speaker.measured;
  if (measured.found && measured.found->distance_m) return measured.found->distance_m;
  return measured.positions.empty() ? std::nullopt : measured.positions.front().distance_m;
}

/// A number in a column, or a dash where there is none; never "-0".
std::string cell(const std::optional<double>& value, int decimals, std::size_t width) {
  if (!value) return fmt::format("{:>{}}", "-", width);
  const double scale = std::pow(10.0, decimals);
  const std::string text = fmt::format("{:>{}.{}f}", std::round(*value * scale) / scale + 0.0, width, decimals);
  return text.size() <= width ? text : fmt::format("{:>{}.0e}", *value, width);
}

std::string title(const std::string& words) { return '\n' + words + '\n'; }

std::string rule(std::size_t length) { return std::string(length, '-') + '\n'; }

std::string distances(const Calibration& calibration, std::size_t label_columns) {
  const auto rows = in_output_order(calibration);
  if (std::ranges::none_of(rows, [](const auto* speaker) { return distance_of(*speaker).has_value(); })) return {};
  const double speed = speed_of_sound_m_s(calibration);
  const double rate_hz = calibration.rig.interface.sample_rate_hz;
  std::string text = title("Distances from the listening position");
  const std::string head =
      fmt::format("{:>4}  {}  {:>7}  {:>7}  {:>7}  {:>8}  {:>6}\n", "Out", text::padded("Speaker", label_columns),
                  "metres", "feet", "ms", "samples", "+/- m");
  text += head + rule(head.size() - 1);
  for (const auto* speaker : rows) {
    const auto distance_m = distance_of(*speaker);
    const auto times = [&](double factor) { return distance_m ? std::optional{*distance_m * factor} : std::nullopt; };
    const auto& found = speaker->measured.found;
    text += fmt::format("{:>4}  {}  {}  {}  {}  {}  {}\n", speaker->output,
                        text::padded(text::printable(speaker->label), label_columns), cell(distance_m, 2, 7),
                        cell(times(1.0 / metres_per_foot), 2, 7), cell(times(1e3 / speed), 2, 7),
                        cell(times(rate_hz / speed), 0, 8),
                        cell(found ? found->distance_uncertainty_m : std::nullopt, 2, 6));
  }
  return text + text::wrapped(fmt::format("For interfaces that ask for distances. Sound goes {:.1f} m/s here; samples "
                                          "at {:g} Hz. A speaker's own latency counts as distance.",
                                          speed, rate_hz));
}

std::string delays(const Calibration& calibration, std::size_t label_columns) {
  std::string text = title("The same delays in other units");
  const std::string head = fmt::format("{:>4}  {}  {:>7}  {:>8}  {:>7}  {:>7}\n", "Out",
                                       text::padded("Speaker", label_columns), "ms", "samples", "metres", "feet");
  text += head + rule(head.size() - 1);
  bool any = false;
  for (const auto* speaker : in_output_order(calibration)) {
    const auto& delay_ms = speaker->settings.delay_ms;
    if (!delay_ms) continue;
    any = true;
    const auto as = [&](DelayUnit unit) { return in_unit(*delay_ms, unit, calibration); };
    text += fmt::format("{:>4}  {}  {}  {}  {}  {}\n", speaker->output,
                        text::padded(text::printable(speaker->label), label_columns), cell(delay_ms, 3, 7),
                        cell(as(DelayUnit::samples), 0, 8), cell(as(DelayUnit::metres), 3, 7),
                        cell(as(DelayUnit::feet), 3, 7));
  }
  return any ? text : std::string{};
}

std::string directions(const Calibration& calibration, std::size_t label_columns) {
  std::string text = title("Where each was found (degrees from the ear point, azimuth positive to the left)");
  const std::string head = fmt::format("{:>4}  {}  {:>7}  {:>9}  {:>7}\n", "Out",
                                       text::padded("Speaker", label_columns), "azimuth", "elevation", "+/- deg");
  text += head + rule(head.size() - 1);
  bool any = false;
  for (const auto* speaker : in_output_order(calibration)) {
    const auto& found = speaker->measured.found;
    if (!found) continue;
    any = true;
    text += fmt::format("{:>4}  {}  {}  {}  {}\n", speaker->output,
                        text::padded(text::printable(speaker->label), label_columns),
                        cell(found->direction.azimuth_deg, 1, 7), cell(found->direction.elevation_deg, 1, 9),
                        cell(found->direction_uncertainty_deg, 1, 7));
  }
  return any ? text + "Drawn to scale in places.html.\n" : std::string{};
}

}  // namespace

std::string distance_table(const Calibration& calibration, std::size_t label_columns) {
  return distances(calibration, label_columns) + delays(calibration, label_columns) +
         directions(calibration, label_columns);
}

}  // namespace ringtrue
