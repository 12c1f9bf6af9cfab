#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>

#include "ringtrue/capture/card.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

struct DeviceCardOptions {
  std::string device;        // name as in `ringtrue devices`
  std::string input_device;  // another device to record with; empty: the same
  int input_channel = 1;     // of the microphone, from 1
  int loopback_channel = 0;  // from 1; 0: none
  Decibels ceiling{-6.0};    // dBFS: no sample beyond it leaves, whatever is asked for
  std::int64_t longest_take_frames = 0;
  std::size_t most_samples = 0;  // of all sounds of a take together
  std::size_t most_cues = 0;
  std::filesystem::path program;  // what to start as device process
};

/// What was opened.
struct DeviceFacts {
  std::string name;
  std::string input_name;  // of a second device; empty: one device for both
  int outputs = 0;
  int inputs = 0;
  double latency_ms = 0.0;  // as reported, for show only; 0: not known
  std::string caution;      // why it may not do for measuring; empty: nothing known
};

/// An audio device in a process of its own, one stream from construction to destruction.
///
/// Every wait has an end: no callback for 0.5 s, a dead process or an answer that does not come is a DeviceError, and
/// the process is ended. What had been recorded of that take is lost, takes before it are not.
class DeviceCard : public Card {
 public:
  /// @throws DeviceError, InvalidInput
  DeviceCard(const Rig& rig, const DeviceCardOptions& options);
  ~DeviceCard() override;

  [[nodiscard]] const std::string& name() const override;
  [[nodiscard]] bool has_loopback() const override;
  [[nodiscard]] const DeviceFacts& facts() const;

  /// Silence as soon as the user asks to stop. @throws DeviceError, Stopped
  [[nodiscard]] Take play(const Stimulus& stimulus, const Listener& listener) override;

  /// True while the stream runs; for the times between takes.
  [[nodiscard]] bool alive();

 private:
  class Session;
  std::unique_ptr<Session> session_;
};

/// Room that a card needs for a stimulus, to be put into the options.
void make_room_for(const Stimulus& stimulus, DeviceCardOptions& options);

/// The program that is running, to be started again as device process.
[[nodiscard]] std::filesystem::path running_program();

}  // namespace ringtrue
