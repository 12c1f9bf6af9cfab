#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace ringtrue {

/// Takes samples of a band-limited signal at evenly spaced places, which need not fall on its own samples: a clock
/// that runs fast or slow, started at any moment, or another sample rate.
///
///     result[n] = signal at place first + n step,  n = 0 .. count - 1,  places in samples of `signal`
///
/// Zero outside the signal. Where no place falls between samples this is a copy. Otherwise windowed-sinc
/// interpolation (SincKernel), error below -100 dB up to 0.44 of the lower sample rate when step is about 1 or less,
/// 0.45 when it is larger; what the new rate cannot hold is removed.
/// Same bytes whatever `threads`.
[[nodiscard]] std::vector<double> sample_at(std::span<const double> signal, double first, double step,
                                            std::size_t count, unsigned threads);

}  // namespace ringtrue
