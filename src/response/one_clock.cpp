#include "ringtrue/response/one_clock.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

constexpr double most_frames = 0.05;         // beyond, a clock is worth fitting whatever the noise
constexpr double as_uncertain = 3.0;         // standard uncertainties
constexpr double surely_unequal = 5.0;       // of a single pair
constexpr double rounding_frames = 1e-4;     // 70 dB below the sound at 20 kHz
constexpr double finest_uncertainty = 1e-5;  // frames, of a span: single precision

}  // namespace

void OneClock::read(std::size_t i, std::span<const float> first, std::span<const float> second,
                    std::span<const float> all_of_first, std::span<const float> all_of_second) {
  // In a narrow band two takes are alike far off their lag as well: there it is searched.
  constexpr Hertz broad{1'000.0};
  const bool narrow = stimulus_.shapes[stimulus_.sweeps[pairs_[i].first].shape].band.high < broad;
  spans_[i] =
      span_between(stimulus_, pairs_[i], first, second, rate_hz_, narrow ? LagExpected::any : LagExpected::none);
  if (!spans_[i] && narrow && !all_of_first.empty()) {
    spans_[i] = span_between(stimulus_, pairs_[i], all_of_first, all_of_second, rate_hz_, LagExpected::any);
  }
  if (!spans_[i] || std::abs(spans_[i]->excess) > most_frames + surely_unequal * spans_[i]->uncertainty) {
    refuted_ = true;
  }
}

std::optional<Timeline> OneClock::timeline() const {
  if (refuted_ || spans_.empty()) return {};
  double weights = 0.0;
  double drift = 0.0;  // frames a second
  double longest_s = 0.0;
  std::vector<SpanReading> spans;
  for (const auto& span : spans_) {
    if (!span) return {};
    const double weight =
        1.0 / std::max(span->uncertainty * span->uncertainty, finest_uncertainty * finest_uncertainty);
    weights += weight * span->span_s * span->span_s;
    drift += weight * span->span_s * span->excess;
    longest_s = std::max(longest_s, span->span_s);
    spans.push_back(*span);
  }
  if (weights <= 0.0) return {};
  const double shift = longest_s * std::abs(drift) / weights;
  const double uncertainty = longest_s / std::sqrt(weights);
  if (shift > std::min(most_frames, as_uncertain * uncertainty + rounding_frames)) return {};
  Timeline timeline = solve_timeline(spans, stimulus_.sweeps.size(), rate_hz_);
  if (is_broken(timeline)) return {};
  timeline.clock_ppm.value = 0.0;  // what the responses are taken with
  return timeline;
}

}  // namespace ringtrue
