#include "ringtrue/live/take_monitor.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr double lost_after_s = 0.2;    // of exact zeros
constexpr double muted_after_s = 0.15;  // of silence where a sweep should be
constexpr double edge_s = 0.1;          // around a sweep that is not looked at: its fades, and what latency may do
constexpr double muted_share = 0.05;    // of the sweep's amplitude

double peak_of(const SweepShape& shape) {
  double peak = 0.0;
  for (const double sample : shape.samples) peak = std::max(peak, std::abs(sample));
  return peak;
}

}  // namespace

TakeMonitor::TakeMonitor(const Stimulus& stimulus, const LevelCheck& check, std::string device)
    : device_{std::move(device)},
      rate_hz_{stimulus.sample_rate_hz},
      microphone_is_never_zero_{!check.microphone_quiet_zero},
      loopback_is_never_zero_{check.loopback_noise_dbfs > -190.0},
      loopback_known_{check.loopback_lag.has_value()},
      watch_{stimulus, check} {
  const auto edge = static_cast<std::int64_t>(edge_s * rate_hz_);
  const std::int64_t lag = check.loopback_lag.value_or(0);
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    const SweepShape& shape = stimulus.shapes[sweep.shape];
    const std::int64_t from = sweep.first_frame + lag + edge;
    const std::int64_t to = from + std::ssize(shape.samples) - 2 * edge;
    if (to <= from) continue;
    const double amplitude = peak_of(shape) * std::abs(check.loopback_gain);
    sounding_.push_back({static_cast<std::uint64_t>(from), static_cast<std::uint64_t>(to), amplitude});
  }
}

void TakeMonitor::fail(const std::string& what, const std::string& remedy) const {
  throw DeviceError{device_, what, remedy + ", then go on with --resume"};
}

void TakeMonitor::fail_gone() const {
  fail("its inputs deliver nothing any more: it was unplugged or muted, or this program may not record",
       "check the device, its mutes and the recording permission");
}

bool TakeMonitor::operator()(const HeardSoFar& heard) {
  has_loopback_ = heard.channels > 1;
  const std::uint64_t frames = heard.interleaved.size() / heard.channels;
  for (; looked_at_ < frames; ++looked_at_) look_at(looked_at_, heard);
  return true;
}

void TakeMonitor::look_at(std::uint64_t frame, const HeardSoFar& heard) {
  const std::size_t at = static_cast<std::size_t>(frame) * heard.channels;
  const float microphone = heard.interleaved[at];
  const float loopback = has_loopback_ ? heard.interleaved[at + 1] : 0.0F;
  if (!std::isfinite(microphone) || !std::isfinite(loopback)) {
    fail("delivers values that are no numbers", "update its driver or choose another device");
  }
  const auto lost = static_cast<std::uint64_t>(lost_after_s * rate_hz_);
  microphone_zeros_ = microphone == 0.0F ? microphone_zeros_ + 1 : 0;
  loopback_zeros_ = loopback == 0.0F ? loopback_zeros_ + 1 : 0;
  if (microphone_is_never_zero_ && microphone_zeros_ > lost) {
    if (!has_loopback_ || loopback_zeros_ > lost) {
      // With a loopback that is silent by itself, wait whether it speaks: then the microphone alone is gone.
      const bool sure = !has_loopback_ || loopback_is_never_zero_ || microphone_zeros_ > 6 * lost;
      if (sure) fail_gone();
    } else {
      fail("the microphone's input delivers nothing any more, the loopback still does",
           "check the microphone's cable, phantom power, mute and gain");
    }
  }
  if (!has_loopback_ || !loopback_known_) return;
  look_for_mutes(frame, static_cast<double>(loopback));
  block_.push_back(static_cast<double>(loopback));
  if (static_cast<double>(block_.size()) >= LoopbackWatch::block_s * rate_hz_) look_for_others(frame + 1);
}

void TakeMonitor::look_for_mutes(std::uint64_t frame, double loopback) {
  while (next_sounding_ < sounding_.size() && frame >= sounding_[next_sounding_].to) ++next_sounding_;
  const bool sounding = next_sounding_ < sounding_.size() && frame >= sounding_[next_sounding_].from;
  counted_ = sounding ? counted_ + 1 : 0;
  energy_ = sounding ? energy_ + loopback * loopback : 0.0;
  if (static_cast<double>(counted_) < muted_after_s * rate_hz_) return;
  const double rms = std::sqrt(energy_ / static_cast<double>(counted_));
  counted_ = 0;
  energy_ = 0.0;
  if (rms >= muted_share * sounding_[next_sounding_].amplitude) return;
  const bool microphone_too = static_cast<double>(microphone_zeros_) > 0.5 * muted_after_s * rate_hz_;
  if (microphone_is_never_zero_ && microphone_too) fail_gone();
  fail("a sweep plays, but nothing reaches the loopback: the outputs are muted or led elsewhere",
       "check mutes, routing and the loopback's cable");
}

void TakeMonitor::look_for_others(std::uint64_t end) {
  if (watch_.hears_another(end - block_.size(), block_)) {
    fail("something else plays on the same outputs", "close other programs that use the device");
  }
  if (watch_.overloaded()) {
    fail("the sweeps overload the loopback's input", "turn that input's gain down");
  }
  block_.clear();
}

}  // namespace ringtrue
