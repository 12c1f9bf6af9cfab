#include "ringtrue/alignment/reference_level.hpp"

#include <array>

namespace ringtrue {

ReferenceLevel reference_level(double volume_m3) {
  // ATSC A/85:2013 Table 10.2, volumes from cubic feet; as a public copy quotes it, not re-read in the original.
  constexpr std::array<std::array<double, 2>, 4> from_volume{
      {{566.3, 85.0}, {283.2, 82.0}, {141.6, 80.0}, {42.5, 78.0}}};
  double spl = 76.0;
  for (const auto& [volume, level] : from_volume) {
    if (volume_m3 < volume) continue;
    spl = level;
    break;
  }
  return {spl, "ATSC A/85:2013, Table 10.2", "read second-hand; noise band and meter settings from memory"};
}

}  // namespace ringtrue
