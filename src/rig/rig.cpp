#include "ringtrue/rig/rig.hpp"

#include <algorithm>
#include <numeric>

namespace ringtrue {

bool plays_lows_of_mains(const Rig& rig, std::size_t speaker) {
  return rig.bass_management && rig.speakers[speaker].kind == SpeakerKind::sub && !rig.speakers[speaker].lfe_only;
}

double lfe_above_mains_db(const Rig& rig) {
  constexpr double recorded_down_db = 10.0;
  return recorded_down_db - (rig.bass_management ? rig.bass_management->lfe_gain_db : 0.0);
}

bool mains_full_range(const Rig& rig) {
  const auto is_sub = [](const Speaker& speaker) { return !is_main(speaker); };
  const auto redirected = [](const Speaker& speaker) { return !is_main(speaker) && !speaker.lfe_only; };
  return !rig.bass_management ||
         (std::ranges::any_of(rig.speakers, is_sub) && std::ranges::none_of(rig.speakers, redirected));
}

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
