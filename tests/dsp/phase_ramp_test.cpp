#include "ringtrue/dsp/phase_ramp.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <complex>

using namespace ringtrue;

TEST_SUITE_BEGIN("dsp");

TEST_CASE("a ramp of phases is the exponentials it stands for") {
  for (const double step : {0.0, 1e-4, -0.37, 2.9}) {
    CAPTURE(step);
    PhaseRamp phase{0.3, step};
    double worst = 0.0;
    for (int k = 0; k < 1'000; ++k) {
      worst = std::max(worst, std::abs(phase.next() - std::polar(1.0, 0.3 + k * step)));
    }
    CHECK(worst < 1e-12);  // the argument's own rounding is 3e-13
  }
}

TEST_SUITE_END();
