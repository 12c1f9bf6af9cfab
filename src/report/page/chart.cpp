#include "chart.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

namespace ringtrue::page {
namespace {

using Json = nlohmann::ordered_json;

const char* name(Look look) {
  switch (look) {
    case Look::position: return "position";
    case Look::average: return "average";
    case Look::target: return "target";
    case Look::after: return "after";
    case Look::second: return "second";
    case Look::one_of_many: return "one_of_many";
    case Look::points_before: return "points_before";
    case Look::points_after: return "points_after";
  }
  return "average";
}

double rounded(double value, int digits) {
  const double scale = std::pow(10.0, digits);
  return std::round(value * scale) / scale + 0.0;
}

Json as_json(const Axis& axis) {
  Json json{{"label", axis.label}, {"unit", axis.unit}};
  if (axis.frequency) json["frequency"] = true;
  if (axis.range) {
    json["min"] = axis.range->first;
    json["max"] = axis.range->second;
  }
  return json;
}

/// What several series share along x is written once.
class Grids {
 public:
  std::size_t index_of(const std::vector<double>& x) {
    const auto [at, is_new] = known_.try_emplace(x, grids_.size());
    if (is_new) grids_.push_back(x);
    return at->second;
  }
  [[nodiscard]] const Json& json() const { return grids_; }

 private:
  std::map<std::vector<double>, std::size_t> known_;
  Json grids_ = Json::array();
};

/// Places along x to 5 digits: more than any screen shows.
std::vector<double> rounded_places(std::vector<double> x) {
  for (double& value : x) {
    if (value == 0.0 || !std::isfinite(value)) continue;
    value = rounded(value, 4 - static_cast<int>(std::floor(std::log10(std::abs(value)))));
  }
  return x;
}

Json as_json(const Series& series, int digits, Grids& grids) {
  Json y = Json::array();
  for (const auto& value : series.y) {
    y.push_back(value && std::isfinite(*value) ? Json(rounded(*value, digits)) : Json{});
  }
  Json json{{"name", series.name}, {"look", name(series.look)}, {"y", std::move(y)}};
  if (!series.x.empty()) json["grid"] = grids.index_of(rounded_places(series.x));
  return json;
}

Json as_json(const Chart& chart, Grids& grids) {
  Json json{{"x", as_json(chart.x)}, {"y", as_json(chart.y)}, {"digits", chart.digits}};
  if (!chart.rows.empty()) json["rows"] = chart.rows;
  for (const auto& series : chart.series) json["series"].push_back(as_json(series, chart.digits + 1, grids));
  return json;
}

}  // namespace

std::string format_charts(const std::vector<Chart>& charts) {
  Grids grids;
  Json all = Json::object();
  for (const auto& chart : charts) all[chart.id] = as_json(chart, grids);
  std::string text =
      Json{{"grids", grids.json()}, {"charts", all}}.dump(-1, ' ', false, Json::error_handler_t::replace);
  for (auto at = text.find('<'); at != std::string::npos; at = text.find('<', at)) text.replace(at, 1, "\\u003c");
  return text;
}

}  // namespace ringtrue::page
