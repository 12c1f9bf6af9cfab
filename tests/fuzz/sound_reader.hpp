#pragma once

#include <filesystem>
#include <string_view>

#include "ringtrue/rig/rig.hpp"

namespace ringtrue::fuzz {

/// The sound file readers take a path: one to a file in memory (Linux: memfd), which is used again for each input.
class SoundReaderInMemory {
 public:
  SoundReaderInMemory();
  ~SoundReaderInMemory();
  SoundReaderInMemory(const SoundReaderInMemory&) = delete;
  SoundReaderInMemory& operator=(const SoundReaderInMemory&) = delete;

  void hold(std::string_view bytes) const;
  [[nodiscard]] bool sound_is_whole() const;
  [[nodiscard]] bool recording_is_whole(int loopback_channel) const;
  void read_as_stimulus() const;

 private:
  int file_;
  std::filesystem::path path_;
  Rig rig_;
};

}  // namespace ringtrue::fuzz
