#include "ringtrue/dsp/crossover.hpp"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

/// Tangent of half the corner's angle per sample: where the bilinear transform puts the analogue corner.
double warped(Hertz corner, Hertz sample_rate) { return std::tan(std::numbers::pi * (corner / sample_rate)); }

Biquad first_order_low_pass(Hertz corner, Hertz sample_rate) {
  const double t = warped(corner, sample_rate);
  return {t / (1.0 + t), t / (1.0 + t), 0.0, (t - 1.0) / (1.0 + t), 0.0};
}

Biquad first_order_high_pass(Hertz corner, Hertz sample_rate) {
  const double t = warped(corner, sample_rate);
  return {1.0 / (1.0 + t), -1.0 / (1.0 + t), 0.0, (t - 1.0) / (1.0 + t), 0.0};
}

/// The Q of section k of a Butterworth filter.
double section_q(int order, int k) {
  const double angle = order % 2 == 0 ? 0.5 * (2.0 * k + 1.0) / order : (k + 1.0) / order;
  return 0.5 / std::cos(std::numbers::pi * angle);
}

template <class First, class Second>
Cascade butterworth(int order, Hertz corner, Hertz sample_rate, const First& first, const Second& second) {
  if (order < 1) throw InvalidInput{"filter", fmt::format("a Butterworth filter of order {}", order), "use 1 or more"};
  Cascade cascade;
  for (int k = 0; k < order / 2; ++k) cascade.push_back(second({corner, section_q(order, k), sample_rate}));
  if (order % 2 == 1) cascade.push_back(first(corner, sample_rate));
  return cascade;
}

void require_corner(Hertz corner, Hertz sample_rate) {
  if (corner.value() > 0.0 && corner.value() < 0.5 * sample_rate.value()) return;
  throw InvalidInput{"filter",
                     fmt::format("a corner at {} Hz is not between 0 and half the sample rate of {} Hz", corner.value(),
                                 sample_rate.value()),
                     "choose a frequency in between"};
}

Cascade twice(Cascade cascade) {
  const Cascade once = cascade;
  cascade.insert(cascade.end(), once.begin(), once.end());
  return cascade;
}

struct Family {
  int order;  // of the Butterworth filter
  bool squared;
};

Family family_of(CrossoverSlope slope) {
  switch (slope) {
    case CrossoverSlope::lr12: return {1, true};
    case CrossoverSlope::lr24: return {2, true};
    case CrossoverSlope::lr36: return {3, true};
    case CrossoverSlope::lr48: return {4, true};
    case CrossoverSlope::bw12: return {2, false};
    case CrossoverSlope::bw18: return {3, false};
    case CrossoverSlope::bw24: return {4, false};
  }
  return {2, true};
}

}  // namespace

Cascade butterworth_low_pass(int order, Hertz corner, Hertz sample_rate) {
  require_corner(corner, sample_rate);
  return butterworth(order, corner, sample_rate, first_order_low_pass, low_pass_filter);
}

Cascade butterworth_high_pass(int order, Hertz corner, Hertz sample_rate) {
  require_corner(corner, sample_rate);
  return butterworth(order, corner, sample_rate, first_order_high_pass, high_pass_filter);
}

Crossover crossover_filters(CrossoverSlope slope, Hertz frequency, Hertz sample_rate) {
  const auto [order, squared] = family_of(slope);
  Cascade low = butterworth_low_pass(order, frequency, sample_rate);
  Cascade high = butterworth_high_pass(order, frequency, sample_rate);
  return squared ? Crossover{twice(std::move(low)), twice(std::move(high))}
                 : Crossover{std::move(low), std::move(high)};
}

}  // namespace ringtrue
