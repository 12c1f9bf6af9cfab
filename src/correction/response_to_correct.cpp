#include "ringtrue/correction/response_to_correct.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "log_power.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr double cycles = 60.0;           // tuned on simulated rooms (docs/correction.md)
constexpr double shortest_s = 0.08;       // of the window, likewise
constexpr double tail_share = 0.5;        // of the window that fades out
constexpr double listening_weight = 1.5;  // of the first position among equals
constexpr double least_taper = 0.05;      // as in the bass: 26 dB of taper are undone
constexpr double windows_per_octave = 2.0;

/// Width of the smoothing in octaves.
double smoothing_octaves(double frequency_hz, double transition_hz) {
  struct Point {
    double octave, width;
  };
  const double top = std::log2(8'000.0);
  const double middle = std::min(std::log2(2.0 * transition_hz), top - 1.0);
  const Point points[] = {{std::log2(0.5 * transition_hz), 1.0 / 12.0}, {middle, 1.0 / 3.0}, {top, 2.0 / 3.0}};
  const double x = std::log2(frequency_hz);
  if (x <= points[0].octave) return points[0].width;
  for (int i = 0; i < 2; ++i) {
    const auto [x0, y0] = points[i];
    const auto [x1, y1] = points[i + 1];
    if (x < x1) return y0 * std::pow(y1 / y0, (x - x0) / (x1 - x0));
  }
  return points[2].width;
}

/// One position through windows that shorten as frequency rises.
class WindowedPower {
 public:
  WindowedPower(const HeardResponse& response, Band band) : response_{response} {
    const double step = std::exp2(1.0 / windows_per_octave);
    for (double f = band.low.value(); f < band.high.value() * step; f *= step) {
      const std::size_t length = window_length(f);
      if (!windows_.empty() && windows_.back().length == length) {
        windows_.back().to_hz = f;
      } else {
        windows_.push_back({f, f, length, windowed(f, length)});
      }
    }
  }

  /// Mean power over a width in octaves, the neighbouring windows blended in dB over log frequency.
  [[nodiscard]] double level_db(double frequency_hz, double octaves) const {
    const double reach = std::exp2(0.5 * octaves);
    const auto level = [&](const Window& window) {
      return 10.0 * std::log10(std::max(window.power.mean(frequency_hz / reach, frequency_hz * reach), 1e-30));
    };
    const auto above = std::ranges::find_if(windows_, [&](const Window& w) { return w.to_hz >= frequency_hz; });
    if (above == windows_.end()) return level(windows_.back());
    if (above == windows_.begin() || above->from_hz <= frequency_hz) return level(*above);
    const Window& below = *(above - 1);
    const double share = std::log(frequency_hz / below.to_hz) / std::log(above->from_hz / below.to_hz);
    return (1.0 - share) * level(below) + share * level(*above);
  }

 private:
  struct Window {
    double from_hz, to_hz;  // for which this length is right
    std::size_t length;
    LogPower power;
  };

  [[nodiscard]] std::size_t window_length(double frequency_hz) const {
    const double wanted = std::max(shortest_s, cycles / frequency_hz) * response_.sample_rate_hz;
    const double there = static_cast<double>(response_.samples.size()) - response_.arrival_index;
    return static_cast<std::size_t>(std::max(16.0, std::min(wanted, there)));
  }

  [[nodiscard]] LogPower windowed(double frequency_hz, std::size_t length) const {
    const double lead_s = frequency_hz < 150.0 ? 0.06 : 0.005;
    const auto arrival = static_cast<std::ptrdiff_t>(std::floor(std::max(0.0, response_.arrival_index)));
    const auto lead = std::min(arrival, static_cast<std::ptrdiff_t>(lead_s * response_.sample_rate_hz));
    const auto begin = response_.samples.begin() + (arrival - lead);
    const auto after = std::min(static_cast<std::ptrdiff_t>(length), response_.samples.end() - begin - lead);
    std::vector<double> part(begin, begin + lead + after);
    const auto tail = static_cast<std::ptrdiff_t>(tail_share * static_cast<double>(after));
    for (std::ptrdiff_t n = 0; n < tail; ++n) {
      const double x = (static_cast<double>(n) + 0.5) / static_cast<double>(tail);
      part[static_cast<std::size_t>(lead + after - 1 - n)] *= 0.5 - 0.5 * std::cos(std::numbers::pi * x);
    }
    for (std::ptrdiff_t n = 0; n < lead; ++n) {
      const double x = (static_cast<double>(n) + 0.5) / static_cast<double>(lead);
      part[static_cast<std::size_t>(n)] *= 0.5 - 0.5 * std::cos(std::numbers::pi * x);
    }
    return {part, response_.sample_rate_hz, 2.0};
  }

  HeardResponse response_;
  std::vector<Window> windows_;
};

double undone_taper_db(double frequency_hz, Band sweep_band) {
  return -20.0 * std::log10(std::max(band_taper(frequency_hz, sweep_band), least_taper));
}

/// Levels of one position on a grid.
std::vector<double> levels_of(const HeardResponse& response, std::span<const double> grid_hz, Band band,
                              double transition_hz) {
  const WindowedPower power{response, band};
  std::vector<double> levels;
  for (const double f : grid_hz) {
    levels.push_back(power.level_db(f, smoothing_octaves(f, transition_hz)) + undone_taper_db(f, response.sweep_band));
  }
  return levels;
}

double mean_of(std::span<const double> values) {
  double sum = 0.0;
  for (const double value : values) sum += value;
  return sum / static_cast<double>(values.size());
}

}  // namespace

std::vector<double> correction_grid(Band band) {
  std::vector<double> grid;
  const int first = static_cast<int>(std::ceil(80.0 * std::log10(band.low.value()) - 1e-9));
  for (int k = first; std::pow(10.0, k / 80.0) <= band.high.value() * (1.0 + 1e-9); ++k) {
    grid.push_back(std::pow(10.0, k / 80.0));
  }
  return grid;
}

ResponseToCorrect response_to_correct(std::span<const HeardResponse> positions, Band band, Hertz transition) {
  ResponseToCorrect result;
  result.frequency_hz = correction_grid(band);
  if (result.frequency_hz.empty()) return result;
  std::vector<std::vector<double>> levels;
  std::vector<double> means;
  for (const HeardResponse& position : positions) {
    levels.push_back(levels_of(position, result.frequency_hz, band, transition.value()));
    means.push_back(mean_of(levels.back()));
  }
  const double count = static_cast<double>(positions.size());
  for (std::size_t k = 0; k < result.frequency_hz.size(); ++k) {
    double power = 0.0, mean = 0.0, square = 0.0;
    for (std::size_t p = 0; p < levels.size(); ++p) {
      power += (p == 0 ? listening_weight : 1.0) * std::pow(10.0, levels[p][k] / 10.0);
      const double shape = levels[p][k] - means[p];
      mean += shape / count;
      square += shape * shape / count;
    }
    result.level_db.push_back(10.0 * std::log10(power / (count - 1.0 + listening_weight)));
    result.spread_db.push_back(std::sqrt(std::max(0.0, square - mean * mean)));
  }
  return result;
}

PowerCells::PowerCells(const HeardResponse& response) {
  std::vector<double> samples(response.samples.begin(), response.samples.end());
  const LogPower power{samples, response.sample_rate_hz, 1.0};
  for (int k = 0; k < count; ++k) {
    const double low = std::pow(10.0, (first + k) / 160.0);
    const double high = std::pow(10.0, (first + k + 1) / 160.0);
    const double taper = std::max(band_taper(std::sqrt(low * high), response.sweep_band), least_taper);
    power_.push_back(power.mean(low, high) / (taper * taper));
  }
}

double PowerCells::centre_hz(int cell) { return std::pow(10.0, (first + cell + 0.5) / 160.0); }

std::vector<double> PowerCells::centres_hz() {
  std::vector<double> centres;
  for (int k = 0; k < count; ++k) centres.push_back(centre_hz(k));
  return centres;
}

double PowerCells::level_db(Band band, std::span<const double> gain_db) const {
  double sum = 0.0, weights = 0.0;
  for (int k = 0; k < count; ++k) {
    // A cell that lies across the band's edge counts with its part inside.
    const double low = std::max((first + k) / 160.0, std::log10(band.low.value()));
    const double high = std::min((first + k + 1) / 160.0, std::log10(band.high.value()));
    if (high <= low) continue;
    const auto i = static_cast<std::size_t>(k);
    sum += (high - low) * power_[i] * (gain_db.empty() ? 1.0 : std::pow(10.0, gain_db[i] / 10.0));
    weights += high - low;
  }
  return weights > 0.0 && sum > 0.0 ? 10.0 * std::log10(sum / weights) : -300.0;
}

}  // namespace ringtrue
