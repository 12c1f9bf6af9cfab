#include "common_offset.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace ringtrue {
namespace {

double mean_of_the_middle(std::vector<double> values) {
  if (values.empty()) return 0.0;
  std::ranges::sort(values);
  const std::size_t n = values.size();
  return n % 2 == 1 ? values[n / 2] : 0.5 * (values[n / 2 - 1] + values[n / 2]);
}

CommonOffset group_around(std::span<const Departure> all, double centre, double limit) {
  double sum = 0.0;
  double weights = 0.0;
  std::vector<double> values;
  for (const Departure& departure : all) {
    if (!departure.reference || std::abs(departure.value - centre) > limit + 3.0 * departure.uncertainty) continue;
    const double weight = 1.0 / (limit * limit / 16.0 + departure.uncertainty * departure.uncertainty);
    sum += weight * departure.value;
    weights += weight;
    values.push_back(departure.value);
  }
  CommonOffset result{weights > 0.0 ? sum / weights : centre, 0.0, static_cast<int>(values.size())};
  for (double& value : values) value = std::abs(value - result.value);
  result.spread = 1.48 * mean_of_the_middle(values);
  return result;
}

}  // namespace

CommonOffset common_offset(std::span<const Departure> departures, double limit) {
  std::vector<double> references;
  for (const Departure& departure : departures) {
    if (departure.reference) references.push_back(departure.value);
  }
  const double middle = mean_of_the_middle(references);
  CommonOffset best{middle, 0.0, 0};
  for (const double centre : references) {
    const CommonOffset group = group_around(departures, centre, limit);
    const bool nearer = std::abs(group.value - middle) < std::abs(best.value - middle);
    if (group.agreeing > best.agreeing || (group.agreeing == best.agreeing && nearer)) best = group;
  }
  return best;
}

}  // namespace ringtrue
