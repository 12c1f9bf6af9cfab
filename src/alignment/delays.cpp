#include "ringtrue/alignment/delays.hpp"

#include <algorithm>

namespace ringtrue {

std::vector<std::optional<Rounded>> align_delays_ms(std::span<const std::optional<double>> arrivals_ms,
                                                    const Steps& delay_ms) {
  std::optional<double> latest;
  for (const auto& arrival : arrivals_ms) {
    if (arrival) latest = std::max(latest.value_or(*arrival), *arrival);
  }
  std::vector<std::optional<double>> wanted;
  for (const auto& arrival : arrivals_ms) {
    wanted.push_back(arrival ? std::optional{*latest - *arrival + delay_ms.range[0]} : std::nullopt);
  }
  return round_jointly(wanted, delay_ms);
}

}  // namespace ringtrue
