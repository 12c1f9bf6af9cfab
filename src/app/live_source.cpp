#include "live_source.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <optional>

#include "conversation.hpp"
#include "decay_probe.hpp"
#include "loudness.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/device/device_card.hpp"
#include "ringtrue/device/stop_request.hpp"
#include "ringtrue/live/session.hpp"
#include "ringtrue/live/take_monitor.hpp"
#include "take_progress.hpp"
#include "takes_folder.hpp"

namespace ringtrue::app {
namespace {

constexpr double louder_than_before_db = 10.0;
constexpr int most_level_checks = 4;  // of a microphone that does not stand still

std::string side(double value_m, const char* positive, const char* negative) {
  return fmt::format("{:.2f} m {}", std::abs(value_m), value_m > 0.0 ? positive : negative);
}

/// "0.25 m to the right, 0.10 m up from the ear point"
std::string place_in_words(const Point& offset_m) {
  std::string words;
  const auto add = [&words](double value, const char* positive, const char* negative) {
    if (std::abs(value) < 0.005) return;
    words += (words.empty() ? "" : ", ") + side(value, positive, negative);
  };
  add(offset_m.x, "to the right", "to the left");
  add(offset_m.y, "to the front", "to the back");
  add(offset_m.z, "up", "down");
  return words.empty() ? "the ear point" : words + " of the ear point";
}

class LiveSession {
 public:
  LiveSession(const Rig& rig, const SourceOptions& options, const MicrophoneResponse* microphone)
      : rig_{rig},
        options_{options},
        microphone_{microphone},
        limit_{std::min(options.excitation.peak_level_dbfs, options.max_level_dbfs)},
        takes_{options.takes_folder, options.resume || options.again > 0, options.overwrite} {}

  std::vector<PositionMeasurement> run() {
    decay_s_ = takes_.decay_s();
    stimulus_ = plan_at(takes_.peak_dbfs().value_or(limit_.value()));
    const std::vector<std::size_t> missing = positions_to_record();
    if (!missing.empty()) record(missing);
    return measured_positions();
  }

 private:
  [[nodiscard]] Stimulus plan_at(double peak_dbfs) const { return plan_stimulus(rig_, how(peak_dbfs)); }

  [[nodiscard]] StimulusOptions how(double peak_dbfs) const {
    StimulusOptions wanted = stimulus_options(options_.excitation);
    wanted.peak_level = Decibels{peak_dbfs};
    if (decay_s_) wanted.decay = Seconds{*decay_s_};
    return wanted;
  }

  [[nodiscard]] bool decay_is_measured_first() const {
    return options_.excitation.interleave && !options_.excitation.decay_seconds;
  }

  /// How far overlapping sweeps must stand apart in this room.
  void measure_decay(DeviceCard& card, const LevelCheck& check, double peak_dbfs) {
    Conversation::say("two short sweeps: how long does the room take to die away?");
    const auto decay = probe_decay(rig_, how(peak_dbfs), [&](const Stimulus& probe) {
      TakeMonitor monitor{probe, check, card.name()};
      return card.play(probe, [&monitor](const HeardSoFar& heard) { return monitor(heard); }).recording;
    });
    decay_s_ = decay ? decay->value() : how(peak_dbfs).decay.value();
    Conversation::say(decay ? fmt::format("{:.2f} s: the sweeps are spaced for that", *decay_s_)
                            : fmt::format("it stands too little over the noise: taken as {:.2f} s", *decay_s_));
  }

  /// Decay times that a measured one lies between: the device is opened before it is known.
  void make_room_for_any_decay(DeviceCardOptions& wanted) const {
    make_room_for(decay_probe(rig_, how(limit_.value())), wanted);
    for (const double decay_s : {0.2, 0.4, 0.8, 1.6, 3.0}) {
      StimulusOptions options = how(limit_.value());
      options.decay = Seconds{decay_s};
      make_room_for(longest_repeat(plan_stimulus(rig_, options)), wanted);
    }
  }

  [[nodiscard]] std::vector<std::size_t> positions_to_record() {
    if (options_.again > static_cast<int>(rig_.positions.size())) {
      throw InvalidInput{"--again", fmt::format("the rig has no mic position {}", options_.again),
                         "give the number of a [[position]], counted from 1"};
    }
    if (options_.again > 0) takes_.forget(static_cast<std::size_t>(options_.again - 1));
    std::vector<std::size_t> missing;
    for (std::size_t i = 0; i < rig_.positions.size(); ++i) {
      if (takes_.find(i) == nullptr) missing.push_back(i);
    }
    return missing;
  }

  [[nodiscard]] DeviceCardOptions card_options() const {
    DeviceCardOptions wanted;
    wanted.device = options_.device;
    wanted.input_device = options_.input_device;
    wanted.input_channel = options_.input_channel;
    wanted.loopback_channel = options_.loopback_channel;
    wanted.ceiling = limit_;
    wanted.program = running_program();
    make_room_for(longest_repeat(stimulus_), wanted);
    make_room_for(longest_level_check(rig_, limit_), wanted);
    if (decay_is_measured_first()) make_room_for_any_decay(wanted);
    return wanted;
  }

  void record(const std::vector<std::size_t>& missing) {
    const StopRequest stop;
    const Conversation conversation{options_.yes};
    DeviceCard card{rig_, card_options()};
    describe(card.facts());
    conversation.caution_before_sound();
    takes_.begin(stimulus_, takes_.peak_dbfs().value_or(limit_.value()), decay_s_, card.name());
    for (std::size_t i = 0; i < missing.size();) {
      const Wish wish = microphone_is_there(missing, i, card);
      if (wish == Wish::no_more) break;
      record_one(card, missing[wish == Wish::the_last_again ? i - 1 : i]);
      if (wish == Wish::next) ++i;
      while (i == missing.size() && last_is_wanted_again(missing.back(), card)) record_one(card, missing.back());
    }
  }

  void describe(const DeviceFacts& facts) {
    Conversation::say(
        fmt::format("{}: {} outputs, {} inputs, {:.0f} Hz{}", facts.name, facts.outputs, facts.inputs,
                    rig_.interface.sample_rate_hz,
                    facts.latency_ms > 0.0 ? fmt::format(", says {:.0f} ms latency", facts.latency_ms) : ""));
    if (!facts.caution.empty()) {
      Conversation::say("Caution: " + facts.caution + ".");
      device_findings_.push_back({Severity::warn, "doubtful-device", std::nullopt,
                                  fmt::format("{} may not do for measuring: {}.", facts.name, facts.caution)});
    }
    if (!facts.input_name.empty()) {
      device_findings_.push_back(
          {Severity::warn, "two-devices", std::nullopt,
           fmt::format(
               "It was played on {} and recorded with {}: two clocks. Drift was undone, but one device for both "
               "is better.",
               facts.name, facts.input_name)});
    }
  }

  enum class Wish { next, the_last_again, no_more };

  /// Asks for the microphone to be moved. Nobody answers: no more positions.
  Wish microphone_is_there(const std::vector<std::size_t>& missing, std::size_t i, DeviceCard& card) {
    const std::size_t position = missing[i];
    if (i == 0 && (position == 0 || options_.again > 0)) return Wish::next;  // the caution has waited for Enter already
    const auto answer = ask_to_place(position, i > 0 ? " a: the last one again;" : "", card);
    if (answer && *answer == "a" && i > 0) {
      const auto there = ask_to_place(missing[i - 1], "", card);
      if (there && *there != "q") return Wish::the_last_again;
    } else if (answer && *answer != "q") {
      return Wish::next;
    }
    device_findings_.push_back(
        {Severity::note, "positions-missing", std::nullopt,
         fmt::format("Measured at {} of {} mic positions. Run the command again with --resume to add the others.",
                     position, rig_.positions.size())});
    return Wish::no_more;
  }

  /// No question for a next position follows the last one, so it has its own: only where somebody sits at a keyboard.
  /// A device that goes now does no harm, so nothing watches it here.
  [[nodiscard]] bool last_is_wanted_again(std::size_t position, DeviceCard& card) const {
    if (options_.yes || !Conversation::somebody_is_there()) return false;
    const auto answer = Conversation::ask(
        fmt::format("Position {} of {} is recorded, the last one to record. Enter: use it; a: record it again.",
                    position + 1, rig_.positions.size()),
        {});
    if (!answer || *answer != "a") return false;
    const auto there = ask_to_place(position, "", card);
    return there && *there != "q";
  }

  [[nodiscard]] std::optional<std::string> ask_to_place(std::size_t position, const char* more,
                                                        DeviceCard& card) const {
    const auto idle = [&card] {
      if (!card.alive())
        throw DeviceError{card.name(), "the audio system gave up", "restart it, then go on with --resume"};
    };
    return Conversation::ask(
        fmt::format("Put the microphone at position {} of {}: {}. Enter: measure;{} q: no more positions.",
                    position + 1, rig_.positions.size(), place_in_words(rig_.positions[position].offset_m), more),
        idle);
  }

  void record_one(DeviceCard& card, std::size_t position) {
    const auto name = fmt::format("position {} of {}", position + 1, rig_.positions.size());
    Conversation::say(name + ": level check");
    const CheckedLevel level = level_while_still(card);
    if (!level_is_settled_) settle_level(level, card);
    watch_noise(level.check, position);
    Conversation::say(fmt::format("{}: sweeps at {:.0f} dBFS peak, {:.0f} s", name, *takes_.peak_dbfs(),
                                  std::ceil(static_cast<double>(stimulus_.frames) / stimulus_.sample_rate_hz)));
    RecordOptions wanted;
    wanted.measure = {.threads = options_.threads, .microphone = microphone_};
    TakeLine line{stderr, isatty(STDERR_FILENO) == 1};
    wanted.say = [&](const std::string& what) {
      line.clear();
      Conversation::say(name + ": " + what);
    };
    wanted.played = [&](const Stimulus& stimulus, std::int64_t frame) {
      line.draw(name + ": " + take_progress(stimulus, rig_, frame));
    };
    int attempt = 0;
    wanted.keep = [&](const Recording& raw) { takes_.keep_raw(position, ++attempt, raw); };
    RecordedPosition recorded = record_position(card, rig_, stimulus_, level.check, wanted);
    Findings& about_device = findings_at_[position];  // of this take, or of the one that it replaces
    about_device.insert(about_device.end(), device_findings_.begin(), device_findings_.end());
    device_findings_.clear();
    for (Findings* to : {&recorded.findings, &recorded.measurement.findings}) {
      to->insert(to->end(), level.findings.begin(), level.findings.end());
      to->insert(to->end(), about_device.begin(), about_device.end());
    }
    KeptTake kept{position, recorded.findings, {}};
    for (std::size_t s = 0; s < rig_.speakers.size(); ++s) {
      const bool lost = std::ranges::any_of(recorded.findings, [&](const Finding& finding) {
        return finding.code == "dropout" && finding.speaker == rig_.speakers[s].label;
      });
      if (lost) kept.untrusted.push_back(rig_.speakers[s].label);
    }
    takes_.keep(kept, recorded.recording);
    std::erase_if(fresh_, [position](const auto& entry) { return entry.first == position; });
    fresh_.emplace_back(position, std::move(recorded.measurement));
  }

  /// The level check, again for as long as the microphone moves.
  CheckedLevel level_while_still(DeviceCard& card) {
    for (int checks = 1;; ++checks) {
      CheckedLevel level = check_level(card, rig_, limit_);
      if (!microphone_moves(level.check)) return level;
      if (checks == most_level_checks) {
        level.findings.push_back(
            {Severity::warn, "microphone-moving", std::nullopt,
             "The microphone did not stand still before the sweeps: bursts of the same speaker came "
             "in differently. Put it on a stand, and measure this position again with --again."});
        return level;
      }
      Conversation::say("the microphone is moving: let it stand still, and leave the ring");
    }
  }

  /// The first level check of a session decides how loud all its sweeps are.
  void settle_level(const CheckedLevel& level, DeviceCard& card) {
    level_is_settled_ = true;
    const bool resumed = std::ranges::any_of(
        rig_.positions, [&, i = std::size_t{0}](const auto&) mutable { return takes_.find(i++) != nullptr; });
    const double peak = resumed ? *takes_.peak_dbfs() : level.peak.value();
    if (peak > limit_.value() + 1e-9) {
      throw InvalidInput{"--max-level-dbfs", fmt::format("the kept takes were played at {:.0f} dBFS", peak),
                         "allow as much, or start anew with --overwrite"};
    }
    consent_to_loudness(rig_, level.check, peak, options_.excitation.loud, "the sweeps");
    if (decay_is_measured_first() && !decay_s_) measure_decay(card, level.check, peak);
    stimulus_ = plan_at(peak);
    takes_.begin(stimulus_, peak, decay_s_, card.name());
  }

  void watch_noise(const LevelCheck& check, std::size_t position) {
    std::erase_if(findings_at_[position], [](const Finding& finding) { return finding.code == "noisier-position"; });
    if (quietest_dbfs_ && check.noise_dbfs > *quietest_dbfs_ + louder_than_before_db) {
      const std::string what =
          fmt::format("it is {:.0f} dB noisier now than at another position", check.noise_dbfs - *quietest_dbfs_);
      Conversation::say("Caution: " + what + ".");
      device_findings_.push_back({Severity::note, "noisier-position", std::nullopt,
                                  "At one position " + what + ": measure it again with --again when it is quiet."});
    }
    quietest_dbfs_ = std::min(quietest_dbfs_.value_or(check.noise_dbfs), check.noise_dbfs);
  }

  std::vector<PositionMeasurement> measured_positions() {
    std::vector<PositionMeasurement> measurements;
    for (std::size_t i = 0; i < rig_.positions.size(); ++i) {
      const auto fresh = std::ranges::find(fresh_, i, [](const auto& entry) { return entry.first; });
      if (fresh != fresh_.end()) {
        measurements.push_back(std::move(fresh->second));
      } else if (const KeptTake* const kept = takes_.find(i)) {
        measurements.push_back(measure_kept(*kept));
      } else {
        break;  // positions count in the rig's order
      }
    }
    if (measurements.empty()) {
      throw InvalidInput{"--resume", "no mic position has been measured yet", "answer the prompt, or start without it"};
    }
    Findings& findings = measurements.front().findings;
    findings.insert(findings.end(), device_findings_.begin(), device_findings_.end());
    return measurements;
  }

  PositionMeasurement measure_kept(const KeptTake& kept) const {
    auto measurement =
        measure(rig_, stimulus_, takes_.read(kept), {.threads = options_.threads, .microphone = microphone_});
    for (std::size_t s = 0; s < rig_.speakers.size(); ++s) {
      if (std::ranges::count(kept.untrusted, rig_.speakers[s].label) > 0) measurement.speakers[s].trusted = false;
    }
    measurement.findings.insert(measurement.findings.end(), kept.findings.begin(), kept.findings.end());
    return measurement;
  }

  const Rig& rig_;
  const SourceOptions& options_;
  const MicrophoneResponse* microphone_;
  Decibels limit_;
  TakesFolder takes_;
  std::optional<double> decay_s_;  // measured before the first sweeps, or that of kept takes
  Stimulus stimulus_;
  Findings device_findings_;                     // not told with any take yet
  std::map<std::size_t, Findings> findings_at_;  // told with that position's
  std::vector<std::pair<std::size_t, PositionMeasurement>> fresh_;
  bool level_is_settled_ = false;
  std::optional<double> quietest_dbfs_;
};

}  // namespace

std::vector<PositionMeasurement> measure_live(const Rig& rig, const SourceOptions& options,
                                              const MicrophoneResponse* microphone) {
  return LiveSession{rig, options, microphone}.run();
}

}  // namespace ringtrue::app
