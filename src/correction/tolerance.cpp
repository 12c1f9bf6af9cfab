#include "ringtrue/correction/tolerance.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {

std::array<double, 2> room_response_tolerance_db(double frequency_hz) {
  const double octaves = std::clamp(std::log2(frequency_hz / 2'000.0), 0.0, 3.0);
  return {-3.0 - octaves, 3.0};
}

int outside_tolerance(std::span<const double> third_octave_hz, std::span<const double> level_db,
                      const std::array<double, 2>& band_hz) {
  double mean = 0.0, count = 0.0;
  for (std::size_t i = 0; i < third_octave_hz.size(); ++i) {
    if (third_octave_hz[i] < 200.0 || third_octave_hz[i] > 4'000.0) continue;
    mean += level_db[i];
    count += 1.0;
  }
  int outside = 0;
  for (std::size_t i = 0; i < third_octave_hz.size() && count > 0.0; ++i) {
    const double f = third_octave_hz[i];
    if (f < std::max(50.0, band_hz[0]) || f > std::min(16'000.0, band_hz[1])) continue;
    const auto [low, high] = room_response_tolerance_db(f);
    const double level = level_db[i] - mean / count;
    outside += level < low || level > high;
  }
  return outside;
}

}  // namespace ringtrue
