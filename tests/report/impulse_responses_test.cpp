#include "ringtrue/report/impulse_responses.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "calibration/example.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "temporary_folder.hpp"

using namespace ringtrue;
using Json = nlohmann::json;

namespace {

SpeakerMeasurement heard(double first_sample_ms, std::vector<float> samples) {
  SpeakerMeasurement measurement;
  measurement.heard = true;
  measurement.response = {48'000.0, first_sample_ms, std::move(samples)};
  return measurement;
}

/// Two speakers at two positions: L starts 2 samples later at the second, R was heard at the second only.
std::vector<PositionMeasurement> two_positions() {
  std::vector<PositionMeasurement> positions(2);
  positions[0].name = "position1.wav";
  positions[0].absolute_time = true;
  positions[0].speakers = {heard(4.0, {1.0F, 0.5F, 0.25F}), {}};
  positions[1].name = "position2.wav";
  positions[1].speakers = {heard(4.0 + 2.0 / 48.0, {0.75F, -0.5F}), heard(7.0, {0.125F})};
  return positions;
}

Rig two_speakers() {
  Rig result = test::example_rig();
  result.speakers.resize(2);
  return result;
}

Json index_of(const std::filesystem::path& folder) {
  std::ifstream file{folder / "index.json"};
  return Json::parse(file);
}

}  // namespace

TEST_CASE("impulse responses of one speaker share a time line, one channel per position") {
  const test::TemporaryFolder folder;
  write_impulse_responses(folder.path() / "ir", two_speakers(), two_positions());
  const Sound left = read_sound(folder.path() / "ir" / "L.wav");
  CHECK(left.sample_rate_hz == 48'000.0);
  REQUIRE(left.channels.size() == 2);
  CHECK(left.channels[0] == std::vector<float>{1.0F, 0.5F, 0.25F, 0.0F});
  CHECK(left.channels[1] == std::vector<float>{0.0F, 0.0F, 0.75F, -0.5F});  // 2 samples later
  const Sound right = read_sound(folder.path() / "ir" / "R.wav");
  REQUIRE(right.channels.size() == 2);
  CHECK(right.channels[0] == std::vector<float>{0.0F});  // not heard there
  CHECK(right.channels[1] == std::vector<float>{0.125F});
}

TEST_CASE("the index says which file is whose and when its sample 0 was") {
  const test::TemporaryFolder folder;
  write_impulse_responses(folder.path(), two_speakers(), two_positions());
  const Json index = index_of(folder.path());
  CHECK(index["schema"] == "ringtrue.impulse-responses/1");
  CHECK(index["positions"][0] == Json{{"recording", "position1.wav"}, {"time_reference", "loopback"}});
  CHECK(index["positions"][1]["time_reference"] == "earliest arrival");
  CHECK(index["speakers"][0] == Json{{"label", "L"},
                                     {"output", 3},
                                     {"file", "L.wav"},
                                     {"sample_rate_hz", 48'000.0},
                                     {"first_sample_ms", 4.0},
                                     {"remainder_ms", {0.0, 0.0}}});
  CHECK(index["speakers"][1]["first_sample_ms"] == 7.0);
}

TEST_CASE("what whole samples cannot express of a channel's time stands in the index") {
  auto positions = two_positions();
  positions[1].speakers[0].response.first_sample_ms = 4.0 + 2.25 / 48.0;
  const test::TemporaryFolder folder;
  write_impulse_responses(folder.path(), two_speakers(), positions);
  CHECK(read_sound(folder.path() / "L.wav").channels[1][2] == 0.75F);
  // A quarter of a sample at 48 kHz: 0.25 / 48 ms = 0.005208333 ms, written to the nanosecond.
  CHECK(index_of(folder.path())["speakers"][0]["remainder_ms"] == Json{0.0, 0.005208});
}

TEST_CASE("a position recorded at another sample rate joins the others' time line") {
  const test::TemporaryFolder folder;
  auto positions = two_positions();
  // A low-passed impulse of gain 1 at 96 kHz, 1 ms after the first sample.
  std::vector<float> fast(384);
  for (std::size_t n = 0; n < fast.size(); ++n) {
    const double x = (static_cast<double>(n) - 96.0) / 12.0;
    fast[n] = static_cast<float>(std::exp(-0.5 * x * x) / (12.0 * std::sqrt(2.0 * 3.14159265358979)));
  }
  positions[1].speakers[0].response = {96'000.0, 4.0, fast};
  write_impulse_responses(folder.path() / "ir", two_speakers(), positions);
  const Sound left = read_sound(folder.path() / "ir" / "L.wav");
  CHECK(left.sample_rate_hz == 48'000.0);
  REQUIRE(left.channels.size() == 2);
  const auto& channel = left.channels[1];
  double sum = 0.0;  // the gain at 0 Hz stays what it was
  for (const float x : channel) sum += static_cast<double>(x);
  CHECK(std::abs(sum - 1.0) < 1e-3);
  CHECK(std::max_element(channel.begin(), channel.end()) - channel.begin() == 48);
}

TEST_CASE("a speaker heard nowhere has no file and says so in the index") {
  auto positions = two_positions();
  positions[1].speakers[1] = {};
  const test::TemporaryFolder folder;
  write_impulse_responses(folder.path(), two_speakers(), positions);
  CHECK_FALSE(std::filesystem::exists(folder.path() / "R.wav"));
  CHECK(index_of(folder.path())["speakers"][1]["file"].is_null());
}

TEST_CASE("file names are safe and all different whatever the labels") {
  Rig rig;
  rig.speakers = {{.label = "M+030", .output = 1}, {.label = "../../etc/passwd", .output = 2},
                  {.label = "m+030", .output = 3}, {.label = "Größe", .output = 4},
                  {.label = "..", .output = 5},    {.label = "L_output7", .output = 6},
                  {.label = "L/", .output = 7},    {.label = std::string(300, 'x'), .output = 8}};
  CHECK(impulse_response_file_names(rig) == std::vector<std::string>{"M+030.wav", "etcpasswd_output2.wav",
                                                                     "m+030_output3.wav", "Gre_output4.wav",
                                                                     "_output5.wav", "L_output7.wav", "L_output7_.wav",
                                                                     std::string(64, 'x') + "_output8.wav"});
}

TEST_CASE("a folder that cannot be made is a one-line error") {
  const test::TemporaryFolder folder;
  std::ofstream{folder.path() / "file"} << "x";
  const auto inside_a_file = folder.path() / "file" / "ir";
  try {
    write_impulse_responses(inside_a_file, two_speakers(), two_positions());
    FAIL("no error");
  } catch (const InvalidInput& error) {
    CHECK(std::string{error.what()} ==
          inside_a_file.string() + ": the folder cannot be made (Not a directory); choose a place where you may write");
  }
}
