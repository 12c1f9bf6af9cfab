#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// How a take went, apart from its sound. Empty and zero where there is no device.
struct TakeFacts {
  std::uint32_t flagged_blocks = 0;  // the audio library says that it lost samples: a hint, no proof
  std::uint32_t smallest_block = 0;  // frames per callback
  std::uint32_t largest_block = 0;
  std::optional<double> measured_rate_hz;  // frames against this computer's clock
  double rate_error_hz = 0.0;              // of that, twice the standard error
  bool faster_than_real_time = false;      // a server in freewheel: clocks mean nothing then
  bool cut_short = false;                  // the listener wanted no more
};

struct Take {
  Recording recording;
  TakeFacts facts;
};

/// What has been recorded so far of a take that is rolling.
struct HeardSoFar {
  std::span<const float> interleaved;  // microphone, then the loopback where there is one
  std::size_t channels = 1;
};

/// Asked every few milliseconds while a take rolls. @returns false to fade out and end it
using Listener = std::function<bool(const HeardSoFar&)>;

/// Something that plays a stimulus and records it at the same time, on one clock: an audio device, or a virtual room.
class Card {
 public:
  Card() = default;
  Card(const Card&) = delete;
  Card& operator=(const Card&) = delete;
  virtual ~Card() = default;

  [[nodiscard]] virtual const std::string& name() const = 0;
  [[nodiscard]] virtual bool has_loopback() const = 0;

  /// @param listener  may end the take early; empty: nobody listens
  /// @throws DeviceError  when the device fails, InvalidInput when it cannot play this
  [[nodiscard]] virtual Take play(const Stimulus& stimulus, const Listener& listener) = 0;
};

}  // namespace ringtrue
