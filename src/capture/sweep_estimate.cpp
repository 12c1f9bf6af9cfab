#include "sweep_estimate.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <vector>

namespace ringtrue {
namespace {

constexpr double used_above_peak_ratio = 0.25;
constexpr std::size_t fewest_crossings = 10;
constexpr std::size_t most_points = 2'000;
constexpr double largest_misfit = 0.5;  // crossings, rms

struct Crossing {
  double time_s;
  double index;  // counted from 0
};

/// Zero crossings between the first and the last sample above a quarter of the peak, by linear interpolation.
std::vector<Crossing> find_crossings(std::span<const double> samples, double sample_rate) {
  const auto magnitude = [](double x) { return std::abs(x); };
  const double loud = used_above_peak_ratio * std::abs(*std::ranges::max_element(samples, {}, magnitude));
  const auto is_loud = [loud](double x) { return std::abs(x) >= loud && x != 0.0; };
  const auto first = std::ranges::find_if(samples, is_loud);
  auto last = samples.end();
  while (last > first && !is_loud(*(last - 1))) --last;
  std::vector<Crossing> crossings;
  double before = 0.0;
  for (auto x = first; x < last; ++x) {
    if (before * *x < 0.0) {
      const double share = before / (before - *x);  // from the sample before
      const double place = static_cast<double>(x - samples.begin()) - 1.0 + share;
      crossings.push_back({place / sample_rate, static_cast<double>(crossings.size())});
    }
    if (*x != 0.0) before = *x;
  }
  return crossings;
}

std::vector<Crossing> thinned(const std::vector<Crossing>& crossings) {
  const std::size_t stride = crossings.size() / most_points + 1;
  std::vector<Crossing> kept;
  for (std::size_t i = 0; i < crossings.size(); i += stride) kept.push_back(crossings[i]);
  return kept;
}

/// Regression of the crossings' numbers on exp((t - t_ref) / L); t_ref is the last crossing, so nothing overflows.
struct Fit {
  double slope = 0.0;  // A exp(t_ref / L)
  double misfit = std::numeric_limits<double>::infinity();
};

Fit fit_for(const std::vector<Crossing>& points, double L) {
  const double t_ref = points.back().time_s;
  double e_sum = 0.0;
  double k_sum = 0.0;
  double ee_sum = 0.0;
  double ek_sum = 0.0;
  double kk_sum = 0.0;
  const double k_ref = points.back().index;  // centred numbers keep digits
  for (const auto& [t, index] : points) {
    const double e = std::expm1((t - t_ref) / L);
    const double k = index - k_ref;
    e_sum += e;
    k_sum += k;
    ee_sum += e * e;
    ek_sum += e * k;
    kk_sum += k * k;
  }
  const auto n = static_cast<double>(points.size());
  const double ee = ee_sum - e_sum * e_sum / n;
  const double ek = ek_sum - e_sum * k_sum / n;
  const double kk = kk_sum - k_sum * k_sum / n;
  const double slope = ek / ee;
  return {slope, std::sqrt(std::max(0.0, kk - slope * ek) / n)};
}

/// Least misfit over L: a coarse search in log L over all ratios f2/f1 from 1.05 to e^20, then golden sections.
double best_rate_constant(const std::vector<Crossing>& points) {
  const double length = points.back().time_s - points.front().time_s;
  const auto misfit = [&points](double log_L) { return fit_for(points, std::exp(log_L)).misfit; };
  constexpr double step = 0.15;
  double low = std::log(length / 20.0);
  const double top = std::log(length * 20.0);
  double best = low;
  for (double at = low; at < top; at += step) {
    if (misfit(at) < misfit(best)) best = at;
  }
  low = best - step;
  double high = best + step;
  constexpr double golden = 0.6180339887498949;
  double a = high - golden * (high - low);
  double b = low + golden * (high - low);
  double at_a = misfit(a);
  double at_b = misfit(b);
  while (high - low > 1e-9) {
    if (at_a < at_b) {
      high = b;
      b = a;
      at_b = at_a;
      a = high - golden * (high - low);
      at_a = misfit(a);
    } else {
      low = a;
      a = b;
      at_a = at_b;
      b = low + golden * (high - low);
      at_b = misfit(b);
    }
  }
  return std::exp(0.5 * (low + high));
}

}  // namespace

std::optional<SweepLaw> estimate_sweep_law(std::span<const double> samples, Hertz sample_rate) {
  if (samples.empty()) return std::nullopt;
  const double fs = sample_rate.value();
  const std::vector<Crossing> crossings = find_crossings(samples, fs);
  if (crossings.size() < fewest_crossings) return std::nullopt;
  const std::vector<Crossing> points = thinned(crossings);
  const double L = best_rate_constant(points);
  const Fit fit = fit_for(points, L);
  if (!(fit.misfit < largest_misfit && fit.slope > 0.0)) return std::nullopt;
  const auto frequency_at = [&](double t) { return fit.slope / (2.0 * L) * std::exp((t - points.back().time_s) / L); };
  const double end_s = static_cast<double>(samples.size() - 1) / fs;
  return SweepLaw{{Hertz{frequency_at(0.0)}, Hertz{frequency_at(end_s)}}, Seconds{L}};
}

}  // namespace ringtrue
