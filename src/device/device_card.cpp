#include "ringtrue/device/device_card.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <optional>
#include <thread>

#include "child_process.hpp"
#include "rate_watch.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/device/deck.hpp"
#include "ringtrue/device/devices.hpp"
#include "ringtrue/device/stop_request.hpp"
#include "shared_memory.hpp"

#if defined(__APPLE__)
#include <mach-o/dyld.h>
#endif

namespace ringtrue {
namespace {

using std::chrono::milliseconds;
using std::chrono::steady_clock;

constexpr milliseconds open_patience{5'000};
constexpr milliseconds answer_patience{1'500};
constexpr milliseconds between_looks{5};
constexpr double longest_look_s = 0.05;  // a look that took longer says that this program was held up, not the device
constexpr double stalled_s = 0.5;
constexpr double stalled_blocks = 10.0;
constexpr double start_patience_s = 1.5;  // until the first callback

std::size_t sample_count(const Stimulus& stimulus) {
  std::size_t samples = 0;
  for (const SweepShape& shape : stimulus.shapes) samples += shape.samples.size();
  return samples;
}

}  // namespace

class DeviceCard::Session {
 public:
  Session(const Rig& rig, const DeviceCardOptions& options)
      : rig_{rig},
        options_{options},
        memory_{
            deck_bytes(options.most_samples, options.most_cues, static_cast<std::size_t>(options.longest_take_frames))},
        view_{make_deck(memory_.data(), options.most_samples, options.most_cues,
                        static_cast<std::size_t>(options.longest_take_frames))} {
    Deck& deck = *view_.deck;
    deck.ceiling = static_cast<float>(amplitude_ratio(options.ceiling));
    deck.recorded_inputs = options.loopback_channel > 0 ? 2 : 1;
    deck.recorded[0] = static_cast<std::uint32_t>(options.input_channel - 1);
    deck.recorded[1] = static_cast<std::uint32_t>(std::max(options.loopback_channel - 1, 0));
    if (rig.interface.loopback_output) {
      deck.loopback_output = static_cast<std::uint32_t>(*rig.interface.loopback_output - 1);
    }
    child_.emplace(options.program, &memory_);
    const StreamWish wish{options.device, options.input_device, channel_count(rig),
                          std::max(options.input_channel, options.loopback_channel), rig.interface.sample_rate_hz};
    const StreamFacts opened =
        wire::facts_from(child_->ask({{"do", "open"}, {"wish", wire::to_json(wish)}}, open_patience).at("opened"));
    facts_ = {opened.name, opened.input_name, opened.outputs, opened.inputs, opened.latency_ms, opened.caution};
    require_rate(opened.rate_hz);
    StopRequest::silence_with(&deck.silence);
  }

  ~Session() {
    StopRequest::silence_with(nullptr);
    view_.deck->silence.store(1, std::memory_order_release);
  }
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  Take play(const Stimulus& stimulus, const Listener& listener) {
    StopRequest::check();
    load(stimulus);
    RateWatch rate{rig_.interface.sample_rate_hz};
    const bool cut_short = roll(listener, rate);
    Take take = collect(rate);
    take.facts.cut_short = cut_short;
    require_rate(child_->ask({{"do", "rate"}}, answer_patience).at("rate_hz"));
    return take;
  }

  [[nodiscard]] const DeviceFacts& facts() const { return facts_; }
  [[nodiscard]] const std::string& name() const { return facts_.name; }
  [[nodiscard]] bool has_loopback() const { return options_.loopback_channel > 0; }
  [[nodiscard]] bool alive() { return child_->alive(); }

 private:
  void require_rate(double rate_hz) {
    if (std::abs(rate_hz - rig_.interface.sample_rate_hz) < 1.0) return;
    if (rate_hz == 0.0)
      give_up("the stream has stopped", "check the device and the audio server, then go on with --resume");
    give_up(fmt::format("now runs at {:.0f} Hz instead of {:.0f} Hz", rate_hz, rig_.interface.sample_rate_hz),
            "set it to the rig's rate and let no other program change it");
  }

  [[noreturn]] void give_up(const std::string& what, const std::string& remedy) {
    view_.deck->silence.store(1, std::memory_order_release);
    child_->kill();
    throw DeviceError{facts_.name.empty() ? options_.device : facts_.name, what, remedy};
  }

  void load(const Stimulus& stimulus) {
    Deck& deck = *view_.deck;
    if (sample_count(stimulus) > view_.samples.size() || stimulus.sweeps.size() > view_.cues.size() ||
        stimulus.frames > static_cast<std::int64_t>(deck.frame_capacity)) {
      throw InvalidInput{"take", "is longer than the device was opened for", "report this with the command you gave"};
    }
    std::vector<std::uint32_t> first_samples;
    std::uint32_t used = 0;
    for (const SweepShape& shape : stimulus.shapes) {
      first_samples.push_back(used);
      for (const double sample : shape.samples) view_.samples[used++] = static_cast<float>(sample);
    }
    for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
      const ScheduledSweep& sweep = stimulus.sweeps[i];
      view_.cues[i] = {static_cast<std::uint64_t>(sweep.first_frame), first_samples[sweep.shape],
                       static_cast<std::uint32_t>(stimulus.shapes[sweep.shape].samples.size()),
                       static_cast<std::uint32_t>(rig_.speakers[sweep.speaker].output - 1)};
    }
    deck.cues = stimulus.sweeps.size();
    deck.frames = static_cast<std::uint64_t>(stimulus.frames);
    deck.frames_done.store(0);
    deck.flagged.store(0);
    deck.largest_block.store(0);
    deck.smallest_block.store(0);
  }

  /// Rolls the loaded take to its end. @returns true when the listener ended it
  bool roll(const Listener& listener, RateWatch& rate) {
    Deck& deck = *view_.deck;
    const std::uint32_t number = ++takes_;
    bool cut_short = false;
    Watchdog dog{deck, rig_.interface.sample_rate_hz};
    deck.roll.store(number, std::memory_order_release);
    while (deck.finished.load(std::memory_order_acquire) != number) {
      if (StopRequest::made()) {
        deck.silence.store(1, std::memory_order_release);
        throw Stopped{"stopped"};
      }
      if (!child_->alive())
        give_up("the audio system gave up",
                "restart the audio server or plug the device in again, then go on with --resume");
      if (dog.sees_a_stall()) {
        give_up("stopped answering (no sound went in or out for half a second)",
                "restart the audio server or plug the device in again, then go on with --resume");
      }
      const std::uint64_t done = deck.frames_done.load(std::memory_order_acquire);
      rate.saw(done);
      if (!cut_short && listener && !listener(so_far(done))) {
        deck.fade_out.store(number, std::memory_order_release);
        cut_short = true;
      }
      std::this_thread::sleep_for(between_looks);
    }
    const std::uint64_t done = deck.frames_done.load(std::memory_order_acquire);
    rate.saw(done);
    StopRequest::check();
    if (!cut_short && listener) cut_short = !listener(so_far(done));
    return cut_short;
  }

  [[nodiscard]] HeardSoFar so_far(std::uint64_t done) const {
    const std::size_t channels = view_.deck->recorded_inputs;
    return {view_.recording.first(static_cast<std::size_t>(done) * channels), channels};
  }

  Take collect(const RateWatch& rate) {
    const Deck& deck = *view_.deck;
    const std::size_t channels = deck.recorded_inputs;
    const auto frames = static_cast<std::size_t>(deck.frames_done.load(std::memory_order_acquire));
    Take take;
    take.recording.name = facts_.name;
    take.recording.sample_rate_hz = rig_.interface.sample_rate_hz;
    take.recording.microphone.resize(frames);
    if (has_loopback()) take.recording.loopback.resize(frames);
    for (std::size_t n = 0; n < frames; ++n) {
      take.recording.microphone[n] = view_.recording[n * channels];
      if (has_loopback()) take.recording.loopback[n] = view_.recording[n * channels + 1];
    }
    take.facts.flagged_blocks = deck.flagged.load();
    take.facts.smallest_block = deck.smallest_block.load();
    take.facts.largest_block = deck.largest_block.load();
    take.facts.measured_rate_hz = rate.rate_hz();
    if (take.facts.measured_rate_hz) take.facts.rate_error_hz = rate.error_hz();
    take.facts.faster_than_real_time = rate.faster_than_real_time();
    return take;
  }

  /// Tells a device that has stopped from a program that was held up itself.
  class Watchdog {
   public:
    Watchdog(const Deck& deck, double rate_hz) : deck_{deck}, rate_hz_{rate_hz}, last_{deck.blocks.load()} {}

    bool sees_a_stall() {
      const auto now = steady_clock::now();
      const double passed_s = std::chrono::duration<double>(now - last_look_).count();
      last_look_ = now;
      const std::uint64_t blocks = deck_.blocks.load(std::memory_order_acquire);
      if (blocks != last_) {
        last_ = blocks;
        quiet_s_ = 0.0;
        started_ = true;
        return false;
      }
      quiet_s_ += std::min(passed_s, longest_look_s);
      const double period_s = deck_.largest_block.load() / rate_hz_;
      return quiet_s_ > (started_ ? std::max(stalled_s, stalled_blocks * period_s) : start_patience_s);
    }

   private:
    const Deck& deck_;
    double rate_hz_;
    std::uint64_t last_;
    bool started_ = false;
    double quiet_s_ = 0.0;
    steady_clock::time_point last_look_ = steady_clock::now();
  };

  Rig rig_;
  DeviceCardOptions options_;
  SharedMemory memory_;
  DeckView view_;
  std::optional<ChildProcess> child_;
  DeviceFacts facts_;
  std::uint32_t takes_ = 0;
};

DeviceCard::DeviceCard(const Rig& rig, const DeviceCardOptions& options)
    : session_{std::make_unique<Session>(rig, options)} {}
DeviceCard::~DeviceCard() = default;
const std::string& DeviceCard::name() const { return session_->name(); }
bool DeviceCard::has_loopback() const { return session_->has_loopback(); }
const DeviceFacts& DeviceCard::facts() const { return session_->facts(); }
Take DeviceCard::play(const Stimulus& stimulus, const Listener& listener) { return session_->play(stimulus, listener); }
bool DeviceCard::alive() { return session_->alive(); }

void make_room_for(const Stimulus& stimulus, DeviceCardOptions& options) {
  options.longest_take_frames = std::max(options.longest_take_frames, stimulus.frames);
  options.most_samples = std::max(options.most_samples, sample_count(stimulus));
  options.most_cues = std::max(options.most_cues, stimulus.sweeps.size());
}

std::filesystem::path running_program() {
#if defined(__APPLE__)
  std::uint32_t size = 0;
  _NSGetExecutablePath(nullptr, &size);
  std::string path(size, '\0');
  _NSGetExecutablePath(path.data(), &size);
  return std::filesystem::canonical(path.c_str());
#else
  return std::filesystem::read_symlink("/proc/self/exe");
#endif
}

std::vector<DeviceInfo> list_devices(const std::filesystem::path& program) {
  constexpr milliseconds patience{20'000};  // each device is asked for each rate; some drivers take their time
  ChildProcess child{program, nullptr};
  std::vector<DeviceInfo> devices;
  const wire::Json answer = child.ask({{"do", "list"}}, patience);
  for (const wire::Json& device : answer.at("devices")) devices.push_back(wire::device_from(device));
  return devices;
}

}  // namespace ringtrue
