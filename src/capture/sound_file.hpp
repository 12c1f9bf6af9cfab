#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>

#include "descriptor.hpp"
#include "pending_file.hpp"

struct sf_private_tag;  // libsndfile's SNDFILE

namespace ringtrue {

struct CloseSound {
  void operator()(sf_private_tag* file) const noexcept;
};
using SoundHandle = std::unique_ptr<sf_private_tag, CloseSound>;

/// Reads the frames of a sound file in order. Integer samples come as fractions of full scale, floats as they are.
/// What the header claims (length, sizes) is never believed for allocating: frames end where the bytes end.
class SoundReader {
 public:
  /// @throws InvalidInput  when it is no sound file, or one of a lossy kind, whose coding noise would be measured
  explicit SoundReader(const std::filesystem::path& path);

  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] int sample_rate_hz() const { return sample_rate_hz_; }
  [[nodiscard]] std::size_t channels() const { return channels_; }

  /// Frames the header declares, at most what the file's bytes could hold: a hint for reserving memory.
  [[nodiscard]] std::size_t expected_frames() const { return expected_frames_; }

  /// Fills `interleaved` with whole frames. @returns the number of frames read; fewer than asked for: the end
  [[nodiscard]] std::size_t read(std::span<float> interleaved);

  /// @throws InvalidInput  when the file cannot go there
  void seek(std::int64_t frame);

 private:
  std::string name_;
  Descriptor file_;
  SoundHandle sound_;
  int sample_rate_hz_ = 0;
  std::size_t channels_ = 0;
  std::size_t expected_frames_ = 0;
};

/// Writes 32-bit float WAV without speaker mask (each channel is an output, not a place), RF64 from 4 GiB on.
/// Nothing but the samples goes in, so equal samples give equal bytes.
class SoundWriter {
 public:
  /// @param frames  to be written, decides between WAV and RF64  @throws InvalidInput
  SoundWriter(const std::filesystem::path& path, double sample_rate_hz, std::size_t channels, std::int64_t frames);

  void write(std::span<const float> interleaved);  ///< whole frames  @throws InvalidInput
  void close();                                    ///< the file appears in its place only now  @throws InvalidInput

 private:
  std::size_t channels_;
  PendingFile file_;
  SoundHandle sound_;
};

}  // namespace ringtrue
