#include "ringtrue/response/timeline.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

#include "response/simulated.hpp"
#include "rigs.hpp"
#include "ringtrue/response/clock.hpp"
#include "ringtrue/stimulus/stimulus.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;

/// Spans of a schedule with a drift and steps after given sweeps; a sweep that is cut reads nonsense.
std::vector<SpanReading> spans_of(const Stimulus& stimulus, double ppm, const std::vector<TimelineStep>& steps) {
  std::vector<SpanReading> spans;
  test::Noise noise{3};
  for (const SweepPair& pair : sweep_pairs(stimulus)) {
    const auto at = [&](std::size_t i) { return static_cast<double>(stimulus.sweeps[i].first_frame) / rate_hz; };
    SpanReading span{pair.first, pair.second, at(pair.second) - at(pair.first), 0.0, 0.01};
    span.excess = ppm * 1e-6 * rate_hz * span.span_s + 0.01 * noise.next();
    for (const TimelineStep& step : steps) {
      const double part = step.inside && (step.after == pair.first || step.after == pair.second) ? 0.4 : 1.0;
      const bool between = step.after >= pair.first + (step.inside ? 0 : 0) && step.after < pair.second;
      if (between || (step.inside && step.after == pair.second)) span.excess += part * step.frames;
    }
    spans.push_back(span);
  }
  return spans;
}

}  // namespace

TEST_SUITE_BEGIN("response");

TEST_CASE("drift alone is found as drift") {
  const Stimulus stimulus = plan_stimulus(test::simple_rig(12, true), {});
  for (const double ppm : {-180.0, 0.0, 42.0}) {
    const Timeline timeline = solve_timeline(spans_of(stimulus, ppm, {}), stimulus.sweeps.size(), rate_hz);
    CHECK(std::abs(timeline.clock_ppm.value - ppm) < 0.05);
    CHECK(timeline.steps.empty());
  }
}

TEST_CASE("samples lost at any one instant are found there, apart from the drift") {
  for (const int speakers : {5, 12}) {
    const Stimulus stimulus = plan_stimulus(test::simple_rig(speakers), {});
    for (const double frames : {-64.0, 512.0, -4'096.0}) {
      for (std::size_t after = 0; after + 1 < stimulus.sweeps.size(); ++after) {
        for (const bool inside : {true, false}) {
          CAPTURE(speakers);
          CAPTURE(frames);
          CAPTURE(after);
          CAPTURE(inside);
          const auto spans = spans_of(stimulus, 30.0, {{frames, after, inside}});
          const Timeline timeline = solve_timeline(spans, stimulus.sweeps.size(), rate_hz);
          CHECK(std::abs(timeline.clock_ppm.value - 30.0) < 0.1);
          // Whatever place it names, every sweep that is not cut must get its true shift (against the first).
          for (std::size_t sweep = 1; sweep < stimulus.sweeps.size(); ++sweep) {
            if (inside && (sweep == after || after == 0)) continue;
            const double wanted = sweep > after ? frames : 0.0;
            const bool is_cut =
                timeline.steps.size() == 1 && timeline.steps[0].inside && timeline.steps[0].after == sweep;
            if (!is_cut) CHECK(std::abs(timeline.shift_of(sweep) - wanted) < 0.1);
          }
        }
      }
    }
  }
}

TEST_SUITE_END();
