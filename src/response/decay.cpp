#include "ringtrue/response/decay.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

#include "ringtrue/dsp/band_filter.hpp"

namespace ringtrue {
namespace {

constexpr double above_noise_db = 7.0;        // where the late slope ends: Lundeby's 5 to 10 dB
constexpr double late_range_db = 20.0;        // over which the late slope is taken: Lundeby's 10 to 20 dB
constexpr double deepest_db = 60.0;           // below the loudest block: what is further down does not move a T30
constexpr double cliff_db = 20.0;             // below the line: no decay falls like that
constexpr double past_crossing_db = 7.5;      // of decay after the crossing, from where on only noise is left
constexpr double least_noise_share = 0.1;     // of the response, to call its end noise
constexpr double noise_margin_db = 10.0;      // ISO 3382-1 4.2.1: 45 dB for T30, 35 dB for T20, less the 5 at the top
constexpr double truncation_margin_db = 5.0;  // a third of the energy at the curve's lower end may be added tail
constexpr double late_top_db = -5.0;
constexpr double early_range_db = 10.0;
constexpr double means_rate_hz = 2'000.0;  // at least, of the means that all but the early curve is made of

double in_db(double power) { return 10.0 * std::log10(std::max(power, 1e-300)); }

struct Line {
  double at_zero = 0.0;
  double slope = 0.0;
};

/// Least-squares line through (i, values[i]) for i in [from, to).
template <class Value>
std::optional<Line> line_through(std::span<const Value> values, std::size_t from, std::size_t to) {
  double n = 0.0, sx = 0.0, sy = 0.0, sxx = 0.0, sxy = 0.0;
  for (std::size_t i = from; i < to; ++i) {
    const double x = static_cast<double>(i);
    const double y = static_cast<double>(values[i]);
    n += 1.0;
    sx += x;
    sy += y;
    sxx += x * x;
    sxy += x * y;
  }
  const double spread = n * sxx - sx * sx;
  if (n < 3.0 || spread <= 0.0) return {};
  const double slope = (n * sxy - sx * sy) / spread;
  return Line{(sy - slope * sx) / n, slope};
}

/// Means of so many samples each; what is left at the end counts for nothing.
template <class Sample>
std::vector<double> means_of(std::span<const Sample> squared, std::size_t together) {
  std::vector<double> means(squared.size() / together);
  const Sample share = Sample{1} / static_cast<Sample>(together);
  for (std::size_t i = 0; i < means.size(); ++i) {
    Sample sum{0};
    for (const Sample x : squared.subspan(i * together, together)) sum += x;
    means[i] = static_cast<double>(share * sum);
  }
  return means;
}

/// Where the decay stops being one, and what stands for the rest of it.
struct DecayEnd {
  double noise_power = 0.0;
  double peak_power = 0.0;  // of the loudest block
  std::size_t end = 0;      // samples; the response's end, or where the late decay meets the noise
  double tail = 0.0;        // energy of the decay after `end`
};

/// The last part of a decay above the noise as a straight line through block levels, x in blocks.
struct LateDecay {
  Line line;
  std::size_t cut = 0;  // the block at which the response was cut off, or the number of blocks
};

std::size_t find_cut(std::span<const double> levels_db, std::size_t from, const Line& line) {
  std::size_t block = from;
  while (block < levels_db.size() &&
         levels_db[block] > line.at_zero + line.slope * static_cast<double>(block) - cliff_db) {
    ++block;
  }
  return block;
}

/// Where the lowest stretch of the decay is too short for a line (a response cut off far above the noise), the line is
/// looked for further up.
std::optional<LateDecay> late_decay(std::span<const double> levels_db, double noise_db) {
  const auto peak = std::ranges::max_element(levels_db);
  double bottom_db = std::max({noise_db + above_noise_db, levels_db.back(), *peak - deepest_db});
  for (; bottom_db < *peak; bottom_db += 5.0) {
    const auto last = std::find_if(peak, levels_db.end(), [&](double level) { return level < bottom_db; });
    auto first = last;
    while (first != peak && *(first - 1) < bottom_db + late_range_db) --first;
    const auto from = static_cast<std::size_t>(first - levels_db.begin());
    const auto line = line_through<double>(levels_db, from, static_cast<std::size_t>(last - levels_db.begin()));
    if (line && line->slope < 0.0) return LateDecay{*line, find_cut(levels_db, from, *line)};
  }
  return {};
}

/// Sums from every sample of a response to its end, of which means and backward integrals are made: added up once, from
/// the end on, where the terms are small.
class TailSums {
 public:
  explicit TailSums(std::span<const double> values) : sums_(values.size() + 1) {
    for (std::size_t i = values.size(); i-- > 0;) sums_[i] = sums_[i + 1] + values[i];
  }
  [[nodiscard]] std::size_t size() const { return sums_.size() - 1; }
  [[nodiscard]] double between(std::size_t from, std::size_t to) const { return sums_[from] - sums_[to]; }
  [[nodiscard]] double mean(std::size_t from, std::size_t to) const {
    return from < to ? between(from, to) / static_cast<double>(to - from) : 0.0;
  }

 private:
  std::vector<double> sums_;
};

std::optional<DecayEnd> find_end(const TailSums& squared, double known_noise, Hertz sample_rate, Seconds block_length) {
  const auto block = static_cast<std::size_t>(std::max(1.0, block_length.value() * sample_rate.value()));
  std::vector<double> levels_db;
  for (std::size_t i = 0; i + block <= squared.size(); i += block) {
    levels_db.push_back(in_db(squared.mean(i, i + block)));
  }
  if (levels_db.size() < 4) return {};
  const auto size = static_cast<double>(squared.size());
  const double latest_noise = (1.0 - least_noise_share) * size;
  const auto mean_from = [&](double from) { return squared.mean(static_cast<std::size_t>(from), squared.size()); };
  DecayEnd result;
  result.peak_power = std::pow(10.0, 0.1 * std::ranges::max(levels_db));
  result.noise_power = std::max(known_noise, mean_from(latest_noise));
  for (int round = 0; round < 5; ++round) {  // the noise depends on the crossing, the crossing on the noise
    const auto late = late_decay(levels_db, in_db(result.noise_power));
    if (!late) return {};
    const double slope_db = late->line.slope / static_cast<double>(block);  // per sample
    const double start_db = late->line.at_zero - 0.5 * late->line.slope;    // a block's level is that of its middle
    const double crossing = (in_db(result.noise_power) - start_db) / slope_db;
    const double cut = late->cut < levels_db.size() ? static_cast<double>(late->cut * block) : size;
    const double end = std::clamp(crossing, 0.0, cut);
    result.end = static_cast<std::size_t>(end);
    result.tail = std::pow(10.0, 0.1 * (start_db + slope_db * end)) / (-slope_db * std::numbers::ln10 / 10.0);
    const double only_noise = crossing - past_crossing_db / slope_db;
    const bool seen = only_noise >= 0.0 && only_noise <= latest_noise;
    const double supposed =
        std::exchange(result.noise_power, seen ? std::max(known_noise, mean_from(only_noise)) : known_noise);
    if (result.noise_power == supposed) break;
  }
  return result;
}

/// A decay's backward integral in dB of its first value, once it is complete. In single precision, many logarithms at
/// once.
class Curve {
 public:
  /// @param lowest_db  the curve ends at the first value below
  Curve(double whole, double lowest_db)
      : share_{1.0 / whole},
        lowest_{whole * std::pow(10.0, 0.1 * (lowest_db - 0.001))} {}  // rounding may not leave it out

  /// @returns false from the last value on
  bool add(double integral) {
    values_.push_back(static_cast<float>(share_ * std::max(integral, 0.0)));
    return integral >= lowest_;
  }
  [[nodiscard]] std::vector<float> in_db() && {
    constexpr float least = 1e-30F;
    constexpr float db = 10.0F / std::numbers::ln10_v<float>;
    Eigen::Map<Eigen::ArrayXf> all{values_.data(), std::ssize(values_)};
    all = db * all.max(least).log();
    return std::move(values_);
  }

 private:
  double share_;
  double lowest_;
  std::vector<float> values_;
};

/// From the means on which it was integrated, for T20 and T30.
std::vector<float> late_curve_db(const TailSums& squared, const DecayEnd& end, double whole, double lowest_db) {
  Curve curve{whole, lowest_db};
  for (std::size_t i = 0; i < end.end; ++i) {
    const double integral = end.tail + squared.between(i, end.end) - end.noise_power * static_cast<double>(end.end - i);
    if (!curve.add(integral)) break;
  }
  return std::move(curve).in_db();
}

/// From every sample, for the early decay time: near a loudspeaker the curve drops at the direct sound, and a line
/// through few values after it would hang on the first.
/// @param whole  of the samples
template <class Sample>
std::vector<float> early_curve_db(std::span<const Sample> squared, double noise_power, double whole, double lowest_db) {
  Curve curve{whole, lowest_db};
  double left = whole;
  for (const Sample x : squared) {
    if (!curve.add(left)) break;
    left -= static_cast<double>(x) - noise_power;
  }
  return std::move(curve).in_db();
}

/// 60 dB over the slope of the curve from `top_db` to `range_db` below that.
std::optional<double> time_over(std::span<const float> curve_db, double top_db, double range_db, Hertz sample_rate) {
  const auto below = [&](double level_db) {
    return std::ranges::find_if(curve_db, [&](float value) { return static_cast<double>(value) < level_db; });
  };
  const auto first = top_db < 0.0 ? below(top_db) : curve_db.begin();
  const auto last = below(top_db - range_db);
  if (last == curve_db.end()) return {};
  const auto line = line_through(curve_db, static_cast<std::size_t>(first - curve_db.begin()),
                                 static_cast<std::size_t>(last - curve_db.begin()));
  if (!line || line->slope >= 0.0) return {};
  return -60.0 / line->slope / sample_rate.value();
}

template <class Sample>
std::optional<DecayTimes> times_of(std::span<const Sample> squared, double noise_power, Hertz sample_rate,
                                   Seconds block) {
  const auto together = static_cast<std::size_t>(std::max(1.0, sample_rate.value() / means_rate_hz));
  const Hertz means_rate{sample_rate.value() / static_cast<double>(together)};
  const TailSums sums{means_of(squared, together)};
  const auto end = find_end(sums, noise_power, means_rate, block);
  if (!end || end->end == 0) return {};
  const double sum = sums.between(0, end->end);
  const double whole = end->tail + sum - end->noise_power * static_cast<double>(end->end);
  if (whole <= 0.0) return {};
  const double above_noise = in_db(end->peak_power) - in_db(end->noise_power);
  const double above_tail = -in_db(end->tail) + in_db(sum);
  const auto allows = [&](double bottom_db) {
    return above_noise >= bottom_db + noise_margin_db && above_tail >= bottom_db + truncation_margin_db;
  };
  DecayTimes times;
  times.range_db = above_noise;
  if (allows(early_range_db)) {
    const auto curve =
        early_curve_db(squared, end->noise_power, whole * static_cast<double>(together), -early_range_db);
    times.early_s = time_over(curve, 0.0, early_range_db, sample_rate);
  }
  const auto curve = late_curve_db(sums, *end, whole, late_top_db - 30.0);
  if (allows(20.0 - late_top_db)) times.t20_s = time_over(curve, late_top_db, 20.0, means_rate);
  if (allows(30.0 - late_top_db)) times.t30_s = time_over(curve, late_top_db, 30.0, means_rate);
  return times;
}

}  // namespace

std::optional<DecayTimes> decay_times(std::span<const double> squared, double noise_power, Hertz sample_rate,
                                      Seconds block) {
  return times_of(squared, noise_power, sample_rate, block);
}

std::optional<DecayTimes> decay_times(std::span<const float> squared, double noise_power, Hertz sample_rate,
                                      Seconds block) {
  return times_of(squared, noise_power, sample_rate, block);
}

std::optional<DecayTime> reverberation_time(std::span<const double> squared, double noise_power, Hertz sample_rate) {
  const auto times = decay_times(squared, noise_power, sample_rate);
  if (!times || !times->t20_s) return {};
  if (!times->t30_s) return DecayTime{*times->t20_s, 20.0, {}};
  return DecayTime{*times->t30_s, 30.0, 100.0 * (*times->t30_s / *times->t20_s - 1.0)};
}

std::optional<double> reverberation_time_s(std::span<const double> squared, double noise_power, Hertz sample_rate) {
  if (const auto time = reverberation_time(squared, noise_power, sample_rate)) return time->seconds;
  return {};
}

std::optional<DecayTime> mid_decay_time(const Takes& takes, const TakeSpectra& spectra, double arrival_index,
                                        Band band) {
  const Band mid{Hertz{1'000.0 / std::numbers::sqrt2 / 2.0}, Hertz{1'000.0 * std::numbers::sqrt2}};
  if (band.low > mid.low || band.high < mid.high) return {};
  const RealFft& fft = spectra.fft;
  // The octaves end below 1.7 kHz: a quarter of the samples (at high rates fewer) holds all of them.
  std::size_t thin = std::bit_floor(static_cast<std::size_t>(std::max(1.0, takes.sample_rate_hz / 11'000.0)));
  while (fft.size() % (2 * thin) != 0) thin /= 2;
  const Band tapered{Hertz{mid.low.value() * std::exp2(-0.25)}, Hertz{mid.high.value() * std::exp2(0.25)}};
  const Hertz rate{takes.sample_rate_hz};
  auto h = thinned_tapered_band(fft, spectra.mean, tapered, 0.5, 0.5, rate, thin);
  const auto noise = thinned_tapered_band(fft, spectra.noise, tapered, 0.5, 0.5, rate, thin);
  const std::size_t size = takes.mean.size() / thin;
  double noise_power = 0.0;
  for (std::size_t n = 0; n < size; ++n) noise_power += noise[n] * noise[n];
  noise_power /= static_cast<double>(size);

  h.resize(size);
  for (double& x : h) x *= x;
  const double first = std::ceil(arrival_index / static_cast<double>(thin));
  const auto from = static_cast<std::size_t>(std::clamp(first, 0.0, static_cast<double>(size - 1)));
  const Hertz thinned{takes.sample_rate_hz / static_cast<double>(thin)};
  return reverberation_time(std::span<const double>{h}.subspan(from), noise_power, thinned);
}

std::optional<double> mid_decay_time_s(const Takes& takes, const TakeSpectra& spectra, double arrival_index,
                                       Band band) {
  if (const auto time = mid_decay_time(takes, spectra, arrival_index, band)) return time->seconds;
  return {};
}

}  // namespace ringtrue
