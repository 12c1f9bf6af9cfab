#include "room_charts.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace ringtrue::page {
namespace {

Axis frequency_axis(const std::vector<double>& x) {
  return {"Frequency in Hz", "Hz", true, {{x.front() / 1.2, x.back() * 1.2}}};
}

bool any(const Series& series) {
  return std::ranges::any_of(series.y, [](const auto& value) { return value.has_value(); });
}

}  // namespace

std::optional<Chart> decay_chart(const RoomResult& room) {
  const auto& bands = room.third_octaves.empty() ? room.octaves : room.third_octaves;
  Series time{"reverberation time", Look::average, {}, {}};
  Series early{"early decay time", Look::second, {}, {}};
  for (const DecayBand& band : bands) {
    time.x.push_back(band.centre_hz);
    time.y.push_back(band.reverberation_s);
    early.y.push_back(band.early_s);
  }
  early.x = time.x;
  if (!any(time)) return std::nullopt;
  return Chart{"decay",
               "How long sound takes to die away",
               "Reverberation time (T30, or T20 where noise allows no more) and early decay time over frequency, mean of "
               "all loudspeakers and mic positions. Gaps: no answer.",
               frequency_axis(time.x),
               {"Seconds", "s", false, {}},
               {},
               {time, early},
               2};
}

std::optional<Chart> noise_chart(const RoomResult& room) {
  Series noise{"background noise", Look::average, {}, {}};
  for (const NoiseReading& reading : room.noise) {
    noise.x.push_back(reading.centre_hz);
    noise.y.emplace_back(reading.level_dbfs);
  }
  if (!any(noise)) return std::nullopt;
  return Chart{"noise",
               "Background noise",
               "Noise at the listening position in octaves, before and after the sweeps.",
               frequency_axis(noise.x),
               {"dB full scale", "dB", false, {}},
               {},
               {noise},
               1};
}

std::optional<Chart> harmonic_chart(const SpeakerResult& speaker, std::size_t index) {
  Chart chart{fmt::format("harmonics-{}", index),
              "Distortion",
              fmt::format("Second and third harmonic of {} against its fundamental, over the fundamental's frequency.",
                          speaker.label),
              {},
              {"dB against the fundamental", "dB", false, {{-90.0, 0.0}}},
              {},
              {},
              1};
  constexpr const char* names[] = {"second harmonic", "third harmonic"};
  constexpr const char* noise_names[] = {"second: noise alone", "third: noise alone"};
  std::vector<double> x;
  for (const HarmonicReading& reading : speaker.measured.room.harmonics) x.push_back(reading.frequency_hz);
  if (x.empty()) return std::nullopt;
  for (std::size_t order = 0; order < 2; ++order) {
    Series level{names[order], order == 0 ? Look::average : Look::after, x, {}};
    Series noise{noise_names[order], Look::position, x, {}};
    for (const HarmonicReading& reading : speaker.measured.room.harmonics) {
      level.y.push_back(reading.level_db[order]);
      noise.y.push_back(reading.noise_db[order]);
    }
    if (any(level)) chart.series.push_back(std::move(level));
    if (any(noise)) chart.series.push_back(std::move(noise));
  }
  if (chart.series.empty()) return std::nullopt;
  chart.x = frequency_axis(x);
  return chart;
}

}  // namespace ringtrue::page
