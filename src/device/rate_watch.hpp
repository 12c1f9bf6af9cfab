#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <vector>

namespace ringtrue {

/// Compares the frames of a take with this computer's clock, in stretches of half a second.
///
/// The median of the stretches is the rate: a late callback spoils one stretch, a wrong rate all of them.
class RateWatch {
 public:
  explicit RateWatch(double nominal_hz) : nominal_hz_{nominal_hz} {}

  void saw(std::uint64_t frames_done, std::chrono::steady_clock::time_point now = std::chrono::steady_clock::now());

  /// Empty for takes below 4 s, in freewheel, and when the stretches disagree by more than 1 % (a loaded machine).
  [[nodiscard]] std::optional<double> rate_hz() const;
  /// Twice the standard error of that median, from how far the stretches lie apart: on a loaded machine every callback
  /// comes a little early or late. Only where rate_hz says something.
  [[nodiscard]] double error_hz() const;
  [[nodiscard]] bool faster_than_real_time() const;

 private:
  [[nodiscard]] double quantile(double share) const;

  double nominal_hz_;
  bool started_ = false;
  std::uint64_t frames_ = 0;
  std::uint64_t last_frames_ = 0;
  std::chrono::steady_clock::time_point since_;
  std::chrono::steady_clock::time_point first_;
  std::chrono::steady_clock::time_point last_;
  std::vector<double> rates_hz_;
};

}  // namespace ringtrue
