#include "fit_model.hpp"

#include <cmath>
#include <numbers>

namespace ringtrue {
namespace {

constexpr double boost_share = 0.2;   // b: what a dB of boost costs against a dB left; tuned (docs/correction.md)
constexpr double level_share = 0.05;  // c: what a dB of level costs: a broad cut is better made by the trim
constexpr double limit_share = 30.0;  // the same beyond the limit of the sum
constexpr double limit_margin_db = 0.03;

/// Cost of boosts per frequency as residuals, and their slope.
Eigen::ArrayXd boost_residual(const Eigen::ArrayXd& gain, double most_db) {
  return boost_share * gain.max(0.0) + limit_share * (gain - (most_db - limit_margin_db)).max(0.0);
}

Eigen::ArrayXd boost_slope(const Eigen::ArrayXd& gain, double most_db) {
  return boost_share * (gain > 0.0).cast<double>() + limit_share * (gain > most_db - limit_margin_db).cast<double>();
}

Filter moved(const Filter& filter, int parameter, double by) {
  Filter result = filter;
  if (parameter == 0) result.frequency_hz *= std::exp(by);
  if (parameter == 1) result.gain_db += by;
  if (parameter == 2) result.q *= std::exp(by);
  return result;
}

}  // namespace

FitModel::FitModel(std::span<const WantedCorrection> speakers, const EqualiserLimits& limits)
    : speakers_{speakers},
      sample_rate_hz_{limits.sample_rate_hz},
      most_boost_db_{std::max(0.0, limits.gain_range_db[1])} {
  for (const WantedCorrection& speaker : speakers) {
    const auto count = std::ssize(speaker.gain_db);
    wanted_.push_back(Eigen::Map<const Eigen::ArrayXd>(speaker.gain_db.data(), count));
    weights_.push_back(Eigen::Map<const Eigen::ArrayXd>(speaker.weight.data(), count));
    const double sum = weights_.back().sum();
    if (sum > 0.0) weights_.back() /= sum;
  }
  const auto& f = frequency_hz();
  half_sine_square_ =
      (Eigen::Map<const Eigen::ArrayXd>(f.data(), std::ssize(f)) * std::numbers::pi / sample_rate_hz_).sin().square();
}

/// |b0 + b1/z + b2/z^2|^2 = (b0 + b1 + b2)^2 - 4 (b0 b1 + 4 b0 b2 + b1 b2) s + 16 b0 b2 s^2, s = sin^2(w/2): the
/// cookbook's own advice for gains at low frequencies.
Eigen::ArrayXd FitModel::gain_of(const Filter& filter) const {
  const Biquad s = section_of(filter, Hertz{sample_rate_hz_});
  const auto square = [&](double c0, double c1, double c2) -> Eigen::ArrayXd {
    const double sum = c0 + c1 + c2;
    return sum * sum - 4.0 * (c0 * c1 + 4.0 * c0 * c2 + c1 * c2) * half_sine_square_ +
           16.0 * c0 * c2 * half_sine_square_.square();
  };
  return 10.0 / std::numbers::ln10 * (square(s.b0, s.b1, s.b2) / square(1.0, s.a1, s.a2)).log();
}

Eigen::ArrayXd FitModel::gain_of(std::span<const Slot> slots, std::size_t speaker) const {
  Eigen::ArrayXd gain = Eigen::ArrayXd::Zero(half_sine_square_.size());
  for (const Slot& slot : slots) {
    if (slot.serves(speaker)) gain += gain_of(slot.filter);
  }
  return gain;
}

Eigen::ArrayXd FitModel::left(const Eigen::ArrayXd& gain, std::size_t speaker) const {
  const Eigen::ArrayXd rest = wanted_[speaker] - gain;
  return rest - (weights_[speaker] * rest).sum();
}

double FitModel::cost(const Eigen::ArrayXd& gain, std::size_t speaker) const {
  const double even = 1.0 / static_cast<double>(gain.size());
  return (weights_[speaker] * left(gain, speaker).square()).sum() +
         even * boost_residual(gain, most_boost_db_).square().sum() +
         std::pow(level_share * (weights_[speaker] * gain).sum(), 2.0);
}

double FitModel::cost(std::span<const Slot> slots) const {
  double sum = 0.0;
  for (std::size_t m = 0; m < speaker_count(); ++m) sum += cost(gain_of(slots, m), m);
  return sum;
}

void FitModel::normal_equations(std::span<const Slot> slots, Eigen::MatrixXd& square, Eigen::VectorXd& downhill) const {
  constexpr std::array<double, 3> small{1e-4, 1e-3, 1e-3};
  const auto points = half_sine_square_.size();
  const auto parameters = 3 * std::ssize(slots);
  Eigen::MatrixXd slope(points, parameters);
  for (std::ptrdiff_t i = 0; i < std::ssize(slots); ++i) {
    const Filter& filter = slots[static_cast<std::size_t>(i)].filter;
    const Eigen::ArrayXd here = gain_of(filter);
    for (int p = 0; p < 3; ++p) {
      slope.col(3 * i + p) =
          (gain_of(moved(filter, p, small[static_cast<std::size_t>(p)])) - here) / small[static_cast<std::size_t>(p)];
    }
  }
  square = Eigen::MatrixXd::Zero(parameters, parameters);
  downhill = Eigen::VectorXd::Zero(parameters);
  const double even = 1.0 / static_cast<double>(points);
  for (std::size_t m = 0; m < speaker_count(); ++m) {
    Eigen::MatrixXd own = slope;
    for (std::ptrdiff_t i = 0; i < std::ssize(slots); ++i) {
      if (!slots[static_cast<std::size_t>(i)].serves(m)) own.middleCols(3 * i, 3).setZero();
    }
    const Eigen::ArrayXd gain = gain_of(slots, m);
    const Eigen::ArrayXd w = weights_[m];
    const Eigen::RowVectorXd means = w.matrix().transpose() * own;
    const Eigen::MatrixXd centred = own.rowwise() - means;
    square += centred.transpose() * w.matrix().asDiagonal() * centred;
    downhill += centred.transpose() * (w * left(gain, m)).matrix();
    square += level_share * level_share * means.transpose() * means;
    downhill -= level_share * level_share * (w * gain).sum() * means.transpose();
    const Eigen::ArrayXd boost = boost_slope(gain, most_boost_db_);
    square += even * own.transpose() * boost.square().matrix().asDiagonal() * own;
    downhill -= even * own.transpose() * (boost * boost_residual(gain, most_boost_db_)).matrix();
  }
}

}  // namespace ringtrue
