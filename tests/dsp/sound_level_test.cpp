#include "ringtrue/dsp/sound_level.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <fstream>
#include <numbers>
#include <sstream>
#include <string>

using namespace ringtrue;

namespace {

std::vector<float> sine(double frequency_hz, double amplitude, double seconds, double rate_hz = 48e3) {
  std::vector<float> samples(static_cast<std::size_t>(seconds * rate_hz));
  for (std::size_t n = 0; n < samples.size(); ++n) {
    const double t = static_cast<double>(n) / rate_hz;
    samples[n] = static_cast<float>(amplitude * std::sin(2.0 * std::numbers::pi * frequency_hz * t));
  }
  return samples;
}

}  // namespace

TEST_CASE("A C and Z weighting are those of IEC 61672-1 at all 34 frequencies of its table") {
  // Source: IEC 61672-1:2013 Table 3 (printed to 0.1 dB) and its Annex E formula, in shared/reference/weighting.csv.
  std::ifstream file{RINGTRUE_SOURCE_DIR "/../shared/reference/weighting.csv"};
  if (!file) {
    MESSAGE("SKIPPED: ../shared/reference/weighting.csv is not here");
    return;
  }
  std::string line;
  int rows = 0;
  while (std::getline(file, line)) {
    if (line.empty() || line[0] == '#' || line[0] == 'n') continue;
    std::istringstream cells{line};
    std::vector<double> row;
    for (std::string cell; std::getline(cells, cell, ',') && row.size() < 8;) row.push_back(std::stod(cell));
    CAPTURE(row[1]);
    CHECK(std::abs(weighting_db(FrequencyWeighting::a, row[2]) - row[6]) < 6e-5);
    CHECK(std::abs(weighting_db(FrequencyWeighting::c, row[2]) - row[7]) < 6e-5);
    CHECK(std::round(weighting_db(FrequencyWeighting::a, row[2]) * 10.0) == std::round(row[3] * 10.0));
    CHECK(std::round(weighting_db(FrequencyWeighting::c, row[2]) * 10.0) == std::round(row[4] * 10.0));
    CHECK(weighting_db(FrequencyWeighting::z, row[2]) == 0.0);
    ++rows;
  }
  CHECK(rows == 34);
}

TEST_CASE("a weighted sine has its own level plus the weighting") {
  // A sine of amplitude 1 has a mean square of 1/2: -3.0103 dB. 100 Hz: A -19.1428 dB, C -0.2996 dB (Annex E).
  const auto tone = sine(100.0, 1.0, 4.0);
  CHECK(std::abs(equivalent_level_db(weighted(tone, FrequencyWeighting::a, Hertz{48e3})) + 3.0103 + 19.1428) < 0.01);
  CHECK(std::abs(equivalent_level_db(weighted(tone, FrequencyWeighting::c, Hertz{48e3})) + 3.0103 + 0.2996) < 0.01);
  CHECK(std::abs(equivalent_level_db(weighted(tone, FrequencyWeighting::z, Hertz{48e3})) + 3.0103) < 0.001);
}

TEST_CASE("fast and slow rise as their time constants say") {
  // Mean square of an exponential memory after a step: 1 - exp(-t/T). Tone bursts of IEC 61672-1:2013 Table 4, derived
  // from it: 200 ms reads -0.98 dB fast and -7.42 dB slow, 1000 ms reads -2.0 dB slow, against the steady tone.
  const auto burst = [](double seconds, TimeWeighting weighting) {
    const auto tone = sine(4'000.0, std::sqrt(2.0), seconds);
    return time_weighted_db(std::vector<double>{tone.begin(), tone.end()}, weighting, Hertz{48e3}).back();
  };
  CHECK(std::abs(burst(0.2, TimeWeighting::fast) + 0.98) < 0.02);
  CHECK(std::abs(burst(0.2, TimeWeighting::slow) + 7.42) < 0.02);
  CHECK(std::abs(burst(1.0, TimeWeighting::slow) + 1.99) < 0.02);
}
