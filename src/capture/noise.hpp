#pragma once

#include <cstdint>
#include <span>

namespace ringtrue {

/// Adds Gaussian white noise of that rms value (Box and Muller 1958 on std::mt19937_64, whose sequence the C++
/// standard fixes; std::normal_distribution differs between libraries). Equal seeds give equal noise, whatever
/// `threads`.
void add_white_noise(std::span<double> signal, double rms, std::uint64_t seed, unsigned threads);

/// Adds mains hum: 50 Hz and six harmonics in a fixed mixture, of that rms value together.
void add_hum(std::span<double> signal, double rms, double sample_rate_hz);

/// Adds ventilation rumble of that rms value: white noise through a 4th-order Butterworth low-pass at 50 Hz (-24 dB
/// at 100 Hz).
void add_rumble(std::span<double> signal, double rms, double sample_rate_hz, std::uint64_t seed, unsigned threads);

/// A seed for one of many independent streams (the mixing function of Steele, Lea and Flood 2014, "Fast splittable
/// pseudorandom number generators").
[[nodiscard]] std::uint64_t stream_seed(std::uint64_t seed, std::uint64_t stream);

}  // namespace ringtrue
