#include "ringtrue/capture/wav_file.hpp"

#include <doctest/doctest.h>
#include <sndfile.h>
#include <sys/stat.h>

#include <cmath>
#include <cstdint>
#include <cstring>
#include <limits>

#include "arrays.hpp"
#include "refusal.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

using namespace test;
namespace fs = std::filesystem;
using Channels = std::vector<std::vector<float>>;

/// Writes one channel in any format libsndfile has, by libsndfile alone. Integers go in as integers: its conversion of
/// floats multiplies by 32767, not 32768.
void write_as(const fs::path& path, int format, int rate, const std::vector<float>& samples) {
  SF_INFO info{};
  info.samplerate = rate;
  info.channels = 1;
  info.format = format;
  SNDFILE* const file = sf_open(path.c_str(), SFM_WRITE, &info);
  REQUIRE(file != nullptr);
  const int coding = format & SF_FORMAT_SUBMASK;
  for (const float sample : samples) {
    const auto whole = static_cast<short>(std::lround(sample * 32'768.0F));
    const bool as_float = coding == SF_FORMAT_FLOAT || coding == SF_FORMAT_DOUBLE;
    REQUIRE((as_float ? sf_write_float(file, &sample, 1) : sf_write_short(file, &whole, 1)) == 1);
  }
  sf_close(file);
}

/// Number of `bytes` bytes, little-endian.
std::string little_endian(std::uint64_t value, int bytes) {
  std::string text;
  for (int i = 0; i < bytes; ++i) text.push_back(static_cast<char>(value >> (8 * i)));
  return text;
}

std::string wav_header(std::uint32_t riff_size, std::uint16_t channels, std::uint32_t data_size) {
  return "RIFF" + little_endian(riff_size, 4) + "WAVEfmt " + little_endian(16, 4) + little_endian(1, 2) +
         little_endian(channels, 2) + little_endian(48'000, 4) + little_endian(96'000ULL * channels, 4) +
         little_endian(2ULL * channels, 2) + little_endian(16, 2) + "data" + little_endian(data_size, 4);
}

}  // namespace

TEST_CASE("float samples come back bit for bit, those over full scale too") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "a.wav";
  const Channels channels{{0.0F, 1.0F, -4.0F, 1e-30F}, {0.1F, -0.0F, 3.0e38F, -1e-7F}};
  write_wav(path, 96'000.0, channels);
  const Sound sound = read_sound(path);
  CHECK(sound.sample_rate_hz == 96'000.0);
  CHECK(sound.channels == channels);
}

TEST_CASE("equal samples give equal files, of plain WAV with format tag 3 and no speaker mask") {
  const TemporaryFolder folder;
  const Channels channels(2, std::vector<float>(3'000, 0.5F));
  write_wav(folder.path() / "a.wav", 48'000.0, channels);
  write_wav(folder.path() / "b.wav", 48'000.0, channels);
  const std::string bytes = read_bytes(folder.path() / "a.wav");
  CHECK(bytes == read_bytes(folder.path() / "b.wav"));
  CHECK(bytes.substr(0, 4) == "RIFF");
  CHECK(bytes.substr(12, 4) == "fmt ");
  CHECK(bytes.substr(20, 2) == little_endian(3, 2));  // WAVE_FORMAT_IEEE_FLOAT, not 0xFFFE with a mask
  CHECK(bytes.find("PEAK") == std::string::npos);     // that chunk holds the time of day
}

TEST_CASE("integer and float formats of any container mean the same samples") {
  const TemporaryFolder folder;
  const std::vector<float> samples{0.5F, -0.5F, 0.25F, -1.0F};  // exact in 16 bits
  for (const int format :
       {SF_FORMAT_WAV | SF_FORMAT_PCM_16, SF_FORMAT_WAV | SF_FORMAT_PCM_24, SF_FORMAT_WAV | SF_FORMAT_PCM_32,
        SF_FORMAT_WAV | SF_FORMAT_FLOAT, SF_FORMAT_WAV | SF_FORMAT_DOUBLE, SF_FORMAT_FLAC | SF_FORMAT_PCM_24,
        SF_FORMAT_AIFF | SF_FORMAT_PCM_16, SF_FORMAT_CAF | SF_FORMAT_ALAC_24, SF_FORMAT_W64 | SF_FORMAT_FLOAT,
        SF_FORMAT_RF64 | SF_FORMAT_PCM_24}) {
    CAPTURE(format);
    const fs::path path = folder.path() / "sound";
    write_as(path, format, 44'100, samples);
    const Recording recording = read_recording(path, 0);
    CHECK(recording.sample_rate_hz == 44'100.0);
    CHECK(recording.microphone == samples);
    CHECK(recording.loopback.empty());
  }
}

TEST_CASE("microphone and loopback are the channels asked for") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "take.wav";
  write_wav(path, 48'000.0, Channels{{0.1F, 0.2F}, {0.3F, 0.4F}, {0.5F, 0.6F}});
  const Recording usual = read_recording(path, 2);
  CHECK(usual.name == path.string());
  CHECK(usual.microphone == std::vector<float>{0.1F, 0.2F});
  CHECK(usual.loopback == std::vector<float>{0.3F, 0.4F});
  const Recording other = read_recording(path, 1, 3);
  CHECK(other.microphone == std::vector<float>{0.5F, 0.6F});
  CHECK(other.loopback == std::vector<float>{0.1F, 0.2F});
}

TEST_CASE("channels that are not there are refused") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "mono.wav";
  write_wav(path, 48'000.0, Channels{{0.1F}});
  const std::string name = path.string();
  CHECK(refusal_of([&] { (void)read_recording(path, 2); }) ==
        name + ": has 1 channel, so no channel 2 for the loopback; choose another channel or export all of them");
  CHECK(refusal_of([&] { (void)read_recording(path, 0, 5); }) ==
        name + ": has 1 channel, so no channel 5 for the microphone; choose another channel or export all of them");
  CHECK(has(refusal_of([&] { (void)read_recording(path, -1); }), "no channel -1 for the loopback"));
  CHECK(has(refusal_of([&] { (void)read_recording(path, 0, 0); }), "no channel 0 for the microphone"));
  CHECK(refusal_of([&] { (void)read_recording(path, 1, 1); }) ==
        name + ": channel 1 cannot be microphone and loopback; give the loopback its own channel, or leave it out");
}

TEST_CASE("a sample that is no number is refused with channel and time of the first") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "broken.wav";
  const float infinity = std::numeric_limits<float>::infinity();
  Channels channels(2, std::vector<float>(96'000, 0.1F));
  channels[1][48'000] = std::nanf("");
  channels[1][60'000] = infinity;
  write_wav(path, 48'000.0, channels);
  CHECK(refusal_of([&] { (void)read_recording(path, 2); }) ==
        path.string() + ": channel 2 is not a number at 1.0000 s (frame 48000); record again, or repair the file");
  CHECK(read_recording(path, 0).microphone.size() == 96'000);  // a channel nobody asked for does no harm
  channels[0][95'999] = -infinity;
  write_wav(path, 48'000.0, channels);
  CHECK(has(refusal_of([&] { (void)read_recording(path, 0); }), "channel 1 is not a number at 2.0000 s (frame 95999)"));
}

TEST_CASE("rates from 44.1 to 192 kHz are read, others refused") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "rate.wav";
  for (const double rate : {44'056.0, 44'100.0, 48'000.0, 88'200.0, 176'400.0, 192'000.0}) {
    write_wav(path, rate, Channels{{0.1F}});
    CHECK(read_recording(path, 0).sample_rate_hz == rate);
  }
  for (const int rate : {8'000, 32'000, 384'000}) {
    write_wav(path, rate, Channels{{0.1F}});
    CHECK(refusal_of([&] { (void)read_recording(path, 0); }) ==
          path.string() + ": has a sample rate of " + std::to_string(rate) + " Hz; record at 44.1 to 192 kHz");
  }
}

TEST_CASE("what is no sound file is refused in one line") {
  const TemporaryFolder folder;
  const auto refusal = [](const fs::path& path) { return refusal_of([&] { (void)read_recording(path, 0); }); };
  const fs::path path = folder.path() / "x.wav";
  CHECK(refusal(path) == path.string() + ": there is no such file; check the name and the folder");
  CHECK(refusal(folder.path()) == folder.path().string() + ": is a folder; give the name of a file in it");
  write_bytes(path, "");
  CHECK(refusal(path) == path.string() + ": is empty; record it again");
  write_bytes(path, "label,delay\nL,0\n");
  CHECK(refusal(path) == path.string() +
                             ": is not a sound file that can be read (Format not recognised); "
                             "export it as WAV or FLAC, 16 or 24 bit or float");
  write_wav(path, 48'000.0, Channels{{}});
  CHECK(refusal(path) ==
        path.string() + ": holds no samples, or its recorder was not stopped properly; record it again");
  CHECK(has(refusal("/dev/zero"), "/dev/zero: is a device or a pipe, not a file; save it to a file first"));
  const fs::path pipe = folder.path() / "pipe.wav";
  REQUIRE(mkfifo(pipe.c_str(), 0600) == 0);
  CHECK(has(refusal(pipe), "is a device or a pipe, not a file"));  // and it does not wait for a writer
  const std::string odd_name = refusal(folder.path() / "two\nlines.wav");
  CHECK(odd_name.find('\n') == std::string::npos);
}

TEST_CASE("compression with loss is refused") {
  const TemporaryFolder folder;
  for (const int format :
       {SF_FORMAT_OGG | SF_FORMAT_VORBIS, SF_FORMAT_WAV | SF_FORMAT_IMA_ADPCM, SF_FORMAT_WAV | SF_FORMAT_ULAW}) {
    const fs::path path = folder.path() / "lossy";
    write_as(path, format, 48'000, std::vector<float>(48'000, 0.1F));
    CHECK(refusal_of([&] { (void)read_recording(path, 0); }) ==
          path.string() +
              ": is compressed with loss, which spoils a measurement; "
              "record as WAV, FLAC or AIFF, 16 or 24 bit or float");
  }
}

TEST_CASE("a recording of more than 30 minutes is refused") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "long.flac";  // silence, so a few kilobytes
  SF_INFO info{};
  info.samplerate = 44'100;
  info.channels = 1;
  info.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_16;
  SNDFILE* const file = sf_open(path.c_str(), SFM_WRITE, &info);
  REQUIRE(file != nullptr);
  const std::vector<short> minute(44'100 * 60);
  for (int m = 0; m < 30; ++m) sf_write_short(file, minute.data(), static_cast<sf_count_t>(minute.size()));
  sf_write_short(file, minute.data(), 1);
  sf_close(file);
  CHECK(refusal_of([&] { (void)read_recording(path, 0); }) ==
        path.string() + ": is longer than 30 minutes; cut it to the measurement");
}

TEST_CASE("sizes in the header are not believed") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "sizes.wav";
  const std::string samples(400, '\x10');  // 200 samples of 0x1010
  for (const std::uint32_t claimed : {0xFFFFFFFFU, 0x7FFFFFF0U, 400U}) {
    CAPTURE(claimed);
    write_bytes(path, wav_header(claimed, 1, claimed) + samples);
    const Recording recording = read_recording(path, 0);
    CHECK(recording.microphone.size() == 200);
    CHECK(recording.microphone[199] == static_cast<float>(0x1010) / 32'768.0F);
  }
  write_bytes(path, wav_header(0, 1, 0) + samples);  // a recorder that crashed before it wrote the size
  CHECK(has(refusal_of([&] { (void)read_recording(path, 0); }), "or its recorder was not stopped properly"));
  write_bytes(path, wav_header(1'000, 2, 401) + samples + '\x10');  // the last frame is cut: not invented
  CHECK(read_recording(path, 0).microphone.size() == 100);
  write_bytes(path, wav_header(0xFFFFFFFFU, 65'535, 0xFFFFFFFFU) + samples);
  CHECK(has(refusal_of([&] { (void)read_recording(path, 0); }), "Too many channels"));
  for (std::size_t cut = 0; cut < 60; ++cut) {  // any truncation is read or refused, nothing else
    CAPTURE(cut);
    write_bytes(path, (wav_header(436, 1, 400) + samples).substr(0, cut));
    std::size_t frames = 0;
    const std::string refusal = refusal_of([&] { frames = read_recording(path, 0).microphone.size(); });
    CHECK(frames == (cut < 46 ? 0U : (cut - 44) / 2));  // 44 bytes of header, 2 a sample
    CHECK(refusal.empty() == (frames > 0));
  }
}

}  // namespace ringtrue
