#include "ringtrue/report/bass_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>

#include "html_text.hpp"

namespace ringtrue {
namespace {

using html::escaped;

// Units of the drawing.
constexpr double panel_width = 320.0;
constexpr double panel_height = 230.0;
constexpr double left = 40.0;  // of the axes inside a panel
constexpr double right = 12.0;
constexpr double top = 44.0;
constexpr double bottom = 26.0;
constexpr double legend_height = 34.0;
constexpr std::size_t most_columns = 3;

constexpr double shown_db = 36.0;
constexpr double grid_db = 6.0;
constexpr double least_top_db = 6.0;
constexpr double most_top_db = 30.0;

constexpr const char* style = R"css(<style>
.bass-picture { --paper: #ffffff; --ink: #1f2428; --soft: #5b636b; --line: #dcd8cd; --after: #0a625d; --before: #a8480a; }
@media (prefers-color-scheme: dark) { .bass-picture { --paper: #1c2024; --ink: #e9e7e1; --soft: #a7adb3;
  --line: #3b4147; --after: #62cfc5; --before: #f2a65f; } }
.bass-picture text { font: 12px system-ui, sans-serif; fill: var(--ink); }
.bass-picture .who { font-weight: 600; font-size: 14px; }
.bass-picture .soft { fill: var(--soft); font-size: 11px; }
.bass-picture .paper { fill: var(--paper); }
.bass-picture .grid { stroke: var(--line); stroke-width: 1; }
.bass-picture .band { fill: var(--line); opacity: 0.35; }
.bass-picture .crossover { stroke: var(--soft); stroke-width: 1; stroke-dasharray: 2 3; }
.bass-picture polyline, .bass-picture .key { fill: none; stroke-linejoin: round; }
.bass-picture .after { stroke: var(--after); stroke-width: 2.6; }
.bass-picture .before { stroke: var(--before); stroke-width: 1.8; stroke-dasharray: 6 3; }
.bass-picture .main { stroke: var(--soft); stroke-width: 1.1; }
.bass-picture .sub { stroke: var(--soft); stroke-width: 1.1; stroke-dasharray: 1 3; stroke-linecap: round; }
</style>
)css";

/// Axes that all panels share.
struct Axes {
  double low_hz;
  double high_hz;
  double top_db;

  [[nodiscard]] double x(double hz) const {
    const double share = std::log(hz / low_hz) / std::log(high_hz / low_hz);
    return left + std::clamp(share, 0.0, 1.0) * (panel_width - left - right);
  }
  [[nodiscard]] double y(double db) const {
    const double share = std::clamp((top_db - db) / shown_db, 0.0, 1.0);
    return top + share * (panel_height - top - bottom);
  }
};

Axes axes_of(const BassPicture& picture) {
  double highest = least_top_db;
  for (const BassPicture::Main& main : picture.mains) {
    for (const auto* curve : {&main.before_db, &main.after_db}) {
      for (const double level : *curve) highest = std::max(highest, level);
    }
  }
  const double top_db = std::min(most_top_db, grid_db * std::ceil(highest / grid_db));
  return {picture.frequency_hz.front(), picture.frequency_hz.back(), top_db};
}

std::string line(double x1, double y1, double x2, double y2, const char* css_class) {
  return fmt::format("<line class=\"{}\" x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\"/>\n", css_class, x1,
                     y1, x2, y2);
}

std::string words(double x, double y, const char* css_class, const char* anchor, const std::string& text) {
  return fmt::format("<text class=\"{}\" x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"{}\">{}</text>\n", css_class, x, y,
                     anchor, escaped(text));
}

std::string grid(const Axes& axes) {
  std::string svg;
  for (double db = axes.top_db; db >= axes.top_db - shown_db; db -= grid_db) {
    svg += line(left, axes.y(db), panel_width - right, axes.y(db), "grid");
    svg += words(left - 5.0, axes.y(db) + 4.0, "soft", "end", db == 0.0 ? "0" : fmt::format("{:+.0f}", db));
  }
  for (double hz = axes.low_hz; hz <= axes.high_hz * 1.001; hz *= 2.0) {
    svg += line(axes.x(hz), axes.y(axes.top_db), axes.x(hz), axes.y(axes.top_db - shown_db), "grid");
    svg += words(axes.x(hz), panel_height - bottom + 15.0, "soft", "middle", fmt::format("{:.0f}", hz));
  }
  return svg;
}

std::string curve(const Axes& axes, const BassPicture& picture, const std::vector<double>& levels,
                  const char* css_class) {
  std::string points;
  for (std::size_t k = 0; k < std::min(levels.size(), picture.frequency_hz.size()); ++k) {
    points += fmt::format("{}{:.1f},{:.1f}", k == 0 ? "" : " ", axes.x(picture.frequency_hz[k]), axes.y(levels[k]));
  }
  return fmt::format("<polyline class=\"{}\" points=\"{}\"/>\n", css_class, points);
}

std::string panel(const Axes& axes, const BassPicture& picture, const BassPicture::Main& main) {
  const double low = axes.x(0.5 * main.crossover_hz);
  const double high = axes.x(2.0 * main.crossover_hz);
  const double floor = axes.y(axes.top_db - shown_db);
  std::string svg = fmt::format("<rect class=\"band\" x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\"/>\n",
                                low, axes.y(axes.top_db), high - low, floor - axes.y(axes.top_db));
  svg += grid(axes);
  svg += line(axes.x(main.crossover_hz), axes.y(axes.top_db), axes.x(main.crossover_hz), floor, "crossover");
  svg += curve(axes, picture, main.main_db, "main");
  svg += curve(axes, picture, main.sub_db, "sub");
  svg += curve(axes, picture, main.before_db, "before");
  svg += curve(axes, picture, main.after_db, "after");
  svg += words(left, 18.0, "who", "start", main.label);
  svg += words(left, 35.0, "soft", "start",
               fmt::format("sub to main at {:g} Hz: {:.0f}\u00b0 before, {:.0f}\u00b0 after", main.crossover_hz,
                           main.phase_before_deg, main.phase_after_deg));
  return svg;
}

std::string legend() {
  struct Key {
    const char* css_class;
    const char* text;
    double x;
  };
  std::string svg;
  for (const Key& key : {Key{"after", "sum with the settings", 40.0}, Key{"before", "sum by arrival alone", 230.0},
                         Key{"main", "main alone", 410.0}, Key{"sub", "sub alone", 530.0}}) {
    svg += line(key.x, 18.0, key.x + 26.0, 18.0, key.css_class);
    svg += words(key.x + 32.0, 22.0, "legend", "start", key.text);
  }
  return svg + words(40.0, 41.0, "soft", "start",
                     "dB against the mains' level, over Hz; grey: an octave each side of the crossover");
}

std::string description(const BassPicture& picture) {
  std::string text;
  for (const BassPicture::Main& main : picture.mains) {
    text += fmt::format("{}{}: {:.0f} degrees before, {:.0f} after", text.empty() ? "" : "; ", main.label,
                        main.phase_before_deg, main.phase_after_deg);
  }
  return "Phase of the sub against each main at the crossover. " + text + ".";
}

}  // namespace

std::string draw_bass_picture(const Calibration& calibration) {
  if (!calibration.bass_picture) return {};
  const BassPicture& picture = *calibration.bass_picture;
  if (picture.mains.empty() || picture.frequency_hz.size() < 2) return {};
  const Axes axes = axes_of(picture);
  const std::size_t columns = std::min(most_columns, picture.mains.size());
  const std::size_t rows = (picture.mains.size() + columns - 1) / columns;
  const double width = std::max(panel_width * static_cast<double>(columns), 640.0);
  const double head = legend_height + 16.0;
  const double height = head + panel_height * static_cast<double>(rows);
  std::string svg = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"bass-picture\" viewBox=\"0 0 {:.0f} {:.0f}\" role=\"img\">\n"
      "<title>Bass: each main with the sub, before and after</title>\n<desc>{}</desc>\n{}"
      "<rect class=\"paper\" width=\"{:.0f}\" height=\"{:.0f}\"/>\n{}",
      width, height, escaped(description(picture)), style, width, height, legend());
  for (std::size_t m = 0; m < picture.mains.size(); ++m) {
    svg += fmt::format("<g transform=\"translate({:.0f} {:.0f})\">\n{}</g>\n",
                       panel_width * static_cast<double>(m % columns),
                       head + panel_height * static_cast<double>(m / columns), panel(axes, picture, picture.mains[m]));
  }
  return svg + "</svg>\n";
}

}  // namespace ringtrue
