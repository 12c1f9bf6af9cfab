#include "shared_bass.hpp"

#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "heard_well.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr double window_s = 0.04;  // Hann: 50 Hz wide at half its height
constexpr double hop_s = 0.01;
constexpr double late_s = 0.11;  // after the response's first sample: past the direct sounds of any ring

using OverTime = std::vector<std::complex<double>>;

/// Looks at one narrow band of responses over time: windows of 40 ms, one every 10 ms.
class NarrowBand {
 public:
  NarrowBand(Hertz centre, double sample_rate_hz) : hop_{static_cast<std::size_t>(hop_s * sample_rate_hz)} {
    const auto length = static_cast<std::size_t>(window_s * sample_rate_hz);
    for (std::size_t n = 0; n < length; ++n) {
      const double turn = 2.0 * std::numbers::pi * static_cast<double>(n);
      const double hann = 0.5 - 0.5 * std::cos(turn / static_cast<double>(length));
      const double phase = -turn * centre.value() / sample_rate_hz;
      in_phase_.push_back(static_cast<float>(hann * std::cos(phase)));
      quadrature_.push_back(static_cast<float>(hann * std::sin(phase)));
    }
  }

  /// Phases count from each window's begin: alike for all responses, so that they may be compared.
  [[nodiscard]] OverTime operator()(std::span<const float> samples) const {
    OverTime values;
    const auto size = static_cast<Eigen::Index>(in_phase_.size());
    const Window in_phase{in_phase_.data(), size};
    const Window quadrature{quadrature_.data(), size};
    for (std::size_t from = 0; from + in_phase_.size() <= samples.size(); from += hop_) {
      const Window heard{samples.data() + from, size};
      values.emplace_back(in_phase.dot(heard), quadrature.dot(heard));
    }
    return values;
  }

 private:
  using Window = Eigen::Map<const Eigen::VectorXf>;

  std::size_t hop_;
  std::vector<float> in_phase_;
  std::vector<float> quadrature_;
};

/// How much of b is in a (<a, b> / <b, b>) and how alike they are (<a, b> / |a| |b|), from a window on.
struct Share {
  double of_other = 0.0;
  double likeness = 0.0;
};

Share share(const OverTime& a, const OverTime& b, std::size_t from) {
  double ab = 0.0;
  double aa = 0.0;
  double bb = 0.0;
  for (std::size_t i = from; i < std::min(a.size(), b.size()); ++i) {
    ab += (a[i] * std::conj(b[i])).real();
    aa += std::norm(a[i]);
    bb += std::norm(b[i]);
  }
  if (aa <= 0.0 || bb <= 0.0) return {};
  return {ab / bb, ab / std::sqrt(aa * bb)};
}

bool near_one(double value, double off) { return std::abs(value - 1.0) < off; }

/// Of 42 simulated rooms with such an output 35 are told; of 230 others, full-range speakers on a sub's output among
/// them, none is: the nearest were alike by 0.91 with a share of 0.65, and by 0.81 (late 0.45) with 0.99.
bool plays_both(const Share& whole, const Share& late) {
  const bool entirely = whole.likeness > 0.85 && near_one(whole.of_other, 0.25);
  const bool decays_alike = near_one(late.of_other, 0.3) && late.likeness > 0.8;
  const bool partly = whole.likeness > 0.7 && near_one(whole.of_other, 0.5);
  const bool decays_as_one = near_one(late.of_other, 0.17) && late.likeness > 0.93;
  return (entirely && decays_alike) || (partly && decays_as_one);
}

bool is_loud_enough(const SpeakerMeasurement& measured) {
  return is_heard_well(measured) && !measured.response.samples.empty();
}

/// The main that the sub's output plays too. Only the one most like it can be that.
std::optional<std::size_t> main_in(const Rig& rig, const PositionMeasurement& measurement, std::size_t sub,
                                   unsigned threads) {
  constexpr Hertz narrowest{140.0};  // a lower end is no place where a sub plays little
  constexpr std::size_t late_windows_needed = 15;
  const ImpulseResponse& own = measurement.speakers[sub].response;
  if (flat_band(rig.speakers[sub].band).high < narrowest) return {};
  const Hertz centre{0.92 * flat_band(rig.speakers[sub].band).high.value()};
  const NarrowBand band{centre, own.sample_rate_hz};
  const OverTime of_sub = band(own.samples);
  const auto first_late = static_cast<std::size_t>(late_s / hop_s);
  const auto of_mains = parallel_map(rig.speakers.size(), threads, [&](std::size_t s) {
    const SpeakerMeasurement& main = measurement.speakers[s];
    if (!is_main(rig.speakers[s]) || !is_loud_enough(main) || main.bass_only) return OverTime{};
    const Band driven = flat_band(rig.speakers[s].band);
    if (driven.low.value() > 0.85 * centre.value() || driven.high.value() < 1.15 * centre.value()) return OverTime{};
    return band(main.response.samples);
  });
  std::optional<std::size_t> likest;
  double likeness = 0.0;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const OverTime& of_main = of_mains[s];
    if (std::min(of_sub.size(), of_main.size()) < first_late + late_windows_needed) continue;
    const Share whole = share(of_sub, of_main, 0);
    if (whole.likeness <= likeness) continue;
    likeness = whole.likeness;
    const Share late = share(of_sub, of_main, first_late);
    likest = plays_both(whole, late) ? std::optional{s} : std::nullopt;
  }
  return likest;
}

}  // namespace

Finding shared_output(const Speaker& speaker, const Speaker& other) {
  return {
      Severity::stop, "shared-output", speaker.label,
      fmt::format("Output {} ({}) plays {} as well: one signal reaches two speakers. Look for a splitter, a link or "
                  "a double routing, then measure again.",
                  speaker.output, speaker.label, other.label)};
}

void find_shared_bass(const Rig& rig, PositionMeasurement& measurement, unsigned threads) {
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    SpeakerMeasurement& sub = measurement.speakers[s];
    if (is_main(rig.speakers[s]) || !is_loud_enough(sub) || !sub.trusted) continue;
    const auto main = main_in(rig, measurement, s, threads);
    if (!main) continue;
    sub.trusted = false;
    measurement.findings.push_back(shared_output(rig.speakers[s], rig.speakers[*main]));
  }
}

}  // namespace ringtrue
