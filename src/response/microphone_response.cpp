#include "ringtrue/response/microphone_response.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>

#include "ringtrue/core/units.hpp"

namespace ringtrue {
namespace {

/// A place between two neighbouring points.
struct Between {
  std::size_t lower = 0;
  std::size_t upper = 0;
  double fraction = 0.0;  // of the way up, over log frequency
};

Between place_of(const std::vector<double>& frequencies_hz, double frequency_hz) {
  const auto above = std::ranges::upper_bound(frequencies_hz, frequency_hz);
  if (above == frequencies_hz.begin()) return {};
  const auto upper = static_cast<std::size_t>(above - frequencies_hz.begin());
  if (above == frequencies_hz.end()) return {upper - 1, upper - 1, 0.0};
  const double low_hz = frequencies_hz[upper - 1];
  return {upper - 1, upper, std::log(frequency_hz / low_hz) / std::log(frequencies_hz[upper] / low_hz)};
}

}  // namespace

std::complex<double> transfer_at(const MicrophoneResponse& microphone, double frequency_hz) {
  if (microphone.frequencies_hz.empty()) return 1.0;
  const auto [lower, upper, fraction] = place_of(microphone.frequencies_hz, frequency_hz);
  const auto& gains = microphone.gains_db;
  const double gain = amplitude_ratio(Decibels{gains[lower] + fraction * (gains[upper] - gains[lower])});
  if (microphone.phases_deg.empty()) return gain;
  const auto& phases = microphone.phases_deg;
  const double turn_deg = std::remainder(phases[upper] - phases[lower], 360.0);
  return std::polar(gain, (phases[lower] + fraction * turn_deg) * std::numbers::pi / 180.0);
}

}  // namespace ringtrue
