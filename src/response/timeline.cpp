#include "ringtrue/response/timeline.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

namespace ringtrue {
namespace {

constexpr double whole_again_frames = 0.5;  // spans of one clock agree to some hundredths of a frame
constexpr double believable_ppm = 400.0;    // twice what two audio clocks differ by; more is not one clock

/// One way to explain the readings: a step after some sweep starts, inside it or behind it; none: the clock alone.
struct Place {
  std::size_t after = 0;
  bool inside = false;
};

/// Does the step lie before the start of `sweep`?
bool before(const Place& place, std::size_t sweep) { return sweep > place.after; }

/// Is the sweep cut by the step?
bool cut(const Place& place, std::size_t sweep) { return place.inside && sweep == place.after; }

struct Fit {
  double misfit = std::numeric_limits<double>::infinity();       // largest residual, frames
  double unexplained = std::numeric_limits<double>::infinity();  // the same, less four times its own uncertainty
  double ppm = 0.0;
  double ppm_uncertainty = 0.0;
  std::vector<double> frames;  // of each step
  std::size_t left_out = 0;
};

/// Least squares for the clock rate and the steps at the given places.
Fit fit_places(std::span<const SpanReading> readings, std::span<const Place> places, double nominal_rate_hz) {
  Fit fit;
  std::vector<const SpanReading*> used;
  for (const SpanReading& reading : readings) {
    const bool spoilt = std::ranges::any_of(
        places, [&](const Place& place) { return cut(place, reading.first) || cut(place, reading.second); });
    if (spoilt) {
      ++fit.left_out;
    } else {
      used.push_back(&reading);
    }
  }
  const auto rows = std::ssize(used);
  const auto columns = static_cast<Eigen::Index>(1 + places.size());
  if (rows < columns) return fit;
  Eigen::MatrixXd A = Eigen::MatrixXd::Zero(rows, columns);
  Eigen::VectorXd b(rows);
  for (Eigen::Index r = 0; r < rows; ++r) {
    const SpanReading& reading = *used[static_cast<std::size_t>(r)];
    const double weight = 1.0 / std::hypot(reading.uncertainty, 0.02);
    A(r, 0) = weight * reading.span_s * nominal_rate_hz * 1e-6;
    for (std::size_t p = 0; p < places.size(); ++p) {
      const bool counts = before(places[p], reading.second) && !before(places[p], reading.first);
      if (counts) A(r, columns - std::ssize(places) + static_cast<Eigen::Index>(p)) = weight;
    }
    b[r] = weight * reading.excess;
  }
  const auto decomposition = A.colPivHouseholderQr();
  if (decomposition.rank() < columns) return fit;
  const Eigen::VectorXd x = decomposition.solve(b);
  if (std::abs(x[0]) > believable_ppm) return fit;
  const Eigen::VectorXd residual = A * x - b;
  fit.misfit = fit.unexplained = 0.0;
  for (Eigen::Index r = 0; r < rows; ++r) {
    // A pair without treble is read to a frame or two only: what its own uncertainty explains needs no step.
    constexpr double explained = 4.0;
    const double uncertainty = used[static_cast<std::size_t>(r)]->uncertainty;
    const double frames = std::abs(residual[r]) * std::hypot(uncertainty, 0.02);
    fit.misfit = std::max(fit.misfit, frames);
    fit.unexplained = std::max(fit.unexplained, frames - explained * uncertainty);
  }
  fit.ppm = x[0];
  fit.ppm_uncertainty = std::sqrt((A.transpose() * A).inverse()(0, 0));
  for (std::size_t p = 0; p < places.size(); ++p) {
    fit.frames.push_back(x[columns - std::ssize(places) + static_cast<Eigen::Index>(p)]);
  }
  return fit;
}

bool better(const Fit& fit, const Fit& best) {
  // A place in the silence explains as much as one inside a sweep with one reading more: prefer it when it holds.
  constexpr double as_good_frames = 0.05;  // below, misfits differ by chance
  const double penalty = static_cast<double>(fit.left_out) - static_cast<double>(best.left_out);
  return std::max(fit.misfit, as_good_frames) < std::max(best.misfit, as_good_frames) * std::pow(0.5, penalty) - 1e-9;
}

Timeline from_fit(const Fit& fit, std::span<const Place> places) {
  Timeline timeline{{fit.ppm, fit.ppm_uncertainty}, {}, fit.unexplained};
  for (std::size_t p = 0; p < places.size(); ++p) {
    timeline.steps.push_back({fit.frames[p], places[p].after, places[p].inside});
  }
  return timeline;
}

Timeline solve(std::span<const SpanReading> readings, std::size_t sweeps, double nominal_rate_hz) {
  const Fit clock_alone = fit_places(readings, {}, nominal_rate_hz);
  Timeline best_timeline = from_fit(clock_alone, {});
  if (clock_alone.unexplained <= whole_again_frames || readings.size() < 3) return best_timeline;

  std::vector<Place> places;
  for (std::size_t sweep = 0; sweep < sweeps; ++sweep) {
    places.push_back({sweep, true});
    places.push_back({sweep, false});
  }
  Fit best = clock_alone;
  for (const Place& place : places) {
    const std::vector<Place> one{place};
    const Fit fit = fit_places(readings, one, nominal_rate_hz);
    if (!better(fit, best)) continue;
    best = fit;
    best_timeline = from_fit(fit, one);
  }
  if (best.unexplained > whole_again_frames && readings.size() >= 5) {
    const Fit best_of_one = best;
    for (std::size_t i = 0; i < places.size(); ++i) {
      for (std::size_t j = i + 1; j < places.size(); ++j) {
        const std::vector<Place> two{places[i], places[j]};
        const Fit fit = fit_places(readings, two, nominal_rate_hz);
        if (!better(fit, best)) continue;
        best = fit;
        best_timeline = from_fit(fit, two);
      }
    }
    if (best.misfit > 0.3 * best_of_one.misfit) best_timeline.misfit = best.unexplained;
  }
  return best_timeline;
}

}  // namespace

double Timeline::shift_of(std::size_t sweep) const {
  double shift = 0.0;
  for (const TimelineStep& step : steps) {
    if (sweep > step.after) shift += step.frames;
  }
  return shift;
}

Timeline solve_timeline(std::span<const SpanReading> spans, std::size_t sweeps, double nominal_rate_hz) {
  if (spans.empty()) return {{0.0, 100.0}, {}, 0.0};
  return solve(spans, sweeps, nominal_rate_hz);
}

}  // namespace ringtrue
