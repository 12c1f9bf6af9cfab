#include "ringtrue/correction/equaliser.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {

const char* name(FilterShape shape) {
  return shape == FilterShape::peak ? "peak" : shape == FilterShape::low_shelf ? "low_shelf" : "high_shelf";
}

const char* in_words(FilterShape shape) {
  return shape == FilterShape::peak ? "peak" : shape == FilterShape::low_shelf ? "low shelf" : "high shelf";
}

Biquad section_of(const Filter& filter, Hertz sample_rate) {
  const FilterPlace place{Hertz{filter.frequency_hz}, filter.q, sample_rate};
  const Decibels gain{filter.gain_db};
  if (filter.shape == FilterShape::low_shelf) return low_shelf_filter(place, gain);
  if (filter.shape == FilterShape::high_shelf) return high_shelf_filter(place, gain);
  return peak_filter(place, gain);
}

Cascade sections_of(std::span<const Filter> filters, Hertz sample_rate) {
  Cascade cascade;
  for (const Filter& filter : filters) cascade.push_back(section_of(filter, sample_rate));
  return cascade;
}

std::vector<double> gain_db(std::span<const Filter> filters, std::span<const double> frequency_hz, Hertz sample_rate) {
  const Cascade cascade = sections_of(filters, sample_rate);
  std::vector<double> gains;
  gains.reserve(frequency_hz.size());
  for (const double f : frequency_hz) {
    gains.push_back(10.0 * std::log10(std::norm(frequency_response(cascade, Hertz{f}, sample_rate))));
  }
  return gains;
}

double largest_gain_db(std::span<const Filter> filters, Hertz sample_rate) {
  if (filters.empty()) return 0.0;
  std::vector<double> frequency_hz;
  for (double f = 5.0; f < 0.5 * sample_rate.value(); f *= std::exp2(1.0 / 96.0)) frequency_hz.push_back(f);
  frequency_hz.push_back(0.5 * sample_rate.value());
  for (const Filter& filter : filters) frequency_hz.push_back(filter.frequency_hz);
  return std::max(0.0, std::ranges::max(gain_db(filters, frequency_hz, sample_rate)));
}

}  // namespace ringtrue
