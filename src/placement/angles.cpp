#include "angles.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/placement/fit.hpp"

namespace ringtrue {

AngleRange range_or_nominal(const RingSpeaker& speaker) {
  const Direction& nominal = speaker.nominal;
  return speaker.range.value_or(
      AngleRange{nominal.azimuth_deg, nominal.azimuth_deg, nominal.elevation_deg, nominal.elevation_deg});
}

double outside_deg(double angle_deg, double low_deg, double high_deg) {
  return std::max({0.0, low_deg - angle_deg, angle_deg - high_deg});
}

double outside_deg(Direction direction, const AngleRange& range) {
  return outside_deg(direction.azimuth_deg, range.az_min_deg, range.az_max_deg) +
         outside_deg(direction.elevation_deg, range.el_min_deg, range.el_max_deg);
}

std::vector<double> angles_around(double nominal_deg, double low_deg, double high_deg) {
  std::vector<double> angles{nominal_deg};
  for (int step = 1; nominal_deg + step < high_deg || nominal_deg - step > low_deg; ++step) {
    if (nominal_deg + step < high_deg) angles.push_back(nominal_deg + step);
    if (nominal_deg - step > low_deg) angles.push_back(nominal_deg - step);
  }
  for (const double bound : {low_deg, high_deg}) {
    if (bound != nominal_deg) angles.push_back(bound);
  }
  std::ranges::stable_sort(angles, {}, [&](double angle_deg) { return std::abs(angle_deg - nominal_deg); });
  return angles;
}

bool is_in_range(const RingSpeaker& speaker, Direction direction) {
  constexpr double rounding_deg = 1e-9;
  return outside_deg(direction, range_or_nominal(speaker)) < rounding_deg;
}

}  // namespace ringtrue
