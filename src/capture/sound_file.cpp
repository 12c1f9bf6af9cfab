#include "sound_file.hpp"

#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <limits>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr std::int64_t largest_plain_wav_bytes = 0xFFFF'F000;  // 32-bit sizes, less 4 KiB for the header

bool lossless(int format) {
  switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
    case SF_FORMAT_PCM_16:
    case SF_FORMAT_PCM_24:
    case SF_FORMAT_PCM_32:
    case SF_FORMAT_FLOAT:
    case SF_FORMAT_DOUBLE:
    case SF_FORMAT_ALAC_16:
    case SF_FORMAT_ALAC_20:
    case SF_FORMAT_ALAC_24:
    case SF_FORMAT_ALAC_32: return true;
    default: return false;
  }
}

/// libsndfile's last words without their full stop, on one line; its remarks about itself help nobody.
std::string reason() {
  std::string text = sf_strerror(nullptr);
  if (text.starts_with("Internal error")) return "its header contradicts itself";
  std::ranges::replace(text, '\n', ' ');
  while (!text.empty() && (text.back() == '.' || text.back() == ' ')) text.pop_back();
  return text;
}

}  // namespace

void CloseSound::operator()(sf_private_tag* file) const noexcept { sf_close(file); }

SoundReader::SoundReader(const std::filesystem::path& path) : name_{shown_path(path)} {
  std::int64_t bytes = 0;
  std::tie(file_, bytes) = open_regular_file(path);
  if (bytes == 0) throw InvalidInput{name_, "is empty", "record it again"};
  SF_INFO info{};
  sound_.reset(sf_open_fd(file_.number(), SFM_READ, &info, SF_FALSE));
  if (!sound_) {
    throw InvalidInput{name_, fmt::format("is not a sound file that can be read ({})", reason()),
                       "export it as WAV or FLAC, 16 or 24 bit or float"};
  }
  if (!lossless(info.format)) {
    throw InvalidInput{name_, "is compressed with loss, which spoils a measurement",
                       "record as WAV, FLAC or AIFF, 16 or 24 bit or float"};
  }
  sample_rate_hz_ = info.samplerate;
  channels_ = static_cast<std::size_t>(std::max(1, info.channels));
  expected_frames_ = static_cast<std::size_t>(std::clamp<std::int64_t>(info.frames, 0, bytes));
}

std::size_t SoundReader::read(std::span<float> interleaved) {
  const auto frames = static_cast<sf_count_t>(interleaved.size() / channels_);
  return static_cast<std::size_t>(std::max<sf_count_t>(0, sf_readf_float(sound_.get(), interleaved.data(), frames)));
}

void SoundReader::seek(std::int64_t frame) {
  if (sf_seek(sound_.get(), frame, SEEK_SET) != frame) {
    throw InvalidInput{name_, fmt::format("cannot be read at frame {}", frame), "export it again as WAV"};
  }
}

SoundWriter::SoundWriter(const std::filesystem::path& path, double sample_rate_hz, std::size_t channels,
                         std::int64_t frames)
    : channels_{channels}, file_{path} {
  const std::int64_t bytes = frames * static_cast<std::int64_t>(channels * sizeof(float));
  SF_INFO info{};
  info.samplerate = static_cast<int>(std::lround(sample_rate_hz));
  info.channels = static_cast<int>(channels);
  info.format = (bytes < largest_plain_wav_bytes ? SF_FORMAT_WAV : SF_FORMAT_RF64) | SF_FORMAT_FLOAT;
  sound_.reset(sf_open_fd(file_.descriptor(), SFM_WRITE, &info, SF_FALSE));
  if (!sound_) throw InvalidInput{shown_path(path), "cannot be written (" + reason() + ")", "use fewer channels"};
  sf_command(sound_.get(), SFC_SET_ADD_PEAK_CHUNK, nullptr, SF_FALSE);  // that chunk carries the time of day
}

void SoundWriter::write(std::span<const float> interleaved) {
  const auto frames = static_cast<sf_count_t>(interleaved.size() / channels_);
  errno = 0;
  if (sf_writef_float(sound_.get(), interleaved.data(), frames) != frames) file_.fail(errno != 0 ? errno : ENOSPC);
}

void SoundWriter::close() {
  errno = 0;
  if (sf_close(sound_.release()) != 0) file_.fail(errno != 0 ? errno : EIO);  // it has rewritten the header
  file_.commit();
}

}  // namespace ringtrue
