#pragma once

#include <cstddef>

#include "workload.hpp"

namespace ringtrue::bench {

/// What one child process finds: seconds of each repetition by the clock on the wall and of all its threads' work, and
/// the most memory it held, inputs included.
struct Timing {
  std::vector<double> seconds;
  std::vector<double> cpu_seconds;
  double peak_mb = 0.0;
};

/// measure() on every recording of the workload, one after another.
[[nodiscard]] Timing time_measure(const Workload& workload, unsigned threads, std::size_t repetitions);

/// What follows the measurement: the settings with or without the equaliser's filters; page, sheet and JSON of them.
[[nodiscard]] Timing time_calibrate(const Workload& workload, bool equaliser, std::size_t repetitions);
[[nodiscard]] Timing time_report(const Workload& workload, std::size_t repetitions);

/// Which transforms stand for the least that a measurement needs.
enum class WhichTransforms {
  deconvolution,  // one forward and one inverse for every sweep on every channel, of the deconvolver's own sizes
  measurement,    // every one that measure() has done, counted as it runs: synchronising, noise and all measures too
};

/// Nothing but those transforms, planned beforehand, on buffers of FFTW's own alignment.
[[nodiscard]] Timing time_transforms(const Workload& workload, WhichTransforms which, unsigned threads,
                                     std::size_t repetitions);

/// "COUNT x SIZE" for each size of those transforms, the largest first.
[[nodiscard]] std::string transform_sizes(const Workload& workload, WhichTransforms which);

}  // namespace ringtrue::bench
