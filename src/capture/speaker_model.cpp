#include "speaker_model.hpp"

#include <algorithm>
#include <array>
#include <numbers>
#include <string_view>

namespace ringtrue {
namespace {

using Complex = std::complex<double>;

Complex low_pass(Complex s) { return 1.0 / (s * s + std::numbers::sqrt2 * s + 1.0); }
Complex high_pass(Complex s) { return s * s * low_pass(s); }

Complex ways_of(const VirtualSpeaker& speaker, double frequency_hz) {
  if (speaker.model == "two-way") return crossover_sum(frequency_hz, speaker.crossover_hz, 4, 1.0);
  if (speaker.model == "two-way-inverting") return crossover_sum(frequency_hz, speaker.crossover_hz, 2, -1.0);
  return 1.0;
}

}  // namespace

Complex crossover_sum(double frequency_hz, double crossover_hz, int order, double sign) {
  const Complex s{0.0, frequency_hz / crossover_hz};
  if (order == 4) return low_pass(s) * low_pass(s) + sign * high_pass(s) * high_pass(s);
  const Complex first_order = 1.0 / (1.0 + s);
  return first_order * first_order * (1.0 + sign * s * s);
}

Complex speaker_response(const VirtualSpeaker& speaker, double frequency_hz) {
  if (speaker.model == "silent") return 0.0;
  const Complex box = high_pass({0.0, frequency_hz / speaker.band.low.value()});
  const Complex top = low_pass({0.0, frequency_hz / speaker.band.high.value()});
  const Complex roll_off = speaker.model == "sub" ? top * top : top;
  const double gain = (speaker.inverted ? -1.0 : 1.0) * amplitude_ratio(Decibels{speaker.gain_db});
  return gain * box * roll_off * ways_of(speaker, frequency_hz);
}

bool is_speaker_model(const std::string& model) {
  constexpr std::array<std::string_view, 5> models{"two-way", "two-way-inverting", "full-range", "sub", "silent"};
  return std::ranges::find(models, model) != models.end();
}

}  // namespace ringtrue
