#include "ringtrue/placement/angle_words.hpp"

#include <fmt/format.h>

#include <cmath>

namespace ringtrue {

std::string degrees(double angle_deg) {
  const double tenths = std::round(angle_deg * 10.0) / 10.0 + 0.0;
  return fmt::format("{:.{}f}", tenths, tenths == std::round(tenths) ? 0 : 1);
}

std::string degrees_between(double low_deg, double high_deg) {
  return low_deg == high_deg ? degrees(low_deg) : degrees(low_deg) + " to " + degrees(high_deg);
}

}  // namespace ringtrue
