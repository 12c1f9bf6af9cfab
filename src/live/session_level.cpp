#include <fmt/format.h>

#include <algorithm>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/live/session.hpp"

namespace ringtrue {
namespace {

constexpr double foreign_dbfs = -60.0;  // a loopback with nothing playing; converters are 20 dB and more below
constexpr double enough_db = 60.0;
constexpr double near_clipping_dbfs = -6.0;
constexpr double steady_db = 0.3;
constexpr std::size_t most_pairs = 3;
constexpr double most_a_weighting_db = 1.3;  // IEC 61672-1:2013, Table 3: at 2.5 kHz
constexpr double moving_db = -15.0;          // 1 cm at 1 kHz is a phase of 0.18 rad: -14.7 dB

/// Speakers by twos that stand far apart in the rig, mains first: one of them is heard even if the other is off.
std::vector<std::vector<std::size_t>> pairs_to_try(const Rig& rig) {
  std::vector<std::size_t> order;
  for (const std::size_t s : by_output(rig)) {
    if (rig.speakers[s].kind == SpeakerKind::main) order.push_back(s);
  }
  if (order.empty()) order = by_output(rig);
  std::vector<std::vector<std::size_t>> pairs;
  const std::size_t half = (order.size() + 1) / 2;
  for (std::size_t i = 0; i < half && pairs.size() < most_pairs; ++i) {
    pairs.push_back({order[i]});
    if (i + half < order.size()) pairs.back().push_back(order[i + half]);
  }
  return pairs;
}

/// Ends the bursts as soon as the microphone has heard enough.
class EnoughHeard {
 public:
  EnoughHeard(const Rig& rig, const LevelCheckPlan& plan) : rig_{rig}, plan_{plan} {}

  bool operator()(const HeardSoFar& heard) {
    const std::size_t frames = heard.interleaved.size() / heard.channels;
    const double rate_hz = plan_.stimulus.sample_rate_hz;
    const auto step = static_cast<std::size_t>(0.1 * rate_hz);
    if (frames < looked_at_ + step) return true;
    if (heard.channels > 1 && frames > 2 * step && foreign_sound(heard, frames)) return false;
    if (frames < static_cast<std::size_t>(plan_.quiet_frames) + step) return true;
    looked_at_ = frames;
    Recording so_far;
    so_far.sample_rate_hz = rate_hz;
    for (std::size_t n = 0; n < frames; ++n) so_far.microphone.push_back(heard.interleaved[n * heard.channels]);
    const LevelCheck check = judge_level_check(plan_, so_far);
    if (check.peak_dbfs > near_clipping_dbfs) return false;
    const std::size_t next = std::min(check.loudest_step + 1, LevelCheckPlan::steps - 1);
    if (predicted_dba(rig_, check, plan_.peaks_dbfs[next]).value_or(0.0) > loud_dba) return false;
    if (check.loudest_step == 0) return true;  // two bursts tell whether the microphone stands still
    const bool all = std::ranges::all_of(check.heard, [](bool is_heard) { return is_heard; });
    return !(all && *check.heard_db + plan_.peaks_dbfs[check.loudest_step] > check.noise_dbfs + enough_db);
  }

 private:
  /// Whether the loopback holds something before the first burst: no need to play on top of it.
  [[nodiscard]] bool foreign_sound(const HeardSoFar& heard, std::size_t frames) const {
    const auto quiet = std::min(frames, static_cast<std::size_t>(0.9 * static_cast<double>(plan_.quiet_frames)));
    double sum = 0.0;
    for (std::size_t n = 0; n < quiet; ++n) {
      const auto sample = static_cast<double>(heard.interleaved[n * heard.channels + 1]);
      sum += sample * sample;
    }
    return sum > static_cast<double>(quiet) * power_ratio(Decibels{foreign_dbfs});
  }

  const Rig& rig_;
  const LevelCheckPlan& plan_;
  std::size_t looked_at_ = 0;
};

[[noreturn]] void fail(const Card& card, const std::string& what, const std::string& remedy) {
  throw DeviceError{card.name(), what, remedy};
}

void refuse_what_will_not_do(const Card& card, const LevelCheck& check) {
  if (check.loopback_noise_dbfs > foreign_dbfs) {
    fail(card,
         fmt::format("something else plays on the same outputs (the loopback reads {:.0f} dBFS in silence)",
                     check.loopback_noise_dbfs),
         "close other programs that use the device");
  }
  if (check.microphone_exact_zero) {
    const bool loopback_alive = card.has_loopback() && !check.loopback_exact_zero;
    fail(card,
         loopback_alive ? "the microphone's input delivers nothing at all, the loopback does"
                        : "its inputs deliver nothing at all (every sample is zero)",
         "check mute, phantom power, the channel number, and whether this program may record");
  }
  if (card.has_loopback() && !check.loopback_lag) {
    fail(card, "the loopback does not hear what is played: outputs muted or led elsewhere, or the wrong channel",
         "check mutes, routing and the loopback's cable, or leave --loopback-channel out");
  }
}

Findings findings_of(const Rig& rig, const LevelCheckPlan& plan, const LevelCheck& check) {
  Findings findings;
  if (check.linearity_db > steady_db) {
    findings.push_back(
        {Severity::stop, "input-processing", std::nullopt,
         fmt::format(
             "Bursts that rise by {:.0f} dB each come back {:.1f} dB off: something turns the microphone up and "
             "down. Switch off automatic gain, limiters and enhancements for this input, then measure again.",
             LevelCheckPlan::step_db, check.linearity_db)});
  }
  constexpr double faint_dbfs = -60.0;
  constexpr double wanted_dbfs = -30.0;
  const double loudest = check.heard_db ? *check.heard_db + plan.peaks_dbfs.back() : -200.0;
  if (check.heard_db && loudest < faint_dbfs) {
    findings.push_back({Severity::note, "faint-microphone", std::nullopt,
                        fmt::format("The microphone hears {} at {:.0f} dBFS only. Turn its input gain up by {:.0f} dB.",
                                    rig.speakers[plan.speakers.front()].label, loudest, wanted_dbfs - loudest)});
  }
  return findings;
}

}  // namespace

CheckedLevel check_level(Card& card, const Rig& rig, Decibels limit, bool must_hear) {
  CheckedLevel unheard{{}, limit, {}};
  for (const auto& speakers : pairs_to_try(rig)) {
    const LevelCheckPlan plan = plan_level_check(rig, speakers, limit);
    const Take take = card.play(plan.stimulus, EnoughHeard{rig, plan});
    const LevelCheck check = judge_level_check(plan, take.recording);
    const bool heard = std::ranges::any_of(check.heard, [](bool is_heard) { return is_heard; });
    refuse_what_will_not_do(card, check);
    unheard.check = check;
    if (!heard) continue;
    const auto peak = level_for_sweeps(plan, check);
    if (!peak) {
      fail(card, fmt::format("the microphone is overloaded by the quietest burst ({:.0f} dBFS)", check.peak_dbfs),
           "turn its input gain down by 20 dB, or the monitors");
    }
    return {check, *peak, findings_of(rig, plan, check)};
  }
  if (!must_hear) return unheard;
  fail(card, "the microphone hears none of the speakers at the highest level allowed",
       "check that speakers and microphone are on, its gain and channel number, and the monitor volume");
}

std::optional<double> predicted_dba(const Rig& rig, const LevelCheck& check, double peak_dbfs) {
  if (!rig.microphone.full_scale_spl_db || !check.loudest_heard_db) return {};
  return *check.loudest_heard_db + peak_dbfs + *rig.microphone.full_scale_spl_db + most_a_weighting_db;
}

bool microphone_moves(const LevelCheck& check) { return check.unlike_db > moving_db; }

Stimulus longest_level_check(const Rig& rig, Decibels limit) {
  Stimulus longest;
  for (const auto& speakers : pairs_to_try(rig)) {
    LevelCheckPlan plan = plan_level_check(rig, speakers, limit);
    if (plan.stimulus.frames > longest.frames) longest = std::move(plan.stimulus);
  }
  return longest;
}

}  // namespace ringtrue
