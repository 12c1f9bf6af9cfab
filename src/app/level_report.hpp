#pragma once

#include <optional>
#include <string>

#include "ringtrue/live/spl.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue::app {

/// What `ringtrue level` prints.
struct LevelReport {
  std::string rig_path;
  Rig rig;
  std::optional<double> found_full_scale_spl_db;  // empty: the meter was only read
  MeterReading reading;
};

[[nodiscard]] std::string level_text(const LevelReport& report);
[[nodiscard]] std::string level_json(const LevelReport& report);

}  // namespace ringtrue::app
