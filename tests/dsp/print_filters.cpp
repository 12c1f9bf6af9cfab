// Prints what compare_filters.py compares with scipy: one line a filter, "family order corner_hz sample_rate_hz", then
// its sections (b0 b1 b2 a1 a2 each), then "|" and the response (real and imaginary part) at the frequencies below.
#include <fmt/format.h>

#include <string>

#include "ringtrue/dsp/crossover.hpp"

using namespace ringtrue;

namespace {

constexpr double frequencies_hz[] = {10.0, 20.0, 40.0, 63.0, 80.0, 125.0, 160.0, 250.0, 1e3, 8e3, 20e3};

void print(const std::string& title, const Cascade& cascade, Hertz sample_rate) {
  std::string line = title;
  for (const Biquad& s : cascade) line += fmt::format(" {} {} {} {} {}", s.b0, s.b1, s.b2, s.a1, s.a2);
  line += " |";
  for (const double f : frequencies_hz) {
    const auto h = frequency_response(cascade, Hertz{f}, sample_rate);
    line += fmt::format(" {} {}", h.real(), h.imag());
  }
  fmt::print("{}\n", line);
}

}  // namespace

int main() {
  for (const double rate_hz : {44'100.0, 48'000.0, 96'000.0, 192'000.0}) {
    const Hertz rate{rate_hz};
    for (const double corner_hz : {40.0, 80.0, 120.0, 200.0, 2'000.0}) {
      const Hertz corner{corner_hz};
      const std::string where = fmt::format("{} {}", corner_hz, rate_hz);
      for (int order = 1; order <= 8; ++order) {
        print(fmt::format("butter-lowpass {} {}", order, where), butterworth_low_pass(order, corner, rate), rate);
        print(fmt::format("butter-highpass {} {}", order, where), butterworth_high_pass(order, corner, rate), rate);
      }
      for (const CrossoverSlope slope : crossover_slopes) {
        const Crossover filters = crossover_filters(slope, corner, rate);
        const std::string family = name(slope);
        const std::string rest = fmt::format("{} {}", family.substr(2), where);
        print(family.substr(0, 2) + "-lowpass " + rest, filters.low, rate);
        print(family.substr(0, 2) + "-highpass " + rest, filters.high, rate);
      }
    }
  }
}
