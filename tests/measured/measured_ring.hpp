#pragma once

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <numbers>
#include <optional>
#include <sstream>
#include <string>
#include <vector>

#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/dsp/band_filter.hpp"
#include "ringtrue/response/decay.hpp"
#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

// Measurements that others made in real rooms, played through the virtual room. They stay where they are
// (../shared/data beside the project, or $RINGTRUE_SHARED/data): nothing of them is part of the project. What is known
// of each stands in the tables beside it and in docs/measured-rooms.md.

namespace ringtrue::test {

/// One folder of the measurements; empty, with a message, where they are not at hand.
[[nodiscard]] inline std::optional<std::filesystem::path> measured_folder(const char* name) {
  const char* const shared = std::getenv("RINGTRUE_SHARED");
  const std::filesystem::path root{shared != nullptr ? shared : RINGTRUE_SOURCE_DIR "/../shared"};
  if (std::filesystem::exists(root / "data" / name)) return root / "data" / name;
  MESSAGE("SKIPPED: " << (root / "data" / name).string() << " is not here");
  return {};
}

using Row = std::map<std::string, std::string>;

/// A table of comma-separated values without quotes.
[[nodiscard]] inline std::vector<Row> read_table(const std::filesystem::path& path) {
  std::ifstream file{path};
  const auto cells = [&](std::string line) {
    std::vector<std::string> result;
    if (line.ends_with('\r')) line.pop_back();
    std::istringstream stream{line};
    for (std::string cell; std::getline(stream, cell, ',');) result.push_back(cell);
    return result;
  };
  std::string line;
  std::getline(file, line);
  const auto header = cells(line);
  std::vector<Row> rows;
  while (std::getline(file, line)) {
    const auto values = cells(line);
    Row row;
    for (std::size_t i = 0; i < std::min(values.size(), header.size()); ++i) row[header[i]] = values[i];
    rows.push_back(row);
  }
  return rows;
}

[[nodiscard]] inline double number(const Row& row, const std::string& column) { return std::stod(row.at(column)); }

/// A ring whose speakers are measured responses, and a still recorder with a loopback.
struct MeasuredRing {
  Rig rig;
  VirtualRoom room;

  explicit MeasuredRing(std::size_t positions) {
    rig.layout = "custom";
    rig.positions.assign(positions, MicPosition{});
    room.absorption.fill(0.5);
    room.noise_dbfs = -110.0;
  }

  /// @param files  one per mic position: "file.wav#CHANNEL"
  void add(const std::string& label, std::vector<std::string> files, double gain_db = 0.0) {
    Speaker speaker;
    speaker.label = label;
    speaker.output = static_cast<int>(rig.speakers.size()) + 1;
    rig.speakers.push_back(speaker);
    VirtualSpeaker played;
    played.label = label;
    played.impulse_response_files = std::move(files);
    played.gain_db = gain_db;
    room.speakers.push_back(played);
  }
};

[[nodiscard]] inline std::vector<PositionMeasurement> measure_all(const Rig& rig, const VirtualRoom& room) {
  const Stimulus stimulus = plan_stimulus(rig, {});
  std::vector<PositionMeasurement> measurements;
  for (std::size_t p = 0; p < rig.positions.size(); ++p) {
    const Recording recording = capture(room, rig, stimulus, p);
    REQUIRE(*std::ranges::max_element(recording.microphone) < 0.99F);  // a clipped one would prove nothing
    measurements.push_back(measure(rig, stimulus, recording));
  }
  return measurements;
}

[[nodiscard]] inline double arrival_ms(const SpeakerMeasurement& speaker) {
  REQUIRE(speaker.arrival_ms);
  return speaker.arrival_ms->value;
}

/// Index of the arrival in a kept response.
[[nodiscard]] inline std::size_t arrival_index(const SpeakerMeasurement& speaker) {
  const double after_start_ms = arrival_ms(speaker) - speaker.response.first_sample_ms;
  return static_cast<std::size_t>(std::lround(after_start_ms * 1e-3 * speaker.response.sample_rate_hz));
}

/// Decay of one octave from a kept response, its noise found from itself.
[[nodiscard]] inline std::optional<DecayTime> octave_decay(const SpeakerMeasurement& speaker, double centre_hz) {
  const auto& samples = speaker.response.samples;
  const std::vector<double> h(samples.begin(), samples.end());
  const RealFft fft{good_fft_size(2 * h.size())};
  const Band octave{Hertz{centre_hz * std::exp2(-0.625)}, Hertz{centre_hz * std::exp2(0.625)}};  // half way down at the
  const Hertz rate{speaker.response.sample_rate_hz};                                             // octave's edges
  auto filtered = tapered_band(fft, spectrum(fft, std::span<const double>{h}), octave, 0.25, 0.25, rate);
  filtered.resize(h.size());
  for (double& x : filtered) x *= x;
  return reverberation_time(std::span<const double>{filtered}.subspan(arrival_index(speaker)), 0.0, rate);
}

[[nodiscard]] inline double mean_of(const std::vector<double>& values) {
  double sum = 0.0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

[[nodiscard]] inline double deviation_of(const std::vector<double>& values) {
  const double mean = mean_of(values);
  double sum = 0.0;
  for (const double value : values) sum += (value - mean) * (value - mean);
  return std::sqrt(sum / static_cast<double>(values.size()));
}

[[nodiscard]] inline double spread_of(const std::vector<double>& values) {
  const auto [low, high] = std::ranges::minmax(values);
  return high - low;
}

}  // namespace ringtrue::test
