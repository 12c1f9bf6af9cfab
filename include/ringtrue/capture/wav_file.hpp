#pragma once

#include <cstdint>
#include <filesystem>
#include <span>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// Reads a recording: any file libsndfile reads, 16, 24, 32-bit or float, 44.1-192 kHz.
///
/// @param loopback_channel  counted from 1; 0: none. The microphone is channel 1 (`microphone_channel`).
/// @throws InvalidInput  when the file cannot be read, is empty, has no such channel, an impossible rate, or samples
///                       that are not finite (with the place of the first)
[[nodiscard]] Recording read_recording(const std::filesystem::path& path, int loopback_channel,
                                       int microphone_channel = 1);

/// Writes the stimulus as 32-bit float WAV, RF64 above 4 GiB; to a temporary file first, then renamed.
/// @throws InvalidInput  when the file cannot be written
void write_stimulus(const std::filesystem::path& path, const Stimulus& stimulus, const Rig& rig);

/// Reads a stimulus back from the samples themselves: each channel's sweeps are found where it is not silent, so that
/// a file which went through another program still serves. Streams: memory holds only the distinct sweeps.
/// @throws InvalidInput  when the file cannot be read, or does not fit the rig (channels, sample rate, outputs)
[[nodiscard]] Stimulus read_stimulus(const std::filesystem::path& path, const Rig& rig);

/// Per channel of a file, whether it sounds at all. @throws InvalidInput  when the file cannot be read
[[nodiscard]] std::vector<bool> sounding_channels(const std::filesystem::path& path);

/// Writes planar channels of equal length as 32-bit float WAV, atomically. @throws InvalidInput
void write_wav(const std::filesystem::path& path, double sample_rate_hz, std::span<const std::vector<float>> channels);

/// Samples of a sound file, planar.
struct Sound {
  double sample_rate_hz = 0.0;
  std::vector<std::vector<float>> channels;
};

/// Reads a whole sound file. @throws InvalidInput as read_recording
[[nodiscard]] Sound read_sound(const std::filesystem::path& path);

}  // namespace ringtrue
