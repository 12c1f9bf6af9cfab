#pragma once

#include <array>
#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/dsp/biquad.hpp"

namespace ringtrue {

enum class FilterShape { peak, low_shelf, high_shelf };

[[nodiscard]] const char* name(FilterShape shape);      // "peak", "low_shelf", "high_shelf"
[[nodiscard]] const char* in_words(FilterShape shape);  // "peak", "low shelf", "high shelf"

/// One section of the interface's equaliser, W3C Audio EQ Cookbook, shelves with Q.
struct Filter {
  FilterShape shape = FilterShape::peak;
  double frequency_hz = 1'000.0;
  double gain_db = 0.0;
  double q = 1.0;
  friend bool operator==(const Filter&, const Filter&) = default;
};

/// What an interface's equaliser can be set to, per output.
struct EqualiserLimits {
  int bands = 8;
  std::array<double, 2> gain_range_db{-12.0, 3.0};  // of one filter; its upper end also bounds their sum
  double gain_step_db = 0.1;
  std::array<double, 2> q_range{0.4, 10.0};
  double q_step = 0.01;
  std::array<double, 2> frequency_range_hz{20.0, 20'000.0};
  double frequency_step_hz = 1.0;
  double sample_rate_hz = 48'000.0;
};

/// The section of a filter. @throws InvalidInput as peak_filter
[[nodiscard]] Biquad section_of(const Filter& filter, Hertz sample_rate);
[[nodiscard]] Cascade sections_of(std::span<const Filter> filters, Hertz sample_rate);

/// Gain of all filters together at each frequency, dB.
[[nodiscard]] std::vector<double> gain_db(std::span<const Filter> filters, std::span<const double> frequency_hz,
                                          Hertz sample_rate);

/// The largest gain of all filters together at any frequency from 5 Hz to half the sample rate, dB: 0 or more. Looked
/// for at 96 points an octave and at every filter's own frequency.
[[nodiscard]] double largest_gain_db(std::span<const Filter> filters, Hertz sample_rate);

}  // namespace ringtrue
