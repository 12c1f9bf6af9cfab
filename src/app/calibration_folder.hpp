#pragma once

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue::app {

/// A calibration.json larger than this is none, and is not read.
inline constexpr std::size_t largest_calibration_bytes = std::size_t{64} << 20;

/// A saved calibration with the responses that lie beside it.
struct SavedCalibration {
  Calibration calibration;
  std::vector<PositionMeasurement> positions;  // responses with their arrivals; empty when they are not beside it
};

/// @param path  of a calibration.json, or of the folder that holds one
/// @throws InvalidInput
[[nodiscard]] Calibration read_calibration(const std::filesystem::path& path);

/// Also reads impulse-responses/ beside it. @throws InvalidInput
[[nodiscard]] SavedCalibration read_saved_calibration(const std::filesystem::path& path);

/// Makes sure that a calibration is of this rig: the same speakers on the same outputs.
/// @throws InvalidInput  naming the first difference
void require_same_speakers(const Rig& rig, const Calibration& calibration, const std::string& name);

}  // namespace ringtrue::app
