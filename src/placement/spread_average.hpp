#pragma once

#include "bundle.hpp"

namespace ringtrue::bundle {

struct Average {
  Eigen::VectorXd x;
  Eigen::MatrixXd covariance;
  double spot_m = 0.0;  // spread of the mic spots, per axis
};

/// The unknowns averaged over how far spots, speakers and ranges may be off, each by how well it explains the data
/// (its evidence): exact spots are recognised as such, and a tidy ring steadies its own direction.
[[nodiscard]] Average average_over_spreads(const Problem& problem, const Eigen::VectorXd& start);

}  // namespace ringtrue::bundle
