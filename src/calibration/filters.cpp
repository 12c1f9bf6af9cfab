#include "filters.hpp"

#include <algorithm>

namespace ringtrue {

Biquad section_of(const Filter& filter, double sample_rate_hz) {
  const FilterPlace place{Hertz{std::clamp(filter.frequency_hz, 1.0, 0.499 * sample_rate_hz)}, std::max(filter.q, 1e-3),
                          Hertz{sample_rate_hz}};
  switch (filter.shape) {
    case FilterShape::low_shelf: return low_shelf_filter(place, Decibels{filter.gain_db});
    case FilterShape::high_shelf: return high_shelf_filter(place, Decibels{filter.gain_db});
    case FilterShape::peak: break;
  }
  return peak_filter(place, Decibels{filter.gain_db});
}

Cascade cascade_of(const std::vector<Filter>& filters, double sample_rate_hz) {
  Cascade cascade;
  for (const Filter& filter : filters) cascade.push_back(section_of(filter, sample_rate_hz));
  return cascade;
}

}  // namespace ringtrue
