#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <span>
#include <vector>

#include "ringtrue/core/statistics.hpp"
#include "ringtrue/dsp/nonnegative_least_squares.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/response/arrival.hpp"
#include "ringtrue/response/subwoofer_filter.hpp"
#include "ringtrue/response/subwoofer_model.hpp"

namespace ringtrue {
namespace {

constexpr double grid_hz = 1'000.0;      // the fit runs on 1 ms: four times over a sub's highest frequency
constexpr double search_after_s = 0.03;  // the first strong lobe, after the earliest arrival of the ring
constexpr double search_before_s = 0.03;
constexpr double strong = 0.5;     // of the largest lobe in that stretch; room modes may build up later
constexpr int fitted_before = 60;  // grid steps of response fitted before and after its first strong lobe
constexpr int fitted_after = 16;
constexpr int latest_onset = 2;  // grid steps around that lobe in which the onset is looked for
constexpr int earliest_onset = -28;
constexpr double onset_above_noise = 5.0;

// Tuned on 150 responses in 60 simulated rooms (tests/independent, all models, 45 dB to -58 dBFS of noise): an onset
// explains the response when 13 % of it is left over. The latest one that does lies 2.55 ms after the true onset with a
// standard deviation of 0.45 ms; the sign for which it is later was right 150 times, with 2.5 ms or more to spare.
constexpr double enough_explained = 0.13;
constexpr double roughly_explained = 0.2;  // a second look that must give the same sign
constexpr double onset_bias_ms = 2.55;
constexpr double onset_deviation_ms = 0.6;  // more than seen: other rooms differ
constexpr double sign_margin = 2.5;         // grid steps
// Of the few whose sign stayed unsure: 5 to 9 ms early, in rooms whose first echoes hide the onset.
constexpr double unsure_deviation_ms = 5.0;

/// One model's echoes against the response: everything a fit needs, for any choice of onset.
class EchoFit {
 public:
  /// @param h  the response around its first strong lobe at h[fitted_before]
  EchoFit(std::span<const double> h, std::span<const double> model) : columns_{fitted_after - earliest_onset} {
    for (auto& both : known_) both.fill(-1.0);
    const auto period = std::ssize(model);
    const auto columns = static_cast<std::size_t>(columns_);
    for (const double x : h) energy_ += x * x;
    // Column c, row n of the fit's matrix is the model at n - c: what all columns see, in one row.
    std::vector<double> row(columns + h.size());
    for (std::size_t i = 0; i < row.size(); ++i) {
      const auto lag =
          static_cast<std::ptrdiff_t>(i) - static_cast<std::ptrdiff_t>(columns) - fitted_before - earliest_onset;
      row[i] = model[static_cast<std::size_t>((lag % period + period) % period)];
    }
    const auto at = [&](std::size_t n, std::size_t c) { return row[columns + n - c]; };
    gram_.resize(columns * columns);
    target_.resize(columns);
    for (std::size_t i = 0; i < columns; ++i) {
      for (std::size_t n = 0; n < h.size(); ++n) target_[i] += at(n, i) * h[n];
    }
    // Both columns one later: a product comes in at the top and one goes out at the bottom.
    for (std::size_t j = 0; j < columns; ++j) {
      double sum = 0.0;
      for (std::size_t n = 0; n < h.size(); ++n) sum += at(n, j) * at(n, 0);
      gram_[j * columns] = gram_[j] = sum;
    }
    for (std::size_t i = 1; i < columns; ++i) {
      for (std::size_t j = 1; j <= i; ++j) {
        const double sum = gram_[(i - 1) * columns + j - 1] + at(0, i) * at(0, j) -
                           row[columns + h.size() - i] * row[columns + h.size() - j];
        gram_[i * columns + j] = gram_[j * columns + i] = sum;
      }
    }
  }

  /// Share of the response (rms) left over when its first echo comes no earlier than `onset` grid steps from the
  /// lobe and all echoes have the given sign.
  [[nodiscard]] double left_over(int onset, double sign) const {
    double& known = known_[static_cast<std::size_t>(onset - earliest_onset)][sign > 0.0 ? 0 : 1];
    if (known < 0.0) known = solve(onset, sign);
    return known;
  }

 private:
  /// Onsets are asked for one after another: the echoes of the last one are near those of the next.
  [[nodiscard]] double solve(int onset, double sign) const {
    const auto skip = static_cast<std::size_t>(onset - earliest_onset);
    const auto all = static_cast<std::size_t>(columns_);
    const std::size_t n = all - skip;
    std::vector<double> gram(n * n);
    std::vector<double> target(n);
    for (std::size_t i = 0; i < n; ++i) {
      target[i] = sign * target_[skip + i];
      for (std::size_t j = 0; j < n; ++j) gram[i * n + j] = gram_[(skip + i) * all + skip + j];
    }
    std::vector<double>& last = last_[sign > 0.0 ? 0 : 1];
    std::vector<double> near(n);  // the last echo of both is the latest
    for (std::size_t i = 0; i < std::min(n, last.size()); ++i) near[n - 1 - i] = last[last.size() - 1 - i];
    auto solution = nonnegative_least_squares(gram, target, energy_, near);
    last = std::move(solution.x);
    return solution.residual / std::sqrt(energy_);
  }

  int columns_;
  double energy_ = 0.0;
  mutable std::array<std::vector<double>, 2> last_;  // echoes found last, by sign
  /// What was asked before, by onset and sign: two looks ask for much the same. Negative: not yet.
  mutable std::array<std::array<double, 2>, fitted_after - earliest_onset> known_;
  std::vector<double> gram_;
  std::vector<double> target_;
};

/// Filters with subwoofer_taper and thins out to the grid: sample m of the result is m ms after sample 0.
std::vector<double> on_grid(const Takes& takes, std::span<const float> samples, Band band) {
  const RealFft fft{good_fft_size(2 * samples.size())};
  const double df = takes.sample_rate_hz / static_cast<double>(fft.size());
  auto bins = spectrum(fft, samples);
  const auto passed = std::min(bins.size(), static_cast<std::size_t>(subwoofer_taper_end.value() / df) + 1);
  for (std::size_t k = 0; k < passed; ++k) bins[k] *= subwoofer_taper(static_cast<double>(k) * df, band);
  std::fill(bins.begin() + static_cast<std::ptrdiff_t>(passed), bins.end(), 0.0);
  Scratch<double> fine(fft.size());
  fft.inverse(bins, fine);
  std::vector<double> thinned;
  const double ratio = takes.sample_rate_hz / grid_hz;
  for (double n = 0.0; n + 1.0 < static_cast<double>(samples.size()); n += ratio) {
    const auto i = static_cast<std::size_t>(n);
    const double part = n - std::floor(n);  // the band ends at a hundredth of the sample rate: straight lines serve
    thinned.push_back((1.0 - part) * fine[i] + part * fine[i + 1]);
  }
  return thinned;
}

struct LatestOnsets {
  double positive = earliest_onset - 1.0;  // grid steps from the first strong lobe; below earliest_onset: none
  double negative = earliest_onset - 1.0;
};

/// The latest onset of either sign that explains the response, over all models; the search for one sign ends where it
/// could no longer matter for the other.
LatestOnsets latest_onsets(const std::vector<EchoFit>& fits, double enough) {
  LatestOnsets found;
  std::array<std::vector<double>, 2> before{std::vector<double>(fits.size(), 1.0),
                                            std::vector<double>(fits.size(), 1.0)};
  for (int onset = latest_onset; onset >= earliest_onset; --onset) {
    for (const std::size_t which : {0U, 1U}) {
      double& latest = which == 0 ? found.positive : found.negative;
      if (latest >= earliest_onset) continue;
      for (std::size_t m = 0; m < fits.size(); ++m) {
        const double left = fits[m].left_over(onset, which == 0 ? 1.0 : -1.0);
        if (left < enough) {  // between this step and the last one the remainder crosses `enough`
          const double last = std::max(before[which][m], enough * 1.000001);
          latest = std::max(latest, onset + std::log(enough / left) / std::log(last / left));
        }
        before[which][m] = left;
      }
    }
    const double better = std::max(found.positive, found.negative);
    if (better >= earliest_onset && onset < better - sign_margin - 1.0) break;
  }
  return found;
}

}  // namespace

std::optional<SubwooferOnset> subwoofer_onset(const Takes& takes, Band band) {
  const auto h = on_grid(takes, takes.mean, band);
  const auto noise = on_grid(takes, takes.noise, band);
  const double zero = static_cast<double>(takes.zero_index) / takes.sample_rate_hz * grid_hz;
  const auto last = std::ssize(h) - fitted_after - 1;
  const auto from = std::clamp<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(zero - search_before_s * grid_hz), 0, last);
  const auto to = std::clamp<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(zero + search_after_s * grid_hz), from, last);
  const auto louder = [](double a, double b) { return std::abs(a) < std::abs(b); };
  const double highest = std::abs(*std::max_element(h.begin() + from, h.begin() + to, louder));
  auto peak =
      std::find_if(h.begin() + from, h.begin() + to, [&](double x) { return std::abs(x) >= strong * highest; }) -
      h.begin();
  while (peak + 1 < to && louder(h[static_cast<std::size_t>(peak)], h[static_cast<std::size_t>(peak + 1)])) ++peak;
  const double height = std::abs(h[static_cast<std::size_t>(peak)]);
  const double noise_rms = rms(noise);
  if (height <= onset_above_noise * noise_rms || height <= 0.0) return {};

  std::vector<double> around(fitted_before + fitted_after);  // that lobe at [fitted_before]
  for (std::ptrdiff_t i = 0; i < std::ssize(around); ++i) {
    const std::ptrdiff_t n = peak - fitted_before + i;
    if (n >= 0) around[static_cast<std::size_t>(i)] = h[static_cast<std::size_t>(n)];
  }
  std::vector<EchoFit> fits;
  for (const auto& model : subwoofer_models(band, grid_hz)) fits.emplace_back(around, model);
  const double noise_share = noise_rms / std::max(rms(around), 1e-30);
  const LatestOnsets onsets = latest_onsets(fits, std::max(enough_explained, 1.5 * noise_share));

  const LatestOnsets roughly = latest_onsets(fits, std::max(roughly_explained, 1.5 * noise_share));

  SubwooferOnset result;
  const double onset = std::max(onsets.positive, onsets.negative);
  const bool explained = onset >= earliest_onset;
  const double lead = onsets.positive - onsets.negative;
  const bool agree = lead * (roughly.positive - roughly.negative) > 0.0;
  if (explained && agree && std::abs(lead) >= sign_margin) {
    result.sign = onsets.positive > onsets.negative ? WooferSign::positive : WooferSign::negative;
  }
  const double to_samples = takes.sample_rate_hz / 1e3;  // grid steps are milliseconds
  const double where = static_cast<double>(peak) + (explained ? onset : 0.5 * earliest_onset) - onset_bias_ms;
  const double known_ms = result.sign == WooferSign::unsure ? unsure_deviation_ms : onset_deviation_ms;
  const double doubt = explained ? known_ms : -0.3 * earliest_onset;
  result.arrival = {where * to_samples, doubt * to_samples, 20.0 * std::log10(height), 0.0,
                    20.0 * std::log10(height / std::max(noise_rms, 1e-15))};
  return result;
}

std::optional<Arrival> subwoofer_arrival(const Takes& takes, Band band) {
  if (const auto onset = subwoofer_onset(takes, band)) return onset->arrival;
  return {};
}

}  // namespace ringtrue
