#include "wire_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

using Column = Eigen::VectorXd;

double peak_of_signal(std::span<const double> samples) {
  double peak = 0.0;
  for (const double sample : samples) peak = std::max(peak, std::abs(sample));
  return peak;
}

/// Adds what a wire makes of one signal, each column of about the same size whatever the level.
void add_columns(const std::vector<double>& played, double peak, Eigen::Index frames, std::vector<Column>& columns) {
  const Eigen::Map<const Column> all{played.data(), std::ssize(played)};
  for (std::size_t tap = 0; tap < 2 * wire_reach; ++tap) {
    columns.emplace_back(all.segment(static_cast<Eigen::Index>(tap), frames) / peak);
  }
}

void add_distortion(const std::vector<double>& played, double peak, Eigen::Index frames, std::vector<Column>& columns) {
  const Eigen::Map<const Column> all{played.data(), std::ssize(played)};
  const Eigen::ArrayXd x = all.segment(static_cast<Eigen::Index>(wire_reach), frames).array() / peak;
  for (const int power : {2, 3, 5}) columns.emplace_back(x.pow(power).matrix());
}

Eigen::MatrixXd side_by_side(const std::vector<Column>& columns) {
  Eigen::MatrixXd A(columns.front().size(), std::ssize(columns));
  for (Eigen::Index c = 0; c < A.cols(); ++c) A.col(c) = columns[static_cast<std::size_t>(c)];
  return A;
}

}  // namespace

WireFit fit_wire(std::span<const double> heard, std::span<const std::vector<double>> played) {
  constexpr double ridge = 1e-11;  // of a column's own power: neighbouring taps of a low note are nearly the same
  const auto frames = std::ssize(heard);
  const Eigen::Map<const Column> y{heard.data(), frames};
  const auto mean = 1.0 / static_cast<double>(frames);
  std::vector<Column> columns{Column::Ones(frames)};
  for (const auto& signal : played) {
    const double peak = peak_of_signal(signal);
    if (peak <= 0.0) continue;
    add_columns(signal, peak, frames, columns);
    if (&signal == &played.front()) add_distortion(signal, peak, frames, columns);
  }
  const Eigen::MatrixXd A = side_by_side(columns);
  Eigen::MatrixXd gram = A.transpose() * A;
  gram.diagonal().array() += ridge * static_cast<double>(frames);
  const Column weights = gram.ldlt().solve(A.transpose() * y);
  return {y.squaredNorm() * mean, (y - A * weights).squaredNorm() * mean};
}

}  // namespace ringtrue
