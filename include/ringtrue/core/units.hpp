#pragma once

#include <cmath>
#include <compare>
#include <cstdint>

namespace ringtrue {

/// A double that knows its unit: explicit in, explicit out, only arithmetic that means something.
template <class Tag>
class Quantity {
 public:
  constexpr explicit Quantity(double value) : value_{value} {}
  [[nodiscard]] constexpr double value() const { return value_; }
  friend constexpr auto operator<=>(Quantity, Quantity) = default;
  friend constexpr Quantity operator+(Quantity a, Quantity b) { return Quantity{a.value_ + b.value_}; }
  friend constexpr Quantity operator-(Quantity a, Quantity b) { return Quantity{a.value_ - b.value_}; }
  friend constexpr double operator/(Quantity a, Quantity b) { return a.value_ / b.value_; }

 private:
  double value_;
};

using Hertz = Quantity<struct HertzTag>;
using Seconds = Quantity<struct SecondsTag>;
using Metres = Quantity<struct MetresTag>;
using Celsius = Quantity<struct CelsiusTag>;
using MetresPerSecond = Quantity<struct MetresPerSecondTag>;
using Decibels = Quantity<struct DecibelsTag>;  // a gain, or the difference of two levels

/// A band of frequencies; which bounds are legal is for whoever takes it to say.
struct Band {
  Hertz low;
  Hertz high;
  friend constexpr bool operator==(const Band&, const Band&) = default;
};

[[nodiscard]] inline double amplitude_ratio(Decibels gain) { return std::pow(10.0, gain.value() / 20.0); }
[[nodiscard]] inline double power_ratio(Decibels gain) { return std::pow(10.0, gain.value() / 10.0); }
[[nodiscard]] inline Decibels decibels_of_amplitude(double ratio) { return Decibels{20.0 * std::log10(ratio)}; }
[[nodiscard]] inline Decibels decibels_of_power(double ratio) { return Decibels{10.0 * std::log10(ratio)}; }

/// Speed of sound in air at 101.325 kPa: c = 343.2 sqrt((t + 273.15) / 293.15).
/// Source: ISO 9613-1:1993 (reference condition 20 degrees C). The usual formulas differ by up to 0.23 percent.
[[nodiscard]] inline MetresPerSecond speed_of_sound(Celsius temperature) {
  return MetresPerSecond{343.2 * std::sqrt((temperature.value() + 273.15) / 293.15)};
}

}  // namespace ringtrue
