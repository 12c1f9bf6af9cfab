#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace ringtrue::card {

/// Something that happens to the card at a frame.
struct Fault {
  enum class Kind { drop, insert, noise, gain, mute_microphone, mute_output, leave, freeze, late };
  Kind kind = Kind::gain;
  double value = 0.0;       // frames, dB or ms
  std::size_t onset = 0;    // counted from the n-th sound (after 50 ms without any), the level check being the first
  std::int64_t frames = 0;  // after it
};

/// "drop=64@3+24000": at 24000 frames after the third onset 64 frames get lost. Kinds: drop=FRAMES, insert=FRAMES,
/// noise=DBFS (a tenth of a second), gain=DB, mute-microphone, mute-output, leave, freeze, late=MS.
/// @throws InvalidInput
[[nodiscard]] Fault parse_fault(const std::string& text);

/// What a block goes through, in frames and nothing but frames: the same samples on a fast and on a slow machine.
class FaultLine {
 public:
  FaultLine(std::vector<Fault> faults, std::size_t block);

  struct Events {
    bool leave = false;
    bool freeze = false;
    double late_ms = 0.0;
  };

  /// @param outputs  what the program plays, channel by channel; muted in place
  Events before_room(std::span<float* const> outputs, std::size_t frames);
  /// @param microphone, loopback  what the program will hear; changed in place
  void after_room(std::span<float> microphone, std::span<float> loopback);

 private:
  class DelayLine {
   public:
    explicit DelayLine(std::size_t delay) : ring_(1U << 18U), read_{ring_.size() - delay} {}
    void skip(std::int64_t frames) { read_ += static_cast<std::size_t>(frames); }
    float pass(float sample) {
      ring_[write_++ % ring_.size()] = sample;
      return ring_[read_++ % ring_.size()];
    }

   private:
    std::vector<float> ring_;
    std::size_t write_ = 0;
    std::size_t read_;
  };

  [[nodiscard]] std::int64_t frame_of(const Fault& fault, std::size_t block_frames) const;

  std::vector<Fault> faults_;
  std::vector<bool> done_;
  std::vector<std::int64_t> onsets_;  // frame of each onset so far
  std::int64_t now_ = 0;              // first frame of this block
  std::int64_t last_sound_ = -1'000'000;
  DelayLine microphone_line_;
  DelayLine loopback_line_;
  bool output_muted_ = false;
  bool microphone_muted_ = false;
  float gain_ = 1.0F;
  std::int64_t noise_until_ = -1;
  float noise_amplitude_ = 0.0F;
  std::uint64_t random_ = 0x9E3779B97F4A7C15U;
};

}  // namespace ringtrue::card
