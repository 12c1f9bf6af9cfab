#pragma once

#include <complex>
#include <span>
#include <vector>

#include "ringtrue/core/units.hpp"

namespace ringtrue {

/// A second-order section with a0 = 1:
///
///     H(z) = (b0 + b1/z + b2/z^2) / (1 + a1/z + a2/z^2)
///
/// The default passes everything; b2 = a2 = 0 is a first-order section.
struct Biquad {
  double b0 = 1.0;
  double b1 = 0.0;
  double b2 = 0.0;
  double a1 = 0.0;
  double a2 = 0.0;
  friend bool operator==(const Biquad&, const Biquad&) = default;
};

/// Sections one after another; none passes everything.
using Cascade = std::vector<Biquad>;

/// What the filters below are made from.
struct FilterPlace {
  Hertz frequency;    // centre, corner, or where a shelf has half its gain in dB; 0 < frequency < sample_rate / 2
  double q;           // > 0; for shelves Q too, not the slope S
  Hertz sample_rate;  // > 0
};

/// Filters of the W3C Audio EQ Cookbook: bilinear transforms that are exact at `frequency`. With w = 2 pi f0 / fs,
/// k = sin w / (2 Q), A = 10^(gain/40), before division by a0:
///
///     peak        b = 1 + k A, -2 cos w, 1 - k A              a = 1 + k/A, -2 cos w, 1 - k/A
///     low shelf   b = A ((A+1) - (A-1) cos w +- 2 sqrt(A) k) ...  as printed there; high shelf: cos w -> -cos w
///     low pass    b = (1 - cos w) (1/2, 1, 1/2)               a = 1 + k, -2 cos w, 1 - k
///     high pass   b = (1 + cos w) (1/2, -1, 1/2)              a as the low pass
///     all pass    b = 1 - k, -2 cos w, 1 + k                  a as the low pass
///
/// Source: R. Bristow-Johnson, "Audio EQ Cookbook", W3C Working Group Note (2021).
/// @throws InvalidInput  when a bound of FilterPlace is broken; the message carries the value
[[nodiscard]] Biquad peak_filter(const FilterPlace& place, Decibels gain);
[[nodiscard]] Biquad low_shelf_filter(const FilterPlace& place, Decibels gain);
[[nodiscard]] Biquad high_shelf_filter(const FilterPlace& place, Decibels gain);
[[nodiscard]] Biquad low_pass_filter(const FilterPlace& place);
[[nodiscard]] Biquad high_pass_filter(const FilterPlace& place);
[[nodiscard]] Biquad all_pass_filter(const FilterPlace& place);

/// H(exp(2 pi i f / fs)). @param frequency  0 to sample_rate / 2
[[nodiscard]] std::complex<double> frequency_response(const Biquad& section, Hertz frequency, Hertz sample_rate);
[[nodiscard]] std::complex<double> frequency_response(std::span<const Biquad> cascade, Hertz frequency,
                                                      Hertz sample_rate);

}  // namespace ringtrue
