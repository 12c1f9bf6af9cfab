#include "log_power.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {

LogPower::LogPower(std::span<const double> signal, double sample_rate_hz, double padding) {
  const RealFft fft{good_fft_size(static_cast<std::size_t>(padding * static_cast<double>(signal.size())))};
  bin_hz_ = sample_rate_hz / static_cast<double>(fft.size());
  for (const auto& bin : spectrum(fft, signal)) power_.push_back(std::norm(bin));
  integral_.assign(power_.size() + 1, 0.0);
  for (std::size_t k = 1; k < power_.size(); ++k) {
    const double middle = static_cast<double>(k);
    integral_[k + 1] = integral_[k] + power_[k] * std::log((middle + 0.5) / (middle - 0.5));
  }
}

double LogPower::integral_to(double frequency_hz) const {
  const double place = frequency_hz / bin_hz_ + 0.5;  // bin k spans place k to k + 1
  if (place <= 1.0) return 0.0;
  const auto k = std::min(static_cast<std::size_t>(place), power_.size() - 1);
  const double upper = std::min(place - 0.5, static_cast<double>(k) + 0.5);
  return integral_[k] + power_[k] * std::log(upper / (static_cast<double>(k) - 0.5));
}

double LogPower::mean(double low_hz, double high_hz) const {
  return (integral_to(high_hz) - integral_to(low_hz)) / std::log(high_hz / low_hz);
}

}  // namespace ringtrue
