#include "ringtrue/live/session.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/live/continuity.hpp"
#include "ringtrue/live/take_monitor.hpp"
#include "ringtrue/response/synchronisation.hpp"

namespace ringtrue {
namespace {

constexpr int most_repeats = 2;
constexpr double steady_gain_db = 0.2;
constexpr double wrong_rate = 0.02;
constexpr double doubtful_rate = 0.001;
constexpr const char* lost_code = "dropout";

using Speakers = std::set<std::size_t>;

/// One position on its way to a recording in which nothing is spoiled.
class PositionRecorder {
 public:
  PositionRecorder(Card& card, const Rig& rig, const Stimulus& stimulus, const LevelCheck& check,
                   const RecordOptions& options)
      : card_{card}, rig_{rig}, stimulus_{stimulus}, check_{check}, options_{options} {}

  RecordedPosition record() {
    result_.recording = play(stimulus_);
    put_in_step_and_measure();
    for (int round = 0; round < most_repeats && !spoiled_.empty(); ++round) repeat();
    for (const std::size_t s : lost_) distrust(s);
    add_flag_note();
    result_.measurement.findings.insert(result_.measurement.findings.end(), result_.findings.begin(),
                                        result_.findings.end());
    return std::move(result_);
  }

 private:
  void say(const std::string& what) const {
    if (options_.say) options_.say(what);
  }

  void add(Severity severity, const char* code, std::optional<std::size_t> speaker, const std::string& message) {
    std::optional<std::string> label;
    if (speaker) label = rig_.speakers[*speaker].label;
    const Finding finding{severity, code, label, message};
    if (std::ranges::find(result_.findings, finding) == result_.findings.end()) result_.findings.push_back(finding);
  }

  Recording play(const Stimulus& stimulus) {
    TakeMonitor monitor{stimulus, check_, card_.name()};
    Take take = card_.play(stimulus, [&](const HeardSoFar& heard) {
      if (options_.played) {
        options_.played(stimulus, static_cast<std::int64_t>(heard.interleaved.size() / heard.channels));
      }
      return monitor(heard);
    });
    flagged_ += take.facts.flagged_blocks;
    judge_rate(take.facts);
    return std::move(take.recording);
  }

  void judge_rate(const TakeFacts& facts) {
    if (!facts.measured_rate_hz) return;
    const double off = *facts.measured_rate_hz / stimulus_.sample_rate_hz - 1.0;
    if (std::abs(off) > wrong_rate) {
      throw DeviceError{card_.name(),
                        fmt::format("really runs at about {:.0f} Hz, not at the rig's {:.0f} Hz",
                                    *facts.measured_rate_hz, stimulus_.sample_rate_hz),
                        "set it to the rig's rate, or correct sample_rate_hz in the rig"};
    }
    if (std::abs(off) > doubtful_rate + facts.rate_error_hz / stimulus_.sample_rate_hz) {
      add(Severity::warn, "wrong-rate", std::nullopt,
          fmt::format(
              "By this computer's clock {} runs {:+.2f} % off {:.0f} Hz. If another clock drives it, check that "
              "one; distances are off by as much.",
              card_.name(), 100.0 * off, stimulus_.sample_rate_hz));
    }
  }

  /// Brings all sweeps to one lag, measures, and names the speakers whose sweeps are spoiled.
  void put_in_step_and_measure() {
    say("checking that nothing was lost");
    spoiled_.clear();
    lost_.clear();
    if (card_.has_loopback()) {
      judge_loopback();
    } else {
      judge_microphone();
    }
    if (options_.keep) options_.keep(result_.recording);
    say("measuring");
    result_.measurement = measured();
    for (const Finding& finding : result_.measurement.findings) {
      if (finding.code != lost_code && finding.code != "noise-event" && finding.code != "recording-too-short") continue;
      for (std::size_t s = 0; s < rig_.speakers.size(); ++s) {
        if (finding.speaker == rig_.speakers[s].label) spoiled_.insert(s);
      }
    }
  }

  PositionMeasurement measured() const {
    try {
      return measure(rig_, stimulus_, result_.recording, options_.measure);
    } catch (const InvalidInput& error) {
      throw DeviceError{card_.name(), fmt::format("what was recorded cannot be used ({})", error.what()),
                        "check microphone and outputs, then go on with --resume"};
    }
  }

  void judge_loopback() {
    const Continuity found = judge_continuity(stimulus_, result_.recording.loopback);
    in_step_ = false;
    switch (found.verdict) {
      case Continuity::Verdict::unheard:
        throw DeviceError{card_.name(),
                          "the loopback lost the sweeps: outputs muted, led elsewhere, or mixed with others",
                          "check mutes, routing and other programs, then go on with --resume"};
      case Continuity::Verdict::two_clocks:
        add(Severity::note, "two-clocks", std::nullopt,
            "Playing and recording run on two clocks; what was recorded was brought to one. Use one device for both if "
            "you can.");
        return;
      case Continuity::Verdict::unusable:
        add(Severity::stop, "input-processing", std::nullopt,
            fmt::format("No two equal sweeps come back equal over the loopback ({:.0f} dB apart): the device converts "
                        "the rate, mixes or processes. Choose the device itself (hw, exclusive, ASIO or JACK), close "
                        "other programs, and measure again.",
                        found.residual_db));
        return;
      case Continuity::Verdict::whole:
      case Continuity::Verdict::spoiled: break;
    }
    if (found.gain_spread_db > steady_gain_db) {
      add(Severity::stop, "input-processing", std::nullopt,
          fmt::format("Equal sweeps come back {:.1f} dB apart over the loopback: something changes the volume. Switch "
                      "off automatic gain and enhancements, touch no volume control, and measure again.",
                      found.gain_spread_db));
    }
    in_step_ = true;
    usual_lag_ = found.usual_lag;
    result_.recording = put_in_step(stimulus_, result_.recording, found.lags, found.usual_lag);
    for (std::size_t i = 0; i < found.spoiled.size(); ++i) {
      if (!found.spoiled[i]) continue;
      spoiled_.insert(stimulus_.sweeps[i].speaker);
      lost_.insert(stimulus_.sweeps[i].speaker);
    }
  }

  /// Steps in time that the microphone shows are whole frames on a device with one clock.
  void judge_microphone() {
    in_step_ = true;
    usual_lag_ = 0;
    const auto sync = synchronise(stimulus_, result_.recording.microphone, stimulus_.sample_rate_hz,
                                  Thoroughness::thorough, options_.measure.threads);
    if (!sync || sync->timeline.steps.empty()) return;
    std::vector<std::int64_t> lags;
    for (std::size_t i = 0; i < stimulus_.sweeps.size(); ++i) {
      lags.push_back(std::llround(sync->timeline.shift_of(i)));
    }
    for (const TimelineStep& step : sync->timeline.steps) {
      spoiled_.insert(stimulus_.sweeps[step.after].speaker);
    }
    result_.recording = put_in_step(stimulus_, result_.recording, lags, 0);
  }

  /// Plays the spoiled speakers again, beside one that is whole and tells how late.
  void repeat() {
    if (!in_step_) {
      spoiled_.clear();
      return;
    }
    std::string names;
    for (const std::size_t s : spoiled_) names += (names.empty() ? "" : ", ") + rig_.speakers[s].label;
    say("playing again, because it was disturbed: " + names);
    std::vector<std::size_t> chosen;
    const auto reference = whole_sweep();
    if (!card_.has_loopback()) {
      if (!reference) {
        spoiled_.clear();
        return;
      }
      chosen.push_back(*reference);
    }
    for (std::size_t i = 0; i < stimulus_.sweeps.size(); ++i) {
      if (spoiled_.contains(stimulus_.sweeps[i].speaker)) chosen.push_back(i);
    }
    const Stimulus part = stimulus_of(stimulus_, chosen);
    const Recording again = play(part);
    std::vector<std::int64_t> lags;
    if (card_.has_loopback()) {
      lags = judge_continuity(part, again.loopback).lags;
    } else {
      const auto lag = lag_between(part, 0, again, stimulus_, *reference, result_.recording);
      if (!lag) {
        spoiled_.clear();
        return;
      }
      lags.assign(chosen.size(), *lag);
    }
    splice(stimulus_, chosen, part, again, lags, usual_lag_, result_.recording);
    for (const std::size_t s : spoiled_) {
      add(Severity::note, "played-again", s,
          fmt::format("{} was played again: samples were lost or a noise fell into its sweeps.",
                      rig_.speakers[s].label));
    }
    put_in_step_and_measure();
  }

  [[nodiscard]] std::optional<std::size_t> whole_sweep() const {
    for (std::size_t i = 0; i < stimulus_.sweeps.size(); ++i) {
      const std::size_t s = stimulus_.sweeps[i].speaker;
      const bool main = rig_.speakers[s].kind == SpeakerKind::main;
      if (main && !spoiled_.contains(s) && result_.measurement.speakers[s].heard) return i;
    }
    return {};
  }

  void distrust(std::size_t s) {
    result_.measurement.speakers[s].trusted = false;
    add(Severity::stop, lost_code, s,
        fmt::format("Samples were lost, put in or repeated while {} (output {}) played, and again when it was played "
                    "anew. Give the device a larger buffer, close other programs, and measure again.",
                    rig_.speakers[s].label, rig_.speakers[s].output));
  }

  void add_flag_note() {
    if (flagged_ == 0) return;
    const bool harmed = std::ranges::any_of(result_.findings, [](const Finding& finding) {
      return finding.code == "played-again" || finding.code == lost_code;
    });
    if (harmed) return;
    add(Severity::note, "buffer-warning", std::nullopt,
        fmt::format("{} reported {} late buffer{}, but every sample is where it belongs.", card_.name(), flagged_,
                    flagged_ == 1 ? "" : "s"));
  }

  Card& card_;
  const Rig& rig_;
  const Stimulus& stimulus_;
  const LevelCheck& check_;
  const RecordOptions& options_;
  RecordedPosition result_;
  Speakers spoiled_;  // to be played again
  Speakers lost_;     // of these, those whose samples are not all there
  bool in_step_ = false;
  std::int64_t usual_lag_ = 0;
  std::uint32_t flagged_ = 0;
};

}  // namespace

RecordedPosition record_position(Card& card, const Rig& rig, const Stimulus& stimulus, const LevelCheck& check,
                                 const RecordOptions& options) {
  return PositionRecorder{card, rig, stimulus, check, options}.record();
}

Stimulus longest_repeat(const Stimulus& stimulus) {
  Stimulus longest = stimulus;
  for (std::size_t reference = 0; reference < stimulus.sweeps.size(); ++reference) {
    std::vector<std::size_t> chosen{reference};
    for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) chosen.push_back(i);
    Stimulus repeat = stimulus_of(stimulus, chosen);
    if (repeat.frames > longest.frames) longest = std::move(repeat);
  }
  return longest;
}

}  // namespace ringtrue
