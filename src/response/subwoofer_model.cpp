#include "ringtrue/response/subwoofer_model.hpp"

#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/subwoofer_filter.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

/// 1 / D(p) of a normalised Butterworth low-pass of order 2 or 4.
Complex low_pass(int order, Complex p) {
  if (order == 2) return 1.0 / (p * p + std::numbers::sqrt2 * p + 1.0);
  return 1.0 / ((p * p + 2.0 * std::cos(std::numbers::pi / 8.0) * p + 1.0) *
                (p * p + 2.0 * std::sin(std::numbers::pi / 8.0) * p + 1.0));
}

}  // namespace

std::vector<std::vector<double>> subwoofer_models(Band band, double sample_rate_hz) {
  const RealFft fft{good_fft_size(static_cast<std::size_t>(sample_rate_hz))};
  const double df = sample_rate_hz / static_cast<double>(fft.size());
  std::vector<std::vector<double>> models;
  for (const double high_pass_hz : {20.0, 30.0}) {
    for (const int below : {2, 4}) {
      for (const double low_pass_hz : {90.0, 120.0, 155.0}) {
        for (const int above : {2, 4}) {
          std::vector<Complex> bins(fft.bin_count());
          for (std::size_t k = 1; k < bins.size(); ++k) {
            const double f = static_cast<double>(k) * df;
            bins[k] = low_pass(above, {0.0, f / low_pass_hz}) * low_pass(below, {0.0, -high_pass_hz / f}) *
                      subwoofer_taper(f, band) * subwoofer_taper(f, band);
          }
          models.emplace_back(fft.size());
          fft.inverse(bins, models.back());
        }
      }
    }
  }
  return models;
}

}  // namespace ringtrue
