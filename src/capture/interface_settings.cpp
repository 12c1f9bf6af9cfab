#include "interface_settings.hpp"

#include <cmath>

#include "../calibration/filters.hpp"
#include "recorder.hpp"
#include "ringtrue/capture/virtual_room.hpp"

namespace ringtrue {
namespace {

constexpr double settings_ring_s = 0.3;  // of a filter, beyond the response

/// Direct form II, transposed.
void filter(const Biquad& section, std::vector<double>& samples) {
  double first = 0.0;
  double second = 0.0;
  for (double& sample : samples) {
    const double in = sample;
    sample = section.b0 * in + first;
    first = section.b1 * in - section.a1 * sample + second;
    second = section.b2 * in - section.a2 * sample;
  }
}

void delay(double frames, SpeakerResponse& response) {
  const double whole = std::floor(frames);
  const double rest = frames - whole;
  response.lead -= static_cast<std::int64_t>(whole);
  if (rest == 0.0) return;
  constexpr std::int64_t margin = 64;  // the interpolator's kernel reaches half as far
  const std::size_t length = response.samples.size() + 2 * margin;
  response.samples = sample_at(response.samples, -rest - static_cast<double>(margin), 1.0, length, 1);
  response.lead += margin;
}

}  // namespace

void type_in(const Settings& settings, double sample_rate_hz, SpeakerResponse& response) {
  if (!settings.equaliser.empty()) {
    response.samples.resize(response.samples.size() + static_cast<std::size_t>(settings_ring_s * sample_rate_hz));
  }
  for (const Biquad& section : cascade_of(settings.equaliser, sample_rate_hz)) filter(section, response.samples);
  const double gain = (settings.invert ? -1.0 : 1.0) * amplitude_ratio(Decibels{settings.trim_db.value_or(0.0)});
  for (double& sample : response.samples) sample *= gain;
  delay(settings.delay_ms.value_or(0.0) * 1e-3 * sample_rate_hz, response);
}

std::vector<OutputSettings> settings_of(const Calibration& calibration) {
  std::vector<OutputSettings> typed;
  for (const SpeakerResult& speaker : calibration.speakers) typed.push_back({speaker.output, speaker.settings});
  return typed;
}

}  // namespace ringtrue
