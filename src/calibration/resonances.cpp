#include <algorithm>
#include <cmath>

#include "ringtrue/response/deconvolution.hpp"
#include "room.hpp"

namespace ringtrue {
namespace {

constexpr double lowest_mode_hz = 25.0;
constexpr double highest_mode_hz = 200.0;
constexpr double fine_octaves = 1.0 / 12.0;
constexpr double broad_octaves = 1.0;
constexpr double least_height_db = 3.0;
constexpr double least_taper = 0.1;
constexpr double mode_within = 0.04;
constexpr std::size_t most = 6;

/// Mean power within half of `octaves` to each side of every grid point, in dB; only points of `use` count.
std::vector<double> smoothed_db(std::span<const double> power, std::span<const double> frequency_hz,
                                const GridRange& use, double octaves) {
  std::vector<double> sums(use.count + 1);
  for (std::size_t i = 0; i < use.count; ++i) {
    sums[i + 1] = sums[i] + power[use.first + i] / frequency_hz[use.first + i];
  }
  std::vector<double> weights(use.count + 1);
  for (std::size_t i = 0; i < use.count; ++i) weights[i + 1] = weights[i] + 1.0 / frequency_hz[use.first + i];
  const auto used = frequency_hz.subspan(use.first, use.count);
  const double reach = std::exp2(0.5 * octaves);
  std::vector<double> level_db(use.count);
  for (std::size_t i = 0; i < use.count; ++i) {
    const auto from = static_cast<std::size_t>(std::ranges::lower_bound(used, used[i] / reach) - used.begin());
    const auto to = static_cast<std::size_t>(std::ranges::upper_bound(used, used[i] * reach) - used.begin());
    level_db[i] = 10.0 * std::log10(std::max((sums[to] - sums[from]) / (weights[to] - weights[from]), 1e-30));
  }
  return level_db;
}

/// Sum over speakers of the fine level over the broad one, and how many speakers there are at each grid point.
struct Bumps {
  std::vector<double> sum_db;
  std::vector<int> speakers;
};

void add_bumps(const BassResponses& responses, std::span<const double> frequency_hz, Band driven, Bumps& bumps) {
  std::vector<double> power(frequency_hz.size());
  for (const auto& position : responses) {
    for (std::size_t k = 0; k < power.size(); ++k) power[k] += std::norm(position[k]);
  }
  GridRange use = grid_range(frequency_hz, {Hertz{0.7 * lowest_mode_hz}, Hertz{1.5 * highest_mode_hz}});
  while (use.count > 0 && band_taper(frequency_hz[use.first], driven) < least_taper) ++use.first, --use.count;
  while (use.count > 0 && band_taper(frequency_hz[use.first + use.count - 1], driven) < least_taper) --use.count;
  if (use.count < 8) return;
  const auto fine = smoothed_db(power, frequency_hz, use, fine_octaves);
  const auto broad = smoothed_db(power, frequency_hz, use, broad_octaves);
  for (std::size_t i = 0; i < use.count; ++i) {
    bumps.sum_db[use.first + i] += fine[i] - broad[i];
    ++bumps.speakers[use.first + i];
  }
}

void name_mode(const std::array<double, 3>& size_m, double c_m_s, Resonance& resonance) {
  const auto axes = [](const BoxMode& mode) { return std::ranges::count_if(mode.order, [](int n) { return n > 0; }); };
  const BoxMode* best = nullptr;
  const auto modes = box_modes(size_m, c_m_s, 1.1 * resonance.frequency_hz);
  const auto off = [&](const BoxMode& mode) { return std::abs(mode.frequency_hz / resonance.frequency_hz - 1.0); };
  for (const BoxMode& mode : modes) {
    if (off(mode) > mode_within) continue;
    if (!best || axes(mode) < axes(*best) || (axes(mode) == axes(*best) && off(mode) < off(*best))) best = &mode;
  }
  if (best == nullptr) return;
  resonance.box_mode_hz = best->frequency_hz;
  resonance.order = best->order;
}

}  // namespace

std::vector<BoxMode> box_modes(const std::array<double, 3>& size_m, double c_m_s, double up_to_hz) {
  std::vector<BoxMode> modes;
  const auto most_of = [&](std::size_t axis) { return static_cast<int>(2.0 * up_to_hz * size_m[axis] / c_m_s); };
  for (int l = 0; l <= most_of(0); ++l) {
    for (int w = 0; w <= most_of(1); ++w) {
      for (int h = 0; h <= most_of(2); ++h) {
        const double f = 0.5 * c_m_s * std::hypot(l / size_m[0], w / size_m[1], h / size_m[2]);
        if (f > 0.0 && f <= up_to_hz) modes.push_back({f, {l, w, h}});
      }
    }
  }
  std::ranges::stable_sort(modes, {}, &BoxMode::frequency_hz);
  return modes;
}

std::vector<Resonance> find_resonances(const Rig& rig, const BassMeasurement& bass,
                                       std::span<const SpeakerResult> speakers) {
  Bumps bumps{std::vector<double>(bass.frequency_hz.size()), std::vector<int>(bass.frequency_hz.size())};
  for (std::size_t s = 0; s < speakers.size(); ++s) {
    if (bass.speakers[s]) add_bumps(*bass.speakers[s], bass.frequency_hz, rig.speakers[s].band, bumps);
  }
  std::vector<double> mean_db;
  for (std::size_t k = 0; k < bumps.sum_db.size(); ++k)
    mean_db.push_back(bumps.sum_db[k] / std::max(bumps.speakers[k], 1));

  std::vector<Resonance> found;
  for (std::size_t k = 1; k + 1 < mean_db.size(); ++k) {
    const double f = bass.frequency_hz[k];
    if (f < lowest_mode_hz || f > highest_mode_hz || mean_db[k] < least_height_db) continue;
    if (mean_db[k] < mean_db[k - 1] || mean_db[k] <= mean_db[k + 1]) continue;
    const double bend = mean_db[k - 1] - 2.0 * mean_db[k] + mean_db[k + 1];
    const double vertex = bend < 0.0 ? 0.5 * (mean_db[k - 1] - mean_db[k + 1]) / bend : 0.0;
    found.push_back({f + vertex * (bass.frequency_hz[1] - bass.frequency_hz[0]), mean_db[k], {}, {}});
  }
  std::ranges::stable_sort(found, std::ranges::greater{}, &Resonance::height_db);
  if (found.size() > most) found.resize(most);
  std::ranges::sort(found, {}, &Resonance::frequency_hz);
  if (!rig.room.size_m) return found;
  const double c = speed_of_sound(Celsius{rig.room.temperature_c}).value();
  for (Resonance& resonance : found) name_mode(*rig.room.size_m, c, resonance);
  return found;
}

}  // namespace ringtrue
