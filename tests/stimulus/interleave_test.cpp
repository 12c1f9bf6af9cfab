#include "ringtrue/stimulus/interleave.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <map>
#include <vector>

#include "rigs.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/stimulus/overlap.hpp"

using namespace ringtrue;

namespace {

StimulusOptions interleaved(double decay_s = 0.4) {
  StimulusOptions options = interleaved_options();
  options.decay = Seconds{decay_s};
  return options;
}

double length_s(const Stimulus& stimulus) { return static_cast<double>(stimulus.frames) / stimulus.sample_rate_hz; }

/// When harmonic `order` of a sweep sounds at `hertz`: f(t) = f1 exp(t / L), solved for t.
double passes_s(const Stimulus& stimulus, const ScheduledSweep& sweep, double hertz, int order) {
  const SweepShape& shape = stimulus.shapes[sweep.shape];
  return static_cast<double>(sweep.first_frame) / stimulus.sample_rate_hz +
         shape.rate_constant.value() * std::log(hertz / (order * shape.band.low.value()));
}

bool sounds_at(const SweepShape& shape, double hertz, int order) {
  return hertz >= order * shape.band.low.value() && hertz <= order * shape.band.high.value();
}

}  // namespace

TEST_SUITE_BEGIN("stimulus");

TEST_CASE("overlapping sweeps are over in the time that was promised") {
  // The project's own aim: 12 outputs in at most 15 s, 24 in at most 28 s, silence at both ends included.
  CHECK(length_s(plan_stimulus(test::simple_rig(12), interleaved())) <= 15.0);
  CHECK(length_s(plan_stimulus(test::simple_rig(11, true), interleaved())) <= 15.0);
  CHECK(length_s(plan_stimulus(test::simple_rig(24), interleaved())) <= 28.0);
  CHECK(length_s(plan_stimulus(test::simple_rig(23, true), interleaved())) <= 28.0);
}

TEST_CASE("no response or harmonic of another speaker is heard in a window while it is above -60 dB") {
  // From the definition of the sweep alone: at every frequency that both have, a response is heard from its time on,
  // decaying by 60 dB in the reverberation time; harmonics start at -30 and -40 dB (3 % and 1 %). A window ends where
  // its own response has fallen by 48 dB.
  for (const double decay_s : {0.2, 0.4, 0.7}) {
    for (const int mains : {1, 2, 5, 11}) {
      CAPTURE(decay_s);
      CAPTURE(mains);
      const Stimulus stimulus = plan_stimulus(test::simple_rig(mains, true), interleaved(decay_s));
      for (const auto& own : stimulus.sweeps) {
        for (const auto& other : stimulus.sweeps) {
          if (&own == &other) continue;
          for (int order = 1; order <= 3; ++order) {
            const double level_db = order == 1 ? 0.0 : order == 2 ? -30.0 : -40.0;
            const double heard_s = decay_s * (60.0 + level_db) / 60.0;
            for (double hertz = 20.0; hertz <= 20'000.0; hertz *= 1.25) {
              if (!sounds_at(stimulus.shapes[own.shape], hertz, 1)) continue;
              if (!sounds_at(stimulus.shapes[other.shape], hertz, order)) continue;
              const double later_s = passes_s(stimulus, other, hertz, order) - passes_s(stimulus, own, hertz, 1);
              CHECK((later_s > 0.8 * decay_s + 0.01 || later_s + heard_s < -0.03));
            }
          }
        }
      }
    }
  }
}

TEST_CASE("every speaker plays, no output twice at once, subwoofers and three others come again") {
  const Rig rig = test::simple_rig(7, true);
  const Stimulus stimulus = plan_stimulus(rig, interleaved());
  std::map<std::size_t, std::vector<const ScheduledSweep*>> by_speaker;
  for (const auto& sweep : stimulus.sweeps) by_speaker[sweep.speaker].push_back(&sweep);
  REQUIRE(by_speaker.size() == 8);
  int twice = 0;
  for (const auto& [speaker, sweeps] : by_speaker) {
    if (sweeps.size() == 1) continue;
    REQUIRE(sweeps.size() == 2);
    ++twice;
    const auto end = sweeps[0]->first_frame + std::ssize(stimulus.shapes[sweeps[0]->shape].samples);
    CHECK(sweeps[1]->first_frame - end >= 0.25 * 48'000);
  }
  CHECK(twice == 4);
  CHECK(by_speaker.at(7).size() == 2);
  CHECK(is_interleaved(stimulus));
  CHECK(!is_interleaved(plan_stimulus(rig, {})));
}

TEST_CASE("sweeps that sound at once never add up to more than twice one alone") {
  for (const double sweep_s : {2.2, 6.0}) {
    StimulusOptions options = interleaved();
    options.main_sweep = Seconds{sweep_s};
    const Rig rig = test::simple_rig(9);
    const Stimulus stimulus = plan_stimulus(rig, options);
    REQUIRE(most_at_once(stimulus) >= 3);
    std::vector<float> block(static_cast<std::size_t>(stimulus.frames) * 9);
    render(stimulus, rig, 0, block);
    double highest = 0.0;
    for (std::size_t n = 0; n < block.size(); n += 9) {
      double sum = 0.0;
      for (std::size_t c = 0; c < 9; ++c) sum += static_cast<double>(std::abs(block[n + c]));
      highest = std::max(highest, sum);
    }
    CHECK(20.0 * std::log10(highest) < -18.0 + 6.03);
  }
}

TEST_CASE("what a schedule was made for can be read from it") {
  for (const double decay_s : {0.25, 0.4, 0.8}) {
    CHECK(std::abs(interleaved_decay(plan_stimulus(test::simple_rig(6, true), interleaved(decay_s))).value() -
                   decay_s) < 0.02);
  }
}

TEST_SUITE_END();
