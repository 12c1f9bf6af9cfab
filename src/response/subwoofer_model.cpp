#include "ringtrue/response/subwoofer_model.hpp"

#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

enum class Alignment { butterworth_2, butterworth_4, linkwitz_riley_4 };

/// 1 / D(p) of a normalised low-pass.
Complex low_pass(Alignment alignment, Complex p) {
  switch (alignment) {
    case Alignment::butterworth_2: return 1.0 / (p * p + std::numbers::sqrt2 * p + 1.0);
    case Alignment::butterworth_4:
      return 1.0 / ((p * p + 2.0 * std::cos(std::numbers::pi / 8.0) * p + 1.0) *
                    (p * p + 2.0 * std::sin(std::numbers::pi / 8.0) * p + 1.0));
    case Alignment::linkwitz_riley_4: {
      const Complex half = low_pass(Alignment::butterworth_2, p);
      return half * half;
    }
  }
  return 1.0;
}

}  // namespace

std::vector<std::vector<double>> subwoofer_models(Band band, double sample_rate_hz) {
  constexpr std::array high_pass_hz{18.0, 25.0, 35.0, 45.0};
  constexpr std::array low_pass_hz{70.0, 90.0, 115.0, 145.0, 180.0, 230.0};
  constexpr std::array alignments{Alignment::butterworth_2, Alignment::butterworth_4, Alignment::linkwitz_riley_4};
  const RealFft fft{good_fft_size(static_cast<std::size_t>(0.5 * sample_rate_hz))};
  const double df = sample_rate_hz / static_cast<double>(fft.size());
  const Band wide{Hertz{band.low.value() * 0.7}, Hertz{band.high.value() * 1.1}};

  std::vector<std::vector<double>> models;
  for (const double high_pass : high_pass_hz) {
    for (const auto below : {Alignment::butterworth_2, Alignment::butterworth_4}) {
      for (const double corner : low_pass_hz) {
        for (const auto above : alignments) {
          std::vector<Complex> bins(fft.bin_count());
          for (std::size_t k = 1; k < bins.size(); ++k) {
            const double f = static_cast<double>(k) * df;
            const Complex p{0.0, f / high_pass};
            bins[k] = low_pass(above, {0.0, f / corner}) * low_pass(below, 1.0 / p) *
                      tapered_gain(f, wide, 0.5, 0.5);
          }
          std::vector<double> h(fft.size());
          fft.inverse(bins, h);
          h.resize(h.size() / 4);
          models.push_back(std::move(h));
        }
      }
    }
  }
  return models;
}

}  // namespace ringtrue
