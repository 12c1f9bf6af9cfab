#include "ringtrue/stimulus/stimulus.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <vector>

#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;

TEST_SUITE_BEGIN("stimulus");

TEST_CASE("every speaker plays twice, and no instant is like another to the spans between") {
  // Samples lost at some instant change the span of every speaker whose two sweeps it lies between. For the loss to be
  // placed, the set of those speakers must differ from instant to instant (from three speakers on).
  for (const int speakers : {3, 5, 12, 16}) {
    CAPTURE(speakers);
    const Stimulus stimulus = plan_stimulus(test::simple_rig(speakers), {});
    const std::size_t sweeps = stimulus.sweeps.size();
    REQUIRE(sweeps == 2 * static_cast<std::size_t>(speakers));
    std::set<std::set<std::size_t>> seen;
    for (std::size_t instant = 1; instant < sweeps; ++instant) {
      std::set<std::size_t> inside;  // speakers heard once before and once after
      for (std::size_t i = 0; i < sweeps; ++i) {
        const std::size_t speaker = stimulus.sweeps[i].speaker;
        if (i < instant && !inside.insert(speaker).second) inside.erase(speaker);
      }
      CHECK(seen.insert(inside).second);
    }
    std::set<std::int64_t> spans;
    for (std::size_t s = 0; s < static_cast<std::size_t>(speakers); ++s) {
      std::vector<std::int64_t> starts;
      for (const auto& sweep : stimulus.sweeps) {
        if (sweep.speaker == s) starts.push_back(sweep.first_frame);
      }
      REQUIRE(starts.size() == 2);
      spans.insert(starts[1] - starts[0]);
    }
    CHECK(spans.size() >= 2);
  }
}

TEST_CASE("speakers with the same band share one sweep") {
  const Stimulus stimulus = plan_stimulus(test::simple_rig(12, true), {});
  CHECK(stimulus.shapes.size() == 2);
}

TEST_CASE("half a second of silence comes first and the decay after each sweep") {
  const Rig rig = test::simple_rig(2);
  StimulusOptions options;
  options.decay = Seconds{0.9};
  const Stimulus stimulus = plan_stimulus(rig, options);
  CHECK(stimulus.sweeps.front().first_frame == 24'000);
  for (std::size_t i = 1; i < stimulus.sweeps.size(); ++i) {
    const auto& before = stimulus.sweeps[i - 1];
    const auto end = before.first_frame + std::ssize(stimulus.shapes[before.shape].samples);
    CHECK(stimulus.sweeps[i].first_frame - end == 43'200);
  }
}

TEST_CASE("channel k drives output k and nothing else, in blocks of any size") {
  Rig rig = test::simple_rig(2);
  rig.speakers[1].output = 4;
  rig.interface.loopback_output = 6;
  const Stimulus stimulus = plan_stimulus(rig, {});
  REQUIRE(stimulus.channels == 6);
  std::vector<float> whole(static_cast<std::size_t>(stimulus.frames) * 6);
  render(stimulus, rig, 0, whole);
  const auto at = [&](std::int64_t frame, int output) {
    return whole[static_cast<std::size_t>(frame) * 6 + static_cast<std::size_t>(output) - 1];
  };
  double energy[7] = {};
  for (std::int64_t n = 0; n < stimulus.frames; ++n) {
    for (int output = 1; output <= 6; ++output) energy[output] += std::abs(at(n, output));
    REQUIRE(at(n, 6) == at(n, 1) + at(n, 4));  // the loopback output carries the sum
  }
  CHECK(energy[1] > 1'000.0);
  CHECK(energy[4] > 1'000.0);
  for (const int unused : {2, 3, 5}) CHECK(energy[unused] == 0.0);

  std::vector<float> pieces;
  for (std::int64_t n = 0; n < stimulus.frames; n += 4'801) {
    std::vector<float> block(static_cast<std::size_t>(std::min<std::int64_t>(4'801, stimulus.frames - n)) * 6);
    render(stimulus, rig, n, block);
    pieces.insert(pieces.end(), block.begin(), block.end());
  }
  CHECK(pieces == whole);
}

TEST_CASE("the default peak is -18 dBFS and more than -6 dBFS needs consent") {
  const Rig rig = test::simple_rig(1);
  const auto peak = [](const Stimulus& stimulus) { return std::ranges::max(stimulus.shapes.front().samples); };
  CHECK(std::abs(20.0 * std::log10(peak(plan_stimulus(rig, {}))) - -18.0) < 0.01);
  StimulusOptions loud;
  loud.peak_level = Decibels{-3.0};
  CHECK_THROWS_WITH_AS((void)plan_stimulus(rig, loud),
                       "stimulus: a peak level above -6 dBFS can hurt ears and tweeters; turn it down, or ask for it "
                       "with --loud",
                       InvalidInput);
  loud.allow_loud = true;
  CHECK(std::abs(20.0 * std::log10(peak(plan_stimulus(rig, loud))) - -3.0) < 0.01);
  loud.peak_level = Decibels{0.5};
  CHECK_THROWS_AS((void)plan_stimulus(rig, loud), InvalidInput);
}

TEST_CASE("options outside their range are refused") {
  const Rig rig = test::simple_rig(1);
  StimulusOptions options;
  options.decay = Seconds{0.0};
  CHECK_THROWS_AS((void)plan_stimulus(rig, options), InvalidInput);
  options = {};
  options.main_sweep = Seconds{std::nan("")};
  CHECK_THROWS_AS((void)plan_stimulus(rig, options), InvalidInput);
}

TEST_SUITE_END();
