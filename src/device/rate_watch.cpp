#include "rate_watch.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

constexpr double stretch_s = 0.5;
constexpr std::size_t enough_stretches = 8;
constexpr double steady_share = 0.01;
constexpr double freewheel = 1.5;  // times the nominal rate

}  // namespace

void RateWatch::saw(std::uint64_t frames_done, std::chrono::steady_clock::time_point now) {
  if (frames_done == last_frames_) return;  // the clock is read when a block has just gone
  last_frames_ = frames_done;
  last_ = now;
  if (!started_) {
    started_ = true;
    frames_ = frames_done;
    since_ = first_ = now;
    return;
  }
  const double passed_s = std::chrono::duration<double>(now - since_).count();
  if (passed_s < stretch_s) return;
  rates_hz_.push_back(static_cast<double>(frames_done - frames_) / passed_s);
  frames_ = frames_done;
  since_ = now;
}

double RateWatch::quantile(double share) const {
  std::vector<double> sorted = rates_hz_;
  std::ranges::sort(sorted);
  return sorted[static_cast<std::size_t>(share * static_cast<double>(sorted.size() - 1))];
}

bool RateWatch::faster_than_real_time() const {
  const double passed_s = std::chrono::duration<double>(last_ - first_).count();
  const auto frames = static_cast<double>(last_frames_);
  return frames > nominal_hz_ * stretch_s && frames > freewheel * nominal_hz_ * (passed_s + 0.1);
}

double RateWatch::error_hz() const {
  constexpr double of_a_median =
      0.93;  // of normal deviates: 1.253 sigma / sqrt(n), and the quartiles are 1.349 sigma apart
  const double spread = quantile(0.75) - quantile(0.25);
  return 2.0 * of_a_median * spread / std::sqrt(static_cast<double>(rates_hz_.size()));
}

std::optional<double> RateWatch::rate_hz() const {
  if (rates_hz_.size() < enough_stretches || faster_than_real_time()) return {};
  if (quantile(0.75) - quantile(0.25) > 2.0 * steady_share * nominal_hz_) return {};
  return quantile(0.5);
}

}  // namespace ringtrue
