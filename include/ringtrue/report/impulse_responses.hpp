#pragma once

#include <filesystem>
#include <span>
#include <string>
#include <vector>

#include "ringtrue/response/measurement.hpp"
#include "ringtrue/rig/rig.hpp"

namespace ringtrue {

/// Saves every measured impulse response, so that later work needs no new capture (docs/impulse-responses.md).
///
///     folder/LABEL.wav   32-bit float, channel k = mic position k; all channels count from the same time
///     folder/index.json  which file is whose, the sample rate, the time of sample 0, what is left of each channel's
///                        time after whole samples
///
/// A speaker that was heard nowhere has no file; where it was not heard at one position, that channel is silent.
///
/// @param folder     is made when missing; files of the same names are replaced
/// @param positions  speakers in the rig's order; all responses at one sample rate
/// @throws InvalidInput  when the folder or a file cannot be written
void write_impulse_responses(const std::filesystem::path& folder, const Rig& rig,
                             std::span<const PositionMeasurement> positions);

/// Reads them back.
///
/// @param rig  whose speakers, by label
/// @returns    per mic position, speakers in the rig's order: `response`, and `heard` where there is one; whatever else
///             was measured is not in these files. Empty when the folder has no index.json
/// @throws InvalidInput  when a file is broken or not of this rig
[[nodiscard]] std::vector<PositionMeasurement> read_impulse_responses(const std::filesystem::path& folder,
                                                                      const Rig& rig);

/// The file name of each of the rig's speakers, in its order: the label where every file system takes it as it is,
/// otherwise its letters, digits, + - _ and the output's number; no two alike even where case does not count.
[[nodiscard]] std::vector<std::string> impulse_response_file_names(const Rig& rig);

}  // namespace ringtrue
