#include "faults.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <string_view>
#include <utility>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::card {
namespace {

using Kind = Fault::Kind;
constexpr std::array<std::pair<std::string_view, Kind>, 9> kinds{{{"drop", Kind::drop},
                                                                  {"insert", Kind::insert},
                                                                  {"noise", Kind::noise},
                                                                  {"gain", Kind::gain},
                                                                  {"mute-microphone", Kind::mute_microphone},
                                                                  {"mute-output", Kind::mute_output},
                                                                  {"leave", Kind::leave},
                                                                  {"freeze", Kind::freeze},
                                                                  {"late", Kind::late}}};
constexpr std::int64_t silence_before_onset = 2'400;  // frames
constexpr std::int64_t noise_frames = 4'800;

[[noreturn]] void refuse(const std::string& text) {
  throw InvalidInput{"--fault " + text, "is no fault", "write it like drop=64@3+24000"};
}

template <class Number>
Number number(const std::string& text, std::string_view part) {
  Number value{};
  const auto [end, error] = std::from_chars(part.data(), part.data() + part.size(), value);
  if (error != std::errc{} || end != part.data() + part.size()) refuse(text);
  return value;
}

std::size_t dropped_frames(const std::vector<Fault>& faults) {
  std::size_t frames = 0;
  for (const Fault& fault : faults) {
    if (fault.kind == Kind::drop) frames += static_cast<std::size_t>(fault.value);
  }
  return frames;
}

}  // namespace

Fault parse_fault(const std::string& text) {
  const std::string_view all = text;
  const std::size_t at = all.find('@');
  if (at == std::string_view::npos) refuse(text);
  const std::string_view what = all.substr(0, at);
  const std::string_view when = all.substr(at + 1);
  const std::size_t equals = what.find('=');
  const auto* const kind = std::ranges::find(kinds, what.substr(0, equals), &std::pair<std::string_view, Kind>::first);
  if (kind == kinds.end()) refuse(text);
  Fault fault;
  fault.kind = kind->second;
  if (equals != std::string_view::npos) fault.value = number<double>(text, what.substr(equals + 1));
  const std::size_t plus = when.find('+');
  if (plus == std::string_view::npos) refuse(text);
  fault.onset = number<std::size_t>(text, when.substr(0, plus));
  fault.frames = number<std::int64_t>(text, when.substr(plus + 1));
  if (fault.onset == 0) refuse(text);
  return fault;
}

FaultLine::FaultLine(std::vector<Fault> faults, std::size_t block)
    : faults_{std::move(faults)},
      done_(faults_.size()),
      microphone_line_{dropped_frames(faults_)},
      loopback_line_{dropped_frames(faults_)} {
  (void)block;
  onsets_.reserve(10'000);
}

std::int64_t FaultLine::frame_of(const Fault& fault, std::size_t block_frames) const {
  if (fault.onset > onsets_.size()) return now_ + static_cast<std::int64_t>(block_frames) + 1;
  return onsets_[fault.onset - 1] + fault.frames;
}

FaultLine::Events FaultLine::before_room(std::span<float* const> outputs, std::size_t frames) {
  for (std::size_t n = 0; n < frames; ++n) {
    const bool sound = std::ranges::any_of(outputs, [n](const float* channel) { return channel[n] != 0.0F; });
    if (!sound) continue;
    const std::int64_t frame = now_ + static_cast<std::int64_t>(n);
    if (frame - last_sound_ > silence_before_onset && onsets_.size() < onsets_.capacity()) onsets_.push_back(frame);
    last_sound_ = frame;
  }
  Events events;
  for (std::size_t i = 0; i < faults_.size(); ++i) {
    if (done_[i] || frame_of(faults_[i], frames) >= now_ + static_cast<std::int64_t>(frames)) continue;
    const Kind kind = faults_[i].kind;
    done_[i] = kind == Kind::leave || kind == Kind::freeze || kind == Kind::late || kind == Kind::mute_output;
    events.leave |= kind == Kind::leave;
    events.freeze |= kind == Kind::freeze;
    if (kind == Kind::late) events.late_ms = faults_[i].value;
    output_muted_ |= kind == Kind::mute_output;
  }
  if (output_muted_) {
    for (float* const channel : outputs) std::fill_n(channel, frames, 0.0F);
  }
  return events;
}

void FaultLine::after_room(std::span<float> microphone, std::span<float> loopback) {
  for (std::size_t n = 0; n < microphone.size(); ++n) {
    const std::int64_t frame = now_ + static_cast<std::int64_t>(n);
    for (std::size_t i = 0; i < faults_.size(); ++i) {
      if (done_[i] || frame_of(faults_[i], microphone.size()) > frame) continue;
      done_[i] = true;
      const double value = faults_[i].value;
      switch (faults_[i].kind) {
        case Kind::drop:
          microphone_line_.skip(static_cast<std::int64_t>(value));
          loopback_line_.skip(static_cast<std::int64_t>(value));
          break;
        case Kind::insert:
          microphone_line_.skip(-static_cast<std::int64_t>(value));
          loopback_line_.skip(-static_cast<std::int64_t>(value));
          break;
        case Kind::noise:
          noise_until_ = frame + noise_frames;
          noise_amplitude_ = static_cast<float>(std::pow(10.0, value / 20.0) * std::sqrt(3.0));
          break;
        case Kind::gain: gain_ = static_cast<float>(std::pow(10.0, value / 20.0)); break;
        case Kind::mute_microphone: microphone_muted_ = true; break;
        default: break;
      }
    }
    float heard = microphone[n] * gain_;
    if (frame < noise_until_) {
      random_ ^= random_ << 13U;  // G. Marsaglia, "Xorshift RNGs", J. Stat. Softw. 8 (2003)
      random_ ^= random_ >> 7U;
      random_ ^= random_ << 17U;
      heard += noise_amplitude_ * (static_cast<float>(random_ >> 40U) / 8'388'608.0F - 1.0F);
    }
    heard = std::clamp(heard, -1.0F, 1.0F);
    microphone[n] = microphone_line_.pass(microphone_muted_ ? 0.0F : heard);
    loopback[n] = loopback_line_.pass(loopback[n]);
  }
  now_ += static_cast<std::int64_t>(microphone.size());
}

}  // namespace ringtrue::card
