#include "ringtrue/response/measurement_findings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <span>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

/// Everything the sentences are made from.
struct Facts {
  const Rig& rig;
  const Recording& recording;
  std::span<const SweepPair> pairs;
  std::span<const TakeChoice> choices;
  const RecordingFaults& faults;
  const Synchronisation& sync;

  [[nodiscard]] const Speaker& speaker(std::size_t pair) const { return rig.speakers[pairs[pair].speaker]; }
  [[nodiscard]] std::size_t sweep(std::size_t pair, std::size_t take) const {
    return take == 0 ? pairs[pair].first : pairs[pair].second;
  }
};

const char* take_name(std::size_t take) { return take == 0 ? "first" : "second"; }

/// What a fault in one take means for the speaker's settings.
std::string consequence(const TakeChoice& choice) {
  if (!choice.usable) return "Both its sweeps are spoilt, so no settings are given for it; measure again.";
  if (choice.used[0] && choice.used[1]) return "Its settings are less sure; measure again if you can.";
  return "Its other sweep is whole and was used alone, so its settings stand.";
}

void add(Findings& findings, Severity severity, const char* code, const Speaker& speaker, std::string message) {
  findings.push_back({severity, code, speaker.label, std::move(message)});
}

void add_take_findings(const Facts& facts, Findings& findings) {
  for (std::size_t i = 0; i < facts.pairs.size(); ++i) {
    const TakeChoice& choice = facts.choices[i];
    const Speaker& speaker = facts.speaker(i);
    const Severity severity = choice.usable ? Severity::warn : Severity::stop;
    bool absent_said = false;
    for (const std::size_t take : {0U, 1U}) {
      const std::size_t sweep = facts.sweep(i, take);
      switch (choice.faults[take]) {
        case TakeFault::none:
        case TakeFault::clipped:
        case TakeFault::disturbed: break;  // said below, and with the other clipped ones
        case TakeFault::cut: {
          const bool said_with_its_step = std::ranges::any_of(facts.sync.timeline.steps, [&](const TimelineStep& step) {
            return step.inside && step.after == sweep && std::abs(step.frames) >= 0.5;
          });
          if (said_with_its_step) break;
          add(findings, severity, "dropout", speaker,
              fmt::format("{}: samples were lost or put in{} during the {} sweep of {}. {} Give the audio program a "
                          "larger buffer and close what else is running.",
                          facts.recording.name,
                          choice.broken_frames > 0.0 ? fmt::format(" ({:.0f} of them)", choice.broken_frames) : "",
                          take_name(take), speaker.label, consequence(choice)));
          break;
        }
        case TakeFault::repeated:
          add(findings, severity, "dropout", speaker,
              fmt::format("{}: around {:.1f} s a stretch of sound is repeated to the last bit, in the {} sweep of {}: "
                          "a buffer came twice. {} Give the audio program a larger buffer.",
                          facts.recording.name, choice.disturbed_at_s[take], take_name(take), speaker.label,
                          consequence(choice)));
          break;
        case TakeFault::absent:
          if (facts.pairs[i].first == facts.pairs[i].second || absent_said) break;
          absent_said = true;
          add(findings, severity, "recording-too-short", speaker,
              fmt::format("{}: the recording does not hold the whole {} sweep of {}. {} Let the recorder run from "
                          "before the first sound until after the last.",
                          facts.recording.name, take_name(take), speaker.label, consequence(choice)));
          break;
        case TakeFault::dropped: {
          const Stretch lost = facts.faults.dropped[*facts.faults.dropped_in[sweep]];
          add(findings, severity, "dropout", speaker,
              fmt::format(
                  "{}: at {:.2f} s the sound breaks off for {:.1f} ms, in the {} sweep of {}. {} Give the audio "
                  "program a larger buffer and close what else is running.",
                  facts.recording.name, static_cast<double>(lost.from) / facts.sync.rate_hz,
                  static_cast<double>(lost.to - lost.from) / facts.sync.rate_hz * 1e3, take_name(take), speaker.label,
                  consequence(choice)));
          break;
        }
      }
      if (choice.noisy[take]) {
        add(findings, severity, "noise-event", speaker,
            fmt::format("{}: a noise {:.0f} dB over the rest (a slam, a voice, traffic?) around {:.1f} s, in the {} "
                        "sweep of {}. {}",
                        facts.recording.name, choice.disturbance_db[take], choice.disturbed_at_s[take], take_name(take),
                        speaker.label, consequence(choice)));
      }
    }
  }
}

void add_clipping(const Facts& facts, Findings& findings) {
  for (std::size_t i = 0; i < facts.pairs.size(); ++i) {
    const std::size_t first = facts.faults.clipped[facts.pairs[i].first];
    const std::size_t second = facts.faults.clipped[facts.pairs[i].second];
    constexpr std::size_t few = 3;  // a flat top has at least these
    if (first + second < few) continue;
    const TakeChoice& choice = facts.choices[i];
    const Speaker& speaker = facts.speaker(i);
    const bool spoilt = choice.faults[0] == TakeFault::clipped || choice.faults[1] == TakeFault::clipped;
    add(findings, choice.usable ? Severity::warn : Severity::stop, "clipped-recording", speaker,
        fmt::format("{}: {} samples are clipped while {} plays. {} Turn the microphone's input gain down by 6 dB or "
                    "more (not the speakers) and measure again.",
                    facts.recording.name, first + second, speaker.label,
                    spoilt ? consequence(choice) : "So few that its settings stand."));
  }
}

void add_steps(const Facts& facts, Findings& findings) {
  for (const TimelineStep& step : facts.sync.timeline.steps) {
    if (std::abs(step.frames) < 0.5) continue;
    std::optional<std::size_t> pair;
    std::size_t take = 0;
    for (std::size_t i = 0; i < facts.pairs.size(); ++i) {
      for (const std::size_t t : {0U, 1U}) {
        if (facts.sweep(i, t) != step.after) continue;
        pair = i;
        take = t;
      }
    }
    const double seconds = facts.sync.zero_frames[step.after] / facts.sync.rate_hz;
    const std::string what =
        fmt::format("{:.0f} samples were {}", std::abs(step.frames), step.frames < 0.0 ? "lost" : "put in");
    if (pair && step.inside) {
      const TakeChoice& choice = facts.choices[*pair];
      add(findings, choice.usable ? Severity::warn : Severity::stop, "dropout", facts.speaker(*pair),
          fmt::format("{}: {} during the {} sweep of {} (it starts at {:.1f} s). Everything after it was put back in "
                      "its place. {} Give the audio program a larger buffer.",
                      facts.recording.name, what, take_name(take), facts.speaker(*pair).label, seconds,
                      consequence(choice)));
    } else {
      findings.push_back({Severity::warn, "dropout", std::nullopt,
                          fmt::format("{}: {} in the silence after the sweep that starts at {:.1f} s. Everything after "
                                      "it was put back in its place, all settings stand. Give the audio program a "
                                      "larger buffer.",
                                      facts.recording.name, what, seconds)});
    }
  }
}

void add_stray_dropouts(const Facts& facts, Findings& findings) {
  for (std::size_t d = 0; d < facts.faults.dropped.size(); ++d) {
    const bool in_a_sweep = std::ranges::any_of(facts.faults.dropped_in, [&](const auto& index) { return index == d; });
    if (in_a_sweep) continue;
    const Stretch lost = facts.faults.dropped[d];
    findings.push_back({Severity::warn, "dropout", std::nullopt,
                        fmt::format("{}: at {:.2f} s the sound breaks off for {:.1f} ms, between two sweeps. All "
                                    "settings stand, but the audio program loses data: give it a larger buffer.",
                                    facts.recording.name, static_cast<double>(lost.from) / facts.sync.rate_hz,
                                    static_cast<double>(lost.to - lost.from) / facts.sync.rate_hz * 1e3)});
  }
}

}  // namespace

Findings recording_findings(const Rig& rig, const Recording& recording, std::span<const SweepPair> pairs,
                            std::span<const TakeChoice> choices, const RecordingFaults& faults,
                            const Synchronisation& sync, bool channels_exchanged) {
  const Facts facts{rig, recording, pairs, choices, faults, sync};
  Findings findings;
  if (channels_exchanged) {
    findings.push_back({Severity::warn, "channels-exchanged", std::nullopt,
                        fmt::format("{}: the channel named as loopback hears the room and the microphone's does not: "
                                    "the two are exchanged. They were used the right way round; correct the cables or "
                                    "the channel numbers.",
                                    recording.name)});
  }
  add_clipping(facts, findings);
  add_steps(facts, findings);
  add_stray_dropouts(facts, findings);
  add_take_findings(facts, findings);
  return findings;
}

void refuse_foreign_recording(const Recording& recording, bool looked_in_loopback) {
  throw InvalidInput{recording.name,
                     looked_in_loopback ? "the sweeps of this stimulus are not in its loopback channel"
                                        : "the sweeps of this stimulus are not in the recording",
                     looked_in_loopback
                         ? "check the loopback's cable and channel number, or leave the loopback out"
                         : "check that stimulus and recording belong together and that the microphone was on"};
}

void refuse_other_stimulus(const Recording& recording) {
  throw InvalidInput{recording.name, "it holds sweeps of another stimulus than this one",
                     "give the stimulus file that was really played"};
}

namespace {

/// Share of a response's treble in the two neighbouring twelfths of its window that have most: of a room's, most of it.
/// By products of the two takes: noise is spread out, but differs between them.
std::optional<double> concentration(const PairResponse& response) {
  constexpr std::size_t stretches = 12;
  const std::span<const float> a = response.first;
  const std::span<const float> b = response.second;
  const std::size_t stretch = std::min(a.size(), b.size()) / stretches;
  if (stretch == 0) return {};
  std::array<double, stretches> energies{};
  for (std::size_t s = 0; s < stretches; ++s) {
    for (std::size_t n = s * stretch + 1; n < (s + 1) * stretch; ++n) {
      energies[s] += static_cast<double>((a[n] - a[n - 1]) * (b[n] - b[n - 1]));
    }
  }
  const double all = std::accumulate(energies.begin(), energies.end(), 0.0);
  double best = 0.0;
  for (std::size_t s = 0; s + 1 < energies.size(); ++s) best = std::max(best, energies[s] + energies[s + 1]);
  if (all <= 0.0) return {};
  return best / all;
}

}  // namespace

void refuse_if_smeared(const Recording& recording, std::span<const SweepPair> pairs,
                       std::span<const PairResponse> responses, unsigned threads) {
  constexpr double concentrated = 0.45;
  constexpr double alike = 0.5;
  const auto by_pair = parallel_map(responses.size(), threads, [&](std::size_t i) {
    return responses[i].likeness < alike ? std::nullopt : concentration(responses[i]);
  });
  // A response heard once has its noise in it: those heard twice are asked, of which an interleaved stimulus has some.
  const auto heard_twice = [](const SweepPair& pair) { return pair.first != pair.second; };
  const bool any_twice = std::ranges::any_of(pairs, heard_twice);
  std::size_t answers = 0;
  std::vector<double> shares;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (!by_pair[i]) continue;
    ++answers;
    if (!any_twice || heard_twice(pairs[i])) shares.push_back(*by_pair[i]);
  }
  const InvalidInput foreign{recording.name, "its sweeps are not those of this stimulus: no response comes to a point",
                             "give the stimulus file that was really played"};
  // Few speakers answer: they may be off, and then it is quiet. If it is loud all the same, other sweeps were played.
  constexpr std::size_t most_answer = 3;
  constexpr double loud = 100.0;
  constexpr double treble_share = 0.75;  // a sweep's bass is no louder than noise here; a third of the speakers is less
  if (most_answer * answers < responses.size()) {
    const auto blocks = loudness_of(responses);
    if (percentile(blocks, treble_share) > loud * std::max(percentile(blocks, 0.02), 1e-18)) throw foreign;
  }
  if (!shares.empty() && median(shares) < concentrated) throw foreign;
}

}  // namespace ringtrue
