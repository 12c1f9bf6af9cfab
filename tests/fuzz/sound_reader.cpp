#include "sound_reader.hpp"

#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <string>
#include <vector>

#include "rigs.hpp"
#include "ringtrue/capture/wav_file.hpp"

namespace ringtrue::fuzz {
namespace {

bool is_finite(const std::vector<float>& samples) {
  return std::ranges::all_of(samples, [](float sample) { return std::isfinite(sample); });
}

}  // namespace

SoundReaderInMemory::SoundReaderInMemory()
    : file_{memfd_create("sound", MFD_CLOEXEC)},
      path_{"/proc/self/fd/" + std::to_string(file_)},
      rig_{test::simple_rig(2)} {
  if (file_ < 0) throw std::runtime_error{"no file in memory"};
}

SoundReaderInMemory::~SoundReaderInMemory() { close(file_); }

void SoundReaderInMemory::hold(std::string_view bytes) const {
  const bool is_empty = ftruncate(file_, 0) == 0;
  if (!is_empty || pwrite(file_, bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size())) {
    throw std::runtime_error{"the file in memory cannot be written"};
  }
}

bool SoundReaderInMemory::sound_is_whole() const {
  const Sound sound = read_sound(path_);
  return std::ranges::all_of(sound.channels, [&](const auto& channel) {
    return channel.size() == sound.channels.front().size() && is_finite(channel);
  });
}

bool SoundReaderInMemory::recording_is_whole(int loopback_channel) const {
  const Recording recording = read_recording(path_, loopback_channel);
  return !recording.microphone.empty() && is_finite(recording.microphone) && is_finite(recording.loopback) &&
         recording.loopback.size() == (loopback_channel == 0 ? 0 : recording.microphone.size());
}

void SoundReaderInMemory::read_as_stimulus() const { (void)read_stimulus(path_, rig_); }

}  // namespace ringtrue::fuzz
