#include "ringtrue/response/one_clock.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>
#include <vector>

#include "damage.hpp"
#include "response/simulated.hpp"
#include "rigs.hpp"
#include "ringtrue/response/measurement.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;
constexpr std::size_t window = 9'600;  // 0.2 s, as clock_window

StimulusOptions short_pair_sweeps() { return test::sweeps_of(Seconds{0.9}, Seconds{0.4}); }

/// What OneClock says of a ring whose second takes come `frames_a_second` later for each second of span.
struct Ring {
  Rig rig = test::simple_rig(4);
  Stimulus stimulus = plan_stimulus(rig, short_pair_sweeps());
  std::vector<SweepPair> pairs = sweep_pairs(stimulus);

  [[nodiscard]] std::optional<Timeline> heard(double frames_a_second, double noise_rms = 0.0,
                                              double one_off = 0.0) const {
    OneClock clock{stimulus, pairs, rate_hz};
    test::Noise noise{5};
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const double span_s = start_s(stimulus, pairs[i].second) - start_s(stimulus, pairs[i].first);
      const double later = frames_a_second * span_s + (i == 1 ? one_off : 0.0);
      auto first = test::impulse(2'400.0, 0.2, window);
      auto second = test::impulse(2'400.0 + later, 0.2, window);
      for (double& x : first) x += noise_rms * noise.next();
      for (double& x : second) x += noise_rms * noise.next();
      clock.read(i, test::in_single(first), test::in_single(second));
    }
    return clock.timeline();
  }
};

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("takes that lie as far apart as they were played share a clock") {
  // By construction. 0.001 frames a second are 0.02 ppm: without noise more than rounding, in noise far below it.
  const Ring ring;
  CHECK(ring.heard(0.0));
  CHECK(ring.heard(0.0, 1e-3));
  CHECK(!ring.heard(0.001));
  CHECK(ring.heard(1e-6));
  CHECK(!ring.heard(0.1, 1e-3));      // 2 ppm
  CHECK(!ring.heard(0.0, 0.0, 0.4));  // one speaker's takes are moved
  CHECK(!ring.heard(0.0, 0.0, 64.0));
  CHECK(!ring.heard(0.0, 0.2));  // too unlike to tell
  const auto timeline = ring.heard(0.0, 1e-3);
  REQUIRE(timeline);
  CHECK(timeline->steps.empty());
  CHECK(timeline->clock_ppm.value == 0.0);
  CHECK(timeline->clock_ppm.uncertainty > 0.0);
}

TEST_CASE("a clock is not told from some of the pairs") {
  const Ring ring;
  OneClock clock{ring.stimulus, ring.pairs, rate_hz};
  const auto h = test::in_single(test::impulse(2'400.0, 0.2, window));
  for (std::size_t i = 0; i + 1 < ring.pairs.size(); ++i) clock.read(i, h, h);
  CHECK(!clock.refuted());
  CHECK(!clock.timeline());
}

TEST_CASE("a subwoofer that a few modes of the room carry shares the clock as well") {
  // Three modes that take 0.3 s to decay: in 0.2 s they are too few frequencies to tell from a hum, in 0.73 s enough.
  const Rig rig = test::simple_rig(3, true);
  const Stimulus stimulus = plan_stimulus(rig, short_pair_sweeps());
  const std::vector<SweepPair> pairs = sweep_pairs(stimulus);
  std::vector<double> modes(35'040);
  for (std::size_t n = 0; n + 2'400 < modes.size(); ++n) {
    const double t = static_cast<double>(n) / rate_hz;
    for (const double frequency_hz : {35.0, 57.0, 101.0}) {
      modes[n + 2'400] += 0.02 * std::sin(2.0 * std::numbers::pi * frequency_hz * t) * std::pow(10.0, -3.0 * t / 0.3);
    }
  }
  const auto sub = test::in_single(modes);
  const auto main = test::in_single(test::impulse(2'400.0, 0.2, window));
  for (const bool all : {false, true}) {
    CAPTURE(all);
    OneClock clock{stimulus, pairs, rate_hz};
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      if (rig.speakers[pairs[i].speaker].kind == SpeakerKind::main) {
        clock.read(i, main, main);
      } else {
        const auto crop = std::span<const float>{sub}.first(window);
        clock.read(i, crop, crop, all ? sub : std::span<const float>{}, all ? sub : std::span<const float>{});
      }
    }
    CHECK(clock.timeline().has_value() == all);
  }
}

TEST_CASE("frames lost before a subwoofer's last sweep, which no other pair spans, are put back") {
  // A narrow band is alike itself far off its lag: 64 frames are an eighth of a period at 100 Hz.
  Rig rig = test::simple_rig(4, true);
  for (Speaker& speaker : rig.speakers) {
    if (speaker.kind == SpeakerKind::sub) speaker.band = {Hertz{20.0}, Hertz{120.0}};
  }
  const Stimulus stimulus = plan_stimulus(rig, short_pair_sweeps());
  const ScheduledSweep& last = stimulus.sweeps.back();
  REQUIRE(rig.speakers[last.speaker].kind == SpeakerKind::sub);
  std::vector<test::Response> responses;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s)
    responses.push_back(test::impulse(480.0 + 20.0 * static_cast<double>(s), 0.1, 4'000));
  const auto whole = test::play(stimulus, responses, {1e-6, 1});
  const auto healthy = measure(rig, stimulus, whole);
  for (const std::size_t frames : {16U, 64U, 200U}) {
    CAPTURE(frames);
    Recording damaged = whole;
    test::lose(damaged, static_cast<std::size_t>(last.first_frame) - 4'000, frames);
    const auto measured = measure(rig, stimulus, damaged);
    const SpeakerMeasurement& sub = measured.speakers[last.speaker];
    CHECK(sub.trusted);
    CHECK(
        std::ranges::none_of(measured.findings, [](const Finding& finding) { return finding.code == "noise-event"; }));
    REQUIRE(sub.level_db);
    CHECK(std::abs(sub.level_db->value - healthy.speakers[last.speaker].level_db->value) < 0.05);
  }
}
