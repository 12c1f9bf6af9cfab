#pragma once

#include <span>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// One calibration among others of a rig.
struct HistoryEntry {
  std::string name;  // of its folder
  std::string date;  // as far as it is known, else empty
  Calibration calibration;
};

/// What one calibration has otherwise than the one before it.
struct HistoryChange {
  std::string label;
  std::string words;  // "delay 3.41 -> 2.56 ms, trim -3.4 -> -1.9 dB"
};

/// The settings that differ, in the order of the later one's speakers; speakers that are new or gone too. Pure.
[[nodiscard]] std::vector<HistoryChange> changes_between(const Calibration& before, const Calibration& after);

/// A word on how a calibration ended: "good", "look at it" (a warning), "not finished" (a speaker has no settings).
[[nodiscard]] const char* verdict_of(const Calibration& calibration);

}  // namespace ringtrue
