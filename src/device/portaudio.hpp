#pragma once

#include <string>
#include <vector>

#include "ringtrue/device/deck.hpp"
#include "ringtrue/device/devices.hpp"

namespace ringtrue {

/// What a stream must be able to do.
struct StreamWish {
  std::string device;
  std::string input_device;  // empty: the same
  int outputs = 1;           // at least
  int inputs = 1;
  double rate_hz = 48'000.0;
};

struct StreamFacts {
  std::string name;  // full name
  int outputs = 0;
  int inputs = 0;
  double rate_hz = 0.0;
  double latency_ms = 0.0;  // as reported: for show only; 0 where it makes no sense
  std::string caution;
  std::string input_name;  // of a second device
};

/// The audio library, used in the device process only: it may block for minutes and abort when its server dies.
class AudioLibrary {
 public:
  AudioLibrary();  ///< @throws DeviceError
  AudioLibrary(const AudioLibrary&) = delete;
  AudioLibrary& operator=(const AudioLibrary&) = delete;
  ~AudioLibrary();

  [[nodiscard]] std::vector<DeviceInfo> devices(bool with_rates) const;

  /// Opens and starts one stream that calls play_block on the deck. @throws DeviceError, InvalidInput
  [[nodiscard]] StreamFacts open(const StreamWish& wish, const DeckView& view);

  /// The rate the stream runs at now, 0 when it does not.
  [[nodiscard]] double rate_hz() const;

 private:
  void* stream_ = nullptr;
  DeckView view_;
};

}  // namespace ringtrue
