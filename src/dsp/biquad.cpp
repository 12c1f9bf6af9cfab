#include "ringtrue/dsp/biquad.hpp"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

/// The cookbook's letters: w0, its cosine, and alpha by Q.
struct Letters {
  double w = 0.0;
  double c = 0.0;
  double k = 0.0;
};

Letters letters_of(const FilterPlace& place) {
  const double f = place.frequency.value();
  const double fs = place.sample_rate.value();
  if (!(f > 0.0 && f < 0.5 * fs)) {
    throw InvalidInput{"filter", fmt::format("{} Hz is not between 0 and half the sample rate of {} Hz", f, fs),
                       "choose a frequency in between"};
  }
  if (!(place.q > 0.0)) throw InvalidInput{"filter", fmt::format("a Q of {}", place.q), "choose a Q above 0"};
  const double w = 2.0 * std::numbers::pi * f / fs;
  return {w, std::cos(w), std::sin(w) / (2.0 * place.q)};
}

struct Polynomial {
  double p0 = 0.0;
  double p1 = 0.0;
  double p2 = 0.0;
};

Biquad normalised(const Polynomial& b, const Polynomial& a) {
  return {b.p0 / a.p0, b.p1 / a.p0, b.p2 / a.p0, a.p1 / a.p0, a.p2 / a.p0};
}

/// 1 + k/Z and friends: the denominator that low, high and all pass share.
Polynomial plain_poles(const Letters& x) { return {1.0 + x.k, -2.0 * x.c, 1.0 - x.k}; }

/// A low shelf; the high shelf is its mirror, z -> -z, which turns the cosine's sign and that of the odd terms.
Biquad shelf(const Letters& x, double gain_db, double mirror) {
  const double A = std::pow(10.0, gain_db / 40.0);
  const double c = mirror * x.c;
  const double r = 2.0 * std::sqrt(A) * x.k;
  const double up = (A + 1.0) - (A - 1.0) * c;
  const double down = (A + 1.0) + (A - 1.0) * c;
  return normalised({A * (up + r), mirror * 2.0 * A * ((A - 1.0) - (A + 1.0) * c), A * (up - r)},
                    {down + r, mirror * -2.0 * ((A - 1.0) + (A + 1.0) * c), down - r});
}

}  // namespace

Biquad peak_filter(const FilterPlace& place, Decibels gain) {
  const Letters x = letters_of(place);
  const double A = std::pow(10.0, gain.value() / 40.0);
  return normalised({1.0 + x.k * A, -2.0 * x.c, 1.0 - x.k * A}, {1.0 + x.k / A, -2.0 * x.c, 1.0 - x.k / A});
}

Biquad low_shelf_filter(const FilterPlace& place, Decibels gain) { return shelf(letters_of(place), gain.value(), 1.0); }

Biquad high_shelf_filter(const FilterPlace& place, Decibels gain) {
  return shelf(letters_of(place), gain.value(), -1.0);
}

Biquad low_pass_filter(const FilterPlace& place) {
  const Letters x = letters_of(place);
  const double s = std::sin(0.5 * x.w);
  const double b = 2.0 * s * s;  // 1 - cos w without its cancellation at low frequencies
  return normalised({0.5 * b, b, 0.5 * b}, plain_poles(x));
}

Biquad high_pass_filter(const FilterPlace& place) {
  const Letters x = letters_of(place);
  const double b = 1.0 + x.c;
  return normalised({0.5 * b, -b, 0.5 * b}, plain_poles(x));
}

Biquad all_pass_filter(const FilterPlace& place) {
  const Letters x = letters_of(place);
  return normalised({1.0 - x.k, -2.0 * x.c, 1.0 + x.k}, plain_poles(x));
}

std::complex<double> frequency_response(const Biquad& section, Hertz frequency, Hertz sample_rate) {
  const std::complex<double> z1 = std::polar(1.0, -2.0 * std::numbers::pi * (frequency / sample_rate));
  const std::complex<double> z2 = z1 * z1;
  return (section.b0 + section.b1 * z1 + section.b2 * z2) / (1.0 + section.a1 * z1 + section.a2 * z2);
}

std::complex<double> frequency_response(std::span<const Biquad> cascade, Hertz frequency, Hertz sample_rate) {
  std::complex<double> product{1.0, 0.0};
  for (const Biquad& section : cascade) product *= frequency_response(section, frequency, sample_rate);
  return product;
}

}  // namespace ringtrue
