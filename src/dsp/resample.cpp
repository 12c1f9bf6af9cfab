#include "ringtrue/dsp/resample.hpp"

#include <soxr.h>

#include <cmath>
#include <cstddef>
#include <stdexcept>
#include <string>

namespace ringtrue {

std::vector<double> resample(std::span<const double> samples, double from_hz, double to_hz) {
  if (from_hz == to_hz) return {samples.begin(), samples.end()};
  const double wanted = std::ceil(static_cast<double>(samples.size()) * to_hz / from_hz);
  std::vector<double> converted(static_cast<std::size_t>(wanted));
  const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, 0);
  const soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
  const soxr_runtime_spec_t runtime = soxr_runtime_spec(1);
  std::size_t done = 0;
  const soxr_error_t error = soxr_oneshot(from_hz, to_hz, 1, samples.data(), samples.size(), nullptr, converted.data(),
                                          converted.size(), &done, &io, &quality, &runtime);
  if (error != nullptr) throw std::runtime_error{std::string{"sample rate conversion: "} + soxr_strerror(error)};
  converted.resize(done);
  return converted;
}

}  // namespace ringtrue
