#pragma once

#include <optional>
#include <span>
#include <vector>

#include "ringtrue/response/clock.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/synchronisation.hpp"

namespace ringtrue {

/// Whether a sweep is broad enough to time an electrical path: it reaches 2 kHz.
[[nodiscard]] bool times_a_wire(const Stimulus& stimulus, std::size_t sweep);

/// When a wire's response arrives after its sample `zero_index`. @param flat  where the sweep is flat
[[nodiscard]] std::optional<double> wire_arrival_ms(std::span<const float> h, std::size_t zero_index, double rate_hz,
                                                    Band flat);

/// The median of those that there are.
[[nodiscard]] std::optional<double> median_of_known(std::span<const std::optional<double>> values);

/// Share of a channel's response energy within 1 ms of its peak, median over the first sweeps: near 1 for a wire, well
/// below in a room. Empty when the channel is silent or no sweep reaches 2 kHz.
/// @param deconvolvers  by shape, at the nominal rate  @param start_lag_s  of the sweeps in the channel, by find_start
[[nodiscard]] std::optional<double> electrical_share(const Stimulus& stimulus, std::span<const float> channel,
                                                     std::span<const Deconvolver> deconvolvers, double rate_hz,
                                                     double start_lag_s);

/// When the loopback arrives, after the same zeros; the median over the sweeps that reach 2 kHz. Empty when there is
/// none.
/// @param deconvolvers  by shape, at the recorder's rate
[[nodiscard]] std::optional<double> loopback_arrival_ms(const Stimulus& stimulus, std::span<const float> loopback,
                                                        std::span<const Deconvolver> deconvolvers,
                                                        const Synchronisation& sync, unsigned threads);

/// The same, and the clock, while one look at the responses is enough for both. Empty where the loopback does not show
/// that the recorder keeps the nominal time from the first sweep to the last.
struct LoopbackOnOneClock {
  Timeline timeline;
  std::optional<double> arrival_ms;
};
[[nodiscard]] std::optional<LoopbackOnOneClock> loopback_on_one_clock(const Stimulus& stimulus,
                                                                      std::span<const SweepPair> pairs,
                                                                      std::span<const float> loopback,
                                                                      std::span<const Deconvolver> deconvolvers,
                                                                      const Synchronisation& nominal, unsigned threads);

}  // namespace ringtrue
