#include "band_ends.hpp"

#include <algorithm>
#include <cmath>

#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr Band main_reference{Hertz{200.0}, Hertz{800.0}};
constexpr Band sub_reference{Hertz{30.0}, Hertz{80.0}};
constexpr double least_end_taper = 0.1;  // of the sweep, undone before; further out noise takes over
constexpr double end_smoothing_octaves = 0.5;

/// Power averaged over the mic positions, and its running sum for means over bands.
class PowerCurve {
 public:
  PowerCurve(const BassResponses& responses, std::span<const double> frequency_hz)
      : frequency_hz_{frequency_hz}, sums_(frequency_hz.size() + 1) {
    for (std::size_t k = 0; k < frequency_hz.size(); ++k) {
      double power = 0.0;
      for (const auto& position : responses) power += std::norm(position[k]) / static_cast<double>(responses.size());
      sums_[k + 1] = sums_[k] + power / frequency_hz[k];  // pink: every octave counts alike
      weights_.push_back((weights_.empty() ? 0.0 : weights_.back()) + 1.0 / frequency_hz[k]);
    }
  }

  [[nodiscard]] double level_db(double low_hz, double high_hz) const {
    const auto begin = std::ranges::lower_bound(frequency_hz_, low_hz) - frequency_hz_.begin();
    const auto end = std::ranges::upper_bound(frequency_hz_, high_hz) - frequency_hz_.begin();
    if (end <= begin) return -300.0;
    const auto first = static_cast<std::size_t>(begin);
    const auto last = static_cast<std::size_t>(end);
    const double weight = weights_[last - 1] - (first == 0 ? 0.0 : weights_[first - 1]);
    return 10.0 * std::log10(std::max((sums_[last] - sums_[first]) / weight, 1e-30));
  }

 private:
  std::span<const double> frequency_hz_;
  std::vector<double> sums_;     // of power / f up to, not including, each bin
  std::vector<double> weights_;  // of 1 / f up to and including each bin
};

/// First and last frequency at which the smoothed level is above a limit; empty where that is at the end of what was
/// measured.
struct Ends {
  std::optional<double> low;
  std::optional<double> high;
};

Ends ends_above(const PowerCurve& curve, std::span<const double> inside_hz, double limit_db) {
  const double reach = std::exp2(0.5 * end_smoothing_octaves);
  Ends ends;
  if (inside_hz.size() < 2) return ends;
  const auto above = [&](double f) {  // beyond what was measured the level falls with the sweep, not with the speaker
    return curve.level_db(std::max(f / reach, inside_hz.front()), std::min(f * reach, inside_hz.back())) >= limit_db;
  };
  const auto first = std::ranges::find_if(inside_hz, above);
  const auto last = std::find_if(inside_hz.rbegin(), inside_hz.rend(), above);
  if (first != inside_hz.begin() && first != inside_hz.end()) ends.low = *first;
  if (last != inside_hz.rbegin() && last != inside_hz.rend()) ends.high = *last;
  return ends;
}

}  // namespace

BandEnds band_ends(const BassResponses& responses, std::span<const double> frequency_hz, Band driven,
                   SpeakerKind kind) {
  const bool is_sub = kind == SpeakerKind::sub;
  const Band reference = is_sub ? sub_reference : main_reference;
  const PowerCurve curve{responses, frequency_hz};
  const auto strong = [&](double f) { return band_taper(f, driven) >= least_end_taper; };
  const auto first = std::ranges::find_if(frequency_hz, strong);
  const auto last = std::find_if(frequency_hz.rbegin(), frequency_hz.rend(), strong).base();
  if (first >= last) return {};
  const auto inside = frequency_hz.subspan(static_cast<std::size_t>(first - frequency_hz.begin()),
                                           static_cast<std::size_t>(last - first));
  if (inside.front() > reference.low.value() || inside.back() < reference.high.value()) return {};
  const double level_db = curve.level_db(reference.low.value(), reference.high.value());
  const Ends ends_3 = ends_above(curve, inside, level_db - 3.0);
  const Ends ends_10 = ends_above(curve, inside, level_db - 10.0);
  return {ends_3.low, ends_10.low, is_sub ? ends_3.high : std::nullopt, is_sub ? ends_10.high : std::nullopt};
}

}  // namespace ringtrue
