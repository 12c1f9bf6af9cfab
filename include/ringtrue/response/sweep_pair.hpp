#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {

/// Energies of the difference of two takes of one sweep, block by block along the sweep, in three filters: treble
/// (second difference), middle (first difference), bass (first difference of 1.3 ms means).
constexpr std::size_t disturbance_filters = 3;
struct Disturbance {
  std::array<std::vector<double>, disturbance_filters> energies;
  std::vector<double> loudness;  // energy of the sound itself in each block, treble filter
};

/// What the two sweeps of one speaker yielded.
struct PairResponse {
  std::vector<float> first;  // response of the first sweep, as Deconvolver::response
  std::vector<float> second;
  std::vector<float> first_early;  // before them, as Deconvolver::Pair
  std::vector<float> second_early;
  std::vector<float> first_long;  // a subwoofer's, for as long as nothing else is heard in it; else empty
  std::vector<float> second_long;
  Disturbance disturbance;
  double gain = 1.0;      // of the second against the first, by projection
  double likeness = 0.0;  // correlation of the two, 0 to 1
  double unlike = 1.0;    // energy of their difference over that of the first
};

/// Sets gain, likeness and `unlike` from the two responses.
void compare_takes(PairResponse& response);

/// Frames in one block of a Disturbance, at any sample rate about 21 ms.
[[nodiscard]] std::size_t disturbance_block(double recorder_rate_hz);

/// Energy of each whole block of a sound after a second difference, which leaves the treble.
[[nodiscard]] std::vector<double> treble_energies(std::span<const float> sound, std::size_t block);

/// Loudness of every block of every pair's first take, one after another.
[[nodiscard]] std::vector<double> loudness_of(std::span<const PairResponse> responses);

/// Both responses of a pair, and what differs between the two stretches of recording. The recording is compared, not
/// the responses: distortion is the same twice and cancels, a slam is not.
[[nodiscard]] PairResponse respond(const Deconvolver& deconvolver, std::span<const float> recording,
                                   double first_zero_frame, double second_zero_frame, double recorder_rate_hz);

/// Which take a disturbance fell into: the one whose spectrum at that block is higher where the other has only noise.
/// @param first_frame, second_frame  of the block in the recording
/// @param filter  in which of the disturbance's filters it was strongest: bass looks below 400 Hz, treble above 3 kHz
/// @returns 0 for the first take, 1 for the second
[[nodiscard]] int disturbed_take(std::span<const float> recording, std::ptrdiff_t first_frame,
                                 std::ptrdiff_t second_frame, std::size_t block, std::size_t filter);

/// Whether the two takes of a pair have bands that lie apart by different times: then samples were lost or put in while
/// one of the two sweeps was played.
struct BrokenSweep {
  double frames = 0.0;  // by which the bands lie apart
  int take = 0;         // the broken one: in the other one all bands arrive together
};
[[nodiscard]] std::optional<BrokenSweep> broken_sweep(const PairResponse& response, Band band, double rate_hz);

}  // namespace ringtrue
