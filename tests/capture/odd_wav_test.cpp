#include <doctest/doctest.h>

#include <cstdlib>
#include <map>
#include <optional>

#include "refusal.hpp"
#include "ringtrue/capture/wav_file.hpp"

namespace ringtrue {
namespace {

using namespace test;

struct Expected {
  std::size_t channels = 0;  // 0: refused
  std::size_t frames = 0;
  const char* refusal = "";  // part of it
};

// Frames: data bytes present / bytes per frame, from survey.csv's columns, which agree with what three general readers
// found wherever two of them agree; refusals where the file breaks its own format's rules or our range of rates.
const std::map<std::string, Expected> expectations{
    {"libbw64_apache2/noise_24bit_uneven_data_chunk_size.wav", {1, 13}},
    {"libbw64_apache2/rect_24bit_bext.wav", {2, 22'050}},
    {"libbw64_apache2/rect_24bit_nods64.wav", {2, 22'050}},
    {"libbw64_apache2/rect_24bit_noriff.wav", {0, 0, "Format not recognised"}},
    {"libbw64_apache2/rect_24bit_nowave.wav", {0, 0, "Format not recognised"}},
    {"libbw64_apache2/rect_24bit_rf64.wav", {2, 22'050}},
    {"libbw64_apache2/rect_24bit_wrong_fmt_size.wav", {0, 0, "is not a sound file"}},
    {"made/block_align_wrong.wav", {2, 256}},
    {"made/channels_65535.wav", {0, 0, "Too many channels"}},
    {"made/data_before_fmt.wav", {0, 0, "is not a sound file"}},
    {"made/data_size_smaller_than_file.wav", {1, 500}},
    {"made/digital_silence_int24.wav", {1, 4'800}},
    {"made/extensible_24_valid_in_32_container.wav", {2, 512}},
    {"made/extensible_7.1.4_float32_mask_0x2D63F.wav", {12, 1'200}},
    {"made/float32_all_nan.wav", {0, 0, "channel 1 is not a number at 0.0000 s (frame 0)"}},
    {"made/float32_overs_peak_plus12dBFS.wav", {1, 2'048}},
    {"made/id3_tag_prepended.wav", {1, 256}},
    {"made/no_fmt_chunk.wav", {0, 0, "is not a sound file"}},
    {"made/odd_data_size_padded_then_LIST.wav", {1, 101}},
    {"made/rate_44056.wav", {1, 256}},
    {"made/streamed_sizes_ffffffff.wav", {1, 2'048}},
    {"made/text_file_renamed.wav", {0, 0, "Format not recognised"}},
    {"made/two_data_chunks.wav", {0, 0, "its header contradicts itself"}},
    {"scipy_bsd3/test-1234Hz-le-1ch-10S-20bit-extra.wav", {0, 0, "a sample rate of 1234 Hz"}},
    {"scipy_bsd3/test-44100Hz-2ch-32bit-float-be.wav", {2, 441}},
    {"scipy_bsd3/test-44100Hz-2ch-32bit-float-le.wav", {2, 441}},
    {"scipy_bsd3/test-44100Hz-be-1ch-4bytes.wav", {1, 4'410}},
    {"scipy_bsd3/test-44100Hz-le-1ch-4bytes-early-eof-no-data.wav", {0, 0, "is not a sound file"}},
    {"scipy_bsd3/test-44100Hz-le-1ch-4bytes-early-eof.wav", {1, 236}},
    {"scipy_bsd3/test-44100Hz-le-1ch-4bytes-incomplete-chunk.wav", {0, 0, "is not a sound file"}},
    {"scipy_bsd3/test-44100Hz-le-1ch-4bytes-rf64.wav", {1, 4'410}},
    {"scipy_bsd3/test-44100Hz-le-1ch-4bytes.wav", {1, 4'410}},
    {"scipy_bsd3/test-48000Hz-2ch-64bit-float-le-wavex.wav", {2, 480}},
    {"scipy_bsd3/test-8000Hz-be-3ch-5S-24bit.wav", {0, 0, "a sample rate of 8000 Hz"}},
    {"scipy_bsd3/test-8000Hz-le-1ch-1byte-ulaw.wav", {0, 0, "compressed with loss"}},
    {"scipy_bsd3/test-8000Hz-le-2ch-1byteu.wav", {0, 0, "a sample rate of 8000 Hz"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-24bit-inconsistent.wav", {0, 0, "a sample rate of 8000 Hz"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-24bit-rf64.wav", {0, 0, "a sample rate of 8000 Hz"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-24bit.wav", {0, 0, "a sample rate of 8000 Hz"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-36bit.wav", {0, 0, "is not a sound file"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-45bit.wav", {0, 0, "is not a sound file"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-53bit.wav", {0, 0, "is not a sound file"}},
    {"scipy_bsd3/test-8000Hz-le-3ch-5S-64bit.wav", {0, 0, "is not a sound file"}},
    {"scipy_bsd3/test-8000Hz-le-4ch-9S-12bit.wav", {0, 0, "a sample rate of 8000 Hz"}},
    {"scipy_bsd3/test-8000Hz-le-5ch-9S-5bit.wav", {0, 0, "a sample rate of 8000 Hz"}},
};

std::filesystem::path odd_files() {
  const char* const shared = std::getenv("RINGTRUE_SHARED");
  return std::filesystem::path{shared != nullptr ? shared : RINGTRUE_SOURCE_DIR "/../shared"} / "data" / "odd_wav";
}

}  // namespace

TEST_CASE("awkward WAV files read to what is in them or are refused in one line") {
  if (!std::filesystem::exists(odd_files())) {
    MESSAGE("SKIPPED: " << odd_files().string() << " is not here");
    return;
  }
  std::size_t seen = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator{odd_files()}) {
    if (entry.path().extension() != ".wav") continue;
    const std::string name = entry.path().lexically_relative(odd_files()).string();
    CAPTURE(name);
    REQUIRE(expectations.contains(name));
    const Expected& expected = expectations.at(name);
    std::optional<Sound> sound;
    const std::string refusal = refusal_of([&] { sound = read_sound(entry.path()); });
    ++seen;
    CHECK(sound.has_value() == (expected.channels != 0));
    CHECK(has(refusal, expected.refusal));
    CHECK(refusal.find('\n') == std::string::npos);
    if (!sound || expected.channels == 0) continue;
    CHECK(sound->channels.size() == expected.channels);
    CHECK(sound->channels.back().size() == expected.frames);
  }
  CHECK(seen == expectations.size());
}

}  // namespace ringtrue
