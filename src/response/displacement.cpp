#include "displacement.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdlib>
#include <vector>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue {
namespace {

constexpr std::ptrdiff_t farthest = 12'000;       // a quarter of a second: the largest buffer that is usual
constexpr std::ptrdiff_t longest_look = 1 << 16;  // frames that are compared
constexpr std::ptrdiff_t least_frames = 6;
constexpr double same = 0.9;
constexpr double other_than_in_place = 0.7;

std::vector<double> cut(std::span<const float> channel, std::ptrdiff_t from, std::ptrdiff_t length) {
  std::vector<double> samples(static_cast<std::size_t>(length));
  for (std::ptrdiff_t i = 0; i < length; ++i) {
    const std::ptrdiff_t n = from + i;
    if (n >= 0 && n < std::ssize(channel)) {
      samples[static_cast<std::size_t>(i)] = static_cast<double>(channel[static_cast<std::size_t>(n)]);
    }
  }
  return samples;
}

double energy(std::span<const double> x) {
  double sum = 0.0;
  for (const double sample : x) sum += sample * sample;
  return sum;
}

double energy_between(std::span<const float> channel, std::ptrdiff_t from, std::ptrdiff_t to) {
  return energy(cut(channel, from, std::max<std::ptrdiff_t>(0, to - from)));
}

/// How alike a stretch is to each place of a longer one: correlations from -1 to 1, by lag from 0 on.
std::vector<double> likeness(std::span<const double> stretch, std::span<const double> longer) {
  const RealFft fft{good_fft_size(longer.size() + stretch.size())};
  const auto a = spectrum(fft, stretch);
  auto bins = spectrum(fft, longer);
  for (std::size_t k = 0; k < bins.size(); ++k) bins[k] *= std::conj(a[k]);
  std::vector<double> products(fft.size());
  fft.inverse(bins, products);
  const double own = energy(stretch);
  double there = energy(longer.first(stretch.size()));
  std::vector<double> result;
  for (std::size_t lag = 0; lag + stretch.size() <= longer.size(); ++lag) {
    result.push_back(own > 0.0 && there > 0.0 ? products[lag] / std::sqrt(own * there) : 0.0);
    if (lag + stretch.size() == longer.size()) break;
    there += longer[lag + stretch.size()] * longer[lag + stretch.size()] - longer[lag] * longer[lag];
  }
  return result;
}

/// Where a stretch of one take is found around the same place of the other.
struct Match {
  double likeness = 0.0;
  double in_place = 0.0;     // its likeness there
  std::ptrdiff_t later = 0;  // frames by which the other take has it later
};

Match match(std::span<const float> channel, std::ptrdiff_t from, std::ptrdiff_t other, std::ptrdiff_t length) {
  const auto alike = likeness(cut(channel, from, length), cut(channel, other - farthest, length + 2 * farthest));
  const auto best = std::ranges::max_element(alike) - alike.begin();
  return {alike[static_cast<std::size_t>(best)], alike[static_cast<std::size_t>(farthest)], best - farthest};
}

}  // namespace

std::optional<Displacement> find_displacement(std::span<const float> channel, std::array<std::ptrdiff_t, 2> starts,
                                              std::ptrdiff_t from, std::ptrdiff_t to, std::ptrdiff_t sweep_from,
                                              std::ptrdiff_t sweep_to) {
  const std::ptrdiff_t begin = std::max(from, sweep_from);
  const std::ptrdiff_t length = std::min(std::min(to, sweep_to) - begin, longest_look);
  constexpr std::ptrdiff_t shortest_look = 2'048;
  if (length < shortest_look) return {};
  // Both ways: what one take has lost is in the other only.
  const Match first = match(channel, starts[0] + begin, starts[1] + begin, length);
  const Match second = match(channel, starts[1] + begin, starts[0] + begin, length);
  const bool by_first = first.likeness >= second.likeness;
  const Match& best = by_first ? first : second;
  const std::ptrdiff_t late = by_first ? best.later : -best.later;  // of the second take's part against the first one's
  if (best.likeness < same || std::abs(late) < least_frames || best.in_place > other_than_in_place) return {};

  const std::size_t early_take = late > 0 ? 0 : 1;
  const std::size_t late_take = 1 - early_take;
  const std::ptrdiff_t size = std::abs(late);
  const auto louder = [&](std::size_t one, std::size_t other, std::ptrdiff_t begins, std::ptrdiff_t ends) {
    constexpr double plainly = 4.0;
    return energy_between(channel, starts[one] + begins, starts[one] + ends) >
           plainly * energy_between(channel, starts[other] + begins, starts[other] + ends);
  };
  const bool at_the_start = begin - sweep_from < sweep_to - (begin + length);
  if (at_the_start) {
    // Frames put in push the beginning of their own sweep ahead of its time; frames lost delay the other one's.
    const bool ahead = louder(early_take, late_take, sweep_from - size, sweep_from - size / 4);
    return Displacement{static_cast<double>(size), ahead, static_cast<int>(ahead ? early_take : late_take)};
  }
  const bool ends_early = louder(late_take, early_take, sweep_to - size, sweep_to - size / 4);
  return Displacement{static_cast<double>(size), !ends_early, static_cast<int>(ends_early ? early_take : late_take)};
}

}  // namespace ringtrue
