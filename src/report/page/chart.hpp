#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace ringtrue::page {

/// One axis of a chart: what the page's script needs to label it.
struct Axis {
  std::string label;  // "Delay in ms"
  std::string unit;   // "ms"
  bool frequency = false;
  std::optional<std::pair<double, double>> range{};
};

/// How a line looks; the script knows the colours.
enum class Look { position, average, target, after, second, one_of_many, points_before, points_after };

/// A line of a chart; an empty y leaves a gap.
struct Series {
  std::string name;
  Look look = Look::average;
  std::vector<double> x;  // as long as y; empty in a chart of rows
  std::vector<std::optional<double>> y;
};

/// A chart: lines over x, or, with `rows`, one point of every series per row, across.
struct Chart {
  std::string id;
  std::string title;
  std::string summary;  // in words, for those who do not see it
  Axis x;
  Axis y;
  std::vector<std::string> rows{};
  std::vector<Series> series{};
  int digits = 1;  // decimals that the numbers deserve
};

/// Charts as the JSON that the page's script draws from. Values are rounded to one digit more than they deserve.
/// The text holds no '<', so that it may stand inside a script element.
[[nodiscard]] std::string format_charts(const std::vector<Chart>& charts);

}  // namespace ringtrue::page
