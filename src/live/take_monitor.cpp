#include "ringtrue/live/take_monitor.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "power_below.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr double lost_after_s = 0.2;     // of exact zeros
constexpr double muted_after_s = 0.15;   // of silence where a sweep should be
constexpr double foreign_after_s = 0.2;  // of sound where silence should be
constexpr double edge_s = 0.05;          // around a sweep that is not looked at: its fades, and what latency may do
constexpr double muted_share = 0.05;     // of the sweep's amplitude
constexpr double foreign_share = 0.01;   // of it, and ten times over the loopback's own noise

// While a sweep plays, only what is lower than it can be no harmonic of it: three blocks in a row hold something there.
constexpr double well_below = 0.6;            // of the sweep's frequency, 0.15 s before the block: it may be that late
constexpr double lowest_limit_hz = 100.0;     // below that there is too little room
constexpr double strange_power_ratio = 1e-3;  // -30 dB of the sweep
constexpr int most_strange_blocks = 2;        // lost samples are a click in one or two of them

double peak_of(const SweepShape& shape) {
  double peak = 0.0;
  for (const double sample : shape.samples) peak = std::max(peak, std::abs(sample));
  return peak;
}

}  // namespace

TakeMonitor::TakeMonitor(const Stimulus& stimulus, const LevelCheck& check, std::string device)
    : stimulus_{&stimulus},
      device_{std::move(device)},
      rate_hz_{stimulus.sample_rate_hz},
      microphone_is_never_zero_{!check.microphone_quiet_zero},
      loopback_is_never_zero_{check.loopback_noise_dbfs > -190.0},
      loopback_known_{check.loopback_lag.has_value()},
      loopback_gain_{std::abs(check.loopback_gain)},
      loopback_floor_{std::pow(10.0, check.loopback_noise_dbfs / 20.0)} {
  const auto edge = static_cast<std::int64_t>(edge_s * rate_hz_);
  const std::int64_t lag = check.loopback_lag.value_or(0);
  std::int64_t last_end = 0;
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    const ScheduledSweep& sweep = stimulus.sweeps[i];
    const SweepShape& shape = stimulus.shapes[sweep.shape];
    const std::int64_t begin = sweep.first_frame + lag;
    const std::int64_t end = begin + std::ssize(shape.samples);
    const double amplitude = peak_of(shape) * loopback_gain_;
    const auto add = [amplitude, i](std::vector<Stretch>& to, std::int64_t from, std::int64_t until) {
      if (until <= from) return;
      to.push_back({static_cast<std::uint64_t>(from), static_cast<std::uint64_t>(until), amplitude, i});
    };
    sweeps_overlap_ = sweeps_overlap_ || (i > 0 && begin < last_end);
    add(silent_, last_end + edge, begin - edge);
    add(sounding_, begin + 2 * edge, end - 2 * edge);
    last_end = end;
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
  if (has_loopback_ && loopback_known_) look_at_loopback(frame, heard);
}

void TakeMonitor::look_at_loopback(std::uint64_t frame, const HeardSoFar& heard) {
  const auto advance = [frame](const std::vector<Stretch>& stretches, std::size_t& next) {
    while (next < stretches.size() && frame >= stretches[next].to) ++next;
    return next < stretches.size() && frame >= stretches[next].from;
  };
  const bool sounding = advance(sounding_, next_sounding_);
  const bool silent = !sounding && advance(silent_, next_silent_);
  if (!sounding && !silent) {
    counted_ = 0;
    energy_ = 0.0;
    return;
  }
  ++counted_;
  const auto loopback = static_cast<double>(heard.interleaved[static_cast<std::size_t>(frame) * heard.channels + 1]);
  energy_ += loopback * loopback;
  const double patience_s = sounding ? muted_after_s : foreign_after_s;
  if (static_cast<double>(counted_) < patience_s * rate_hz_) return;
  const double rms = std::sqrt(energy_ / static_cast<double>(counted_));
  if (sounding && !sweeps_overlap_) look_below_sweep(frame + 1 - counted_, frame + 1, heard);
  counted_ = 0;
  energy_ = 0.0;
  if (sounding && rms < muted_share * sounding_[next_sounding_].amplitude) {
    const bool microphone_too = static_cast<double>(microphone_zeros_) > 0.5 * muted_after_s * rate_hz_;
    if (microphone_is_never_zero_ && microphone_too) fail_gone();
    fail("a sweep plays, but nothing reaches the loopback: the outputs are muted or led elsewhere",
         "check mutes, routing and the loopback's cable");
  }
  if (silent && rms > std::max(foreign_share * silent_[next_silent_].amplitude, 10.0 * loopback_floor_)) {
    fail("something else plays on the same outputs", "close other programs that use the device");
  }
}

void TakeMonitor::look_below_sweep(std::uint64_t from, std::uint64_t to, const HeardSoFar& heard) {
  const Stretch& stretch = sounding_[next_sounding_];
  const SweepShape& shape = stimulus_->shapes[stimulus_->sweeps[stretch.sweep].shape];
  const auto into_s = static_cast<double>(from - stretch.from) / rate_hz_ + 2.0 * edge_s - muted_after_s;
  const double limit_hz = well_below * shape.band.low.value() * std::exp(into_s / shape.rate_constant.value());
  if (limit_hz < lowest_limit_hz) {
    strange_blocks_ = 0;
    return;
  }
  const auto block = heard.interleaved.subspan(static_cast<std::size_t>(from) * heard.channels,
                                               static_cast<std::size_t>(to - from) * heard.channels);
  const double power = power_below(block, heard.channels, 1, Hertz{limit_hz}, Hertz{rate_hz_});
  const double sweep_power = 0.5 * stretch.amplitude * stretch.amplitude;
  const bool strange = power > std::max(strange_power_ratio * sweep_power, 100.0 * loopback_floor_ * loopback_floor_);
  strange_blocks_ = strange ? strange_blocks_ + 1 : 0;
  if (strange_blocks_ > most_strange_blocks) {
    fail("something else plays on the same outputs", "close other programs that use the device");
  }
}

}  // namespace ringtrue
