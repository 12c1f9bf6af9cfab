#pragma once

#include <optional>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/calibration/response_comparison.hpp"
#include "ringtrue/calibration/verification.hpp"

namespace ringtrue {

/// Every speaker's response at one mic position; empty where it was not heard or has no settings.
using RingResponses = std::vector<std::optional<ArrivedResponse>>;

/// Responses as measured. @param settings_of  whose settings say which speakers take part
[[nodiscard]] RingResponses measured_ring(const PositionMeasurement& position, const Calibration& settings_of);

/// What each output should sound like with its settings typed in and the interface's crossover in that state: off, in
/// the mains and subs alone, or with the mains' lows redirected to the subs.
[[nodiscard]] RingResponses expected_ring(const Calibration& calibration, const RingResponses& before,
                                          CrossoverState crossover);

/// Which state of the crossover explains the mains' lows best; `none` without bass management or without subs.
[[nodiscard]] CrossoverState find_crossover_state(const Calibration& calibration, const RingResponses& before,
                                                  const RingResponses& now);

/// Level of a main together with the subs, an octave each side of its crossover, dB. @param state  what `ring` holds
[[nodiscard]] std::optional<double> bass_sum_db(const Calibration& calibration, const RingResponses& ring,
                                                CrossoverState state, std::size_t main);

}  // namespace ringtrue
