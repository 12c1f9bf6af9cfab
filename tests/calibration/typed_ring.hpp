#pragma once

#include <cmath>
#include <random>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/dsp/biquad.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue::test {

/// A response with a direct sound at the speaker's arrival and a decay of noise behind it.
inline SpeakerMeasurement measured_speaker(double arrival_ms, double gain, unsigned seed, double rate_hz = 48'000.0) {
  SpeakerMeasurement speaker;
  speaker.heard = true;
  speaker.arrival_ms = Estimate{arrival_ms, 0.001};
  speaker.level_db = Estimate{20.0 * std::log10(gain), 0.005};
  speaker.sign = WooferSign::positive;
  speaker.signal_to_noise_db = 50.0;
  constexpr std::size_t at = 2'880;  // 60 ms in
  speaker.response.sample_rate_hz = rate_hz;
  speaker.response.first_sample_ms = arrival_ms - 1e3 * at / rate_hz;
  speaker.response.samples.assign(33'600, 0.0F);
  std::mt19937 random{seed};
  double smooth = 0.0;
  for (std::size_t n = at; n < speaker.response.samples.size(); ++n) {
    const double t_s = static_cast<double>(n - at) / rate_hz;
    const double white = static_cast<double>(random()) / 4294967296.0 - 0.5;
    smooth += 0.3 * (white - smooth);
    const double direct = n == at ? 1.0 : 0.0;
    speaker.response.samples[n] = static_cast<float>(gain * (direct + 0.15 * smooth * std::exp(-t_s / 0.04)));
  }
  return speaker;
}

/// The same with settings typed in. The filters run as plain difference equations, sample by sample.
inline SpeakerMeasurement typed_into(SpeakerMeasurement speaker, const Settings& settings) {
  const double rate_hz = speaker.response.sample_rate_hz;
  for (const Filter& filter : settings.equaliser) {
    const FilterPlace place{Hertz{filter.frequency_hz}, filter.q, Hertz{rate_hz}};
    const Decibels gain{filter.gain_db};
    const Biquad s = filter.shape == FilterShape::peak        ? peak_filter(place, gain)
                     : filter.shape == FilterShape::low_shelf ? low_shelf_filter(place, gain)
                                                              : high_shelf_filter(place, gain);
    double x1 = 0.0;
    double x2 = 0.0;
    double y1 = 0.0;
    double y2 = 0.0;
    for (float& sample : speaker.response.samples) {
      const double x = static_cast<double>(sample);
      const double y = s.b0 * x + s.b1 * x1 + s.b2 * x2 - s.a1 * y1 - s.a2 * y2;
      x2 = x1;
      x1 = x;
      y2 = y1;
      y1 = y;
      sample = static_cast<float>(y);
    }
  }
  const double gain = std::pow(10.0, settings.trim_db.value_or(0.0) / 20.0) * (settings.invert ? -1.0 : 1.0);
  for (float& sample : speaker.response.samples) sample = static_cast<float>(gain * static_cast<double>(sample));
  const double delay_ms = settings.delay_ms.value_or(0.0);
  speaker.response.first_sample_ms += delay_ms;
  speaker.arrival_ms->value += delay_ms;
  speaker.level_db->value += settings.trim_db.value_or(0.0);
  if (settings.invert) speaker.sign = WooferSign::negative;
  return speaker;
}

/// Five mains with delays and trims, two of them with filters; the speakers stand where their delays make them arrive
/// together.
struct TypedRing {
  Calibration calibration;
  PositionMeasurement before;

  TypedRing() {
    const std::vector<std::string> labels{"L", "R", "C", "Lss", "Rss"};
    const double delays_ms[]{3.41, 2.72, 5.55, 0.0, 1.23};
    const double trims_db[]{-3.4, -2.1, -5.7, 0.0, -1.2};
    calibration.rig.layout = "custom";
    for (std::size_t s = 0; s < labels.size(); ++s) {
      Speaker speaker;
      speaker.label = labels[s];
      speaker.output = static_cast<int>(s) + 1;
      calibration.rig.speakers.push_back(speaker);
      const double arrival_ms = 10.0 - delays_ms[s];
      const double gain = std::pow(10.0, -trims_db[s] / 20.0);
      before.speakers.push_back(measured_speaker(arrival_ms, gain, static_cast<unsigned>(s) + 1));
      SpeakerResult result;
      result.label = labels[s];
      result.output = speaker.output;
      result.measured.polarity = Polarity::normal;
      PositionResult position;
      position.arrival_ms = arrival_ms;
      position.arrival_uncertainty_ms = 0.001;
      position.level_db = 20.0 * std::log10(gain);
      position.level_uncertainty_db = 0.005;
      result.measured.positions = {position};
      result.settings.delay_ms = delays_ms[s];
      result.settings.trim_db = trims_db[s];
      calibration.speakers.push_back(result);
    }
    calibration.speakers[0].settings.equaliser = {{FilterShape::peak, 1'250.0, -3.5, 2.0},
                                                  {FilterShape::high_shelf, 6'000.0, -2.4, 0.7}};
    calibration.speakers[3].settings.equaliser = {{FilterShape::peak, 310.0, -5.2, 1.4}};
  }

  /// The ring as it is measured with these settings typed in, by another microphone gain and start.
  [[nodiscard]] PositionMeasurement typed(const std::vector<Settings>& settings) const {
    PositionMeasurement now;
    for (std::size_t s = 0; s < before.speakers.size(); ++s) {
      SpeakerMeasurement speaker = typed_into(before.speakers[s], settings[s]);
      for (float& sample : speaker.response.samples) sample *= 0.7F;
      speaker.level_db->value += 20.0 * std::log10(0.7);
      speaker.arrival_ms->value += 4.56;
      speaker.response.first_sample_ms += 4.56;
      now.speakers.push_back(std::move(speaker));
    }
    return now;
  }

  [[nodiscard]] std::vector<Settings> right() const {
    std::vector<Settings> settings;
    for (const auto& speaker : calibration.speakers) settings.push_back(speaker.settings);
    return settings;
  }
};

}  // namespace ringtrue::test
