#include "ringtrue/rig/rig.hpp"

#include <algorithm>
#include <numeric>

namespace ringtrue {

std::vector<std::size_t> by_output(const Rig& rig) {
  std::vector<std::size_t> order(rig.speakers.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, {}, [&](std::size_t i) { return rig.speakers[i].output; });
  return order;
}

int channel_count(const Rig& rig) {
  int highest = rig.interface.loopback_output.value_or(0);
  for (const Speaker& speaker : rig.speakers) highest = std::max(highest, speaker.output);
  return highest;
}

}  // namespace ringtrue
