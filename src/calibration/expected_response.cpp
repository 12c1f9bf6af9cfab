#include "expected_response.hpp"

#include <array>
#include <cmath>

namespace ringtrue {
namespace {

constexpr std::array nominal_hz{25.0,   31.5,   40.0,    50.0,    63.0,    80.0,    100.0,    125.0,   160.0,   200.0,
                                250.0,  315.0,  400.0,   500.0,   630.0,   800.0,   1'000.0,  1'250.0, 1'600.0, 2'000.0,
                                2500.0, 3150.0, 4'000.0, 5'000.0, 6'300.0, 8'000.0, 10'000.0, 12'500.0};
constexpr int first_index = -16;  // 25 Hz is 1000 10^(-16/10)

}  // namespace

std::span<const double> shown_third_octaves_hz() { return nominal_hz; }

std::vector<double> third_octave_levels_db(const PowerCells& cells, std::span<const double> gain_db) {
  std::vector<double> levels;
  for (std::size_t i = 0; i < nominal_hz.size(); ++i) {
    const double decade = 3.0 + (static_cast<double>(i) + first_index) / 10.0;
    levels.push_back(
        cells.level_db({Hertz{std::pow(10.0, decade - 0.05)}, Hertz{std::pow(10.0, decade + 0.05)}}, gain_db));
  }
  return levels;
}

double deviation_db(std::span<const double> level_db, std::span<const double> target_db,
                    const std::array<double, 2>& band_hz) {
  double count = 0.0, sum = 0.0, square = 0.0;
  for (std::size_t i = 0; i < nominal_hz.size(); ++i) {
    if (nominal_hz[i] < band_hz[0] || nominal_hz[i] > band_hz[1]) continue;
    const double e = level_db[i] - target_db[i];
    count += 1.0;
    sum += e;
    square += e * e;
  }
  return count > 1.0 ? std::sqrt(std::max(0.0, square / count - sum * sum / (count * count))) : 0.0;
}

}  // namespace ringtrue
