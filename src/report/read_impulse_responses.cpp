#include <algorithm>
#include <cmath>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <system_error>

#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/impulse_responses.hpp"

namespace ringtrue {
namespace {

using IndexJson = nlohmann::json;

constexpr const char* remedy = "use the folder that `ringtrue calibrate` wrote";

IndexJson read_index(const std::filesystem::path& path) {
  std::ifstream file{path, std::ios::binary};
  const std::string text{std::istreambuf_iterator<char>{file}, {}};
  IndexJson index = IndexJson::parse(text, nullptr, false);
  if (index.is_discarded() || !index.is_object() || index.value("schema", "") != "ringtrue.impulse-responses/1") {
    throw InvalidInput{path.string(), "is no index of impulse responses", remedy};
  }
  return index;
}

bool is_silent(const std::vector<float>& samples) {
  return std::ranges::all_of(samples, [](float sample) { return sample == 0.0F; });
}

/// Channels of one speaker's file into the positions.
void read_speaker(const std::filesystem::path& folder, const IndexJson& entry, std::size_t s,
                  std::vector<PositionMeasurement>& positions) {
  if (entry.at("file").is_null()) return;
  const std::filesystem::path name{entry.at("file").get<std::string>()};
  if (name != name.filename()) throw InvalidInput{(folder / "index.json").string(), "a file lies elsewhere", remedy};
  Sound sound = read_sound(folder / name);
  const double first_ms = entry.at("first_sample_ms").get<double>();
  const auto remainders = entry.at("remainder_ms").get<std::vector<double>>();
  if (sound.channels.size() != positions.size() || remainders.size() != positions.size() || !std::isfinite(first_ms)) {
    throw InvalidInput{(folder / name).string(), "does not have a channel per mic position", remedy};
  }
  for (std::size_t p = 0; p < positions.size(); ++p) {
    if (is_silent(sound.channels[p])) continue;
    SpeakerMeasurement& speaker = positions[p].speakers[s];
    speaker.heard = true;
    speaker.response = {sound.sample_rate_hz, first_ms + remainders[p], std::move(sound.channels[p])};
  }
}

}  // namespace

std::vector<PositionMeasurement> read_impulse_responses(const std::filesystem::path& folder, const Rig& rig) {
  std::error_code error;
  const std::filesystem::path path = folder / "index.json";
  if (!std::filesystem::is_regular_file(path, error)) return {};
  const IndexJson index = read_index(path);
  std::vector<PositionMeasurement> positions;
  try {
    for (const IndexJson& entry : index.at("positions")) {
      PositionMeasurement position;
      position.name = entry.at("recording").get<std::string>();
      position.absolute_time = entry.at("time_reference").get<std::string>() == "loopback";
      position.speakers.resize(rig.speakers.size());
      positions.push_back(std::move(position));
    }
    for (const IndexJson& entry : index.at("speakers")) {
      const auto found = std::ranges::find(rig.speakers, entry.at("label").get<std::string>(), &Speaker::label);
      if (found == rig.speakers.end())
        throw InvalidInput{path.string(), "names a speaker that the rig has not", remedy};
      read_speaker(folder, entry, static_cast<std::size_t>(found - rig.speakers.begin()), positions);
    }
  } catch (const IndexJson::exception&) {
    throw InvalidInput{path.string(), "lacks a key or has one of the wrong kind", remedy};
  }
  return positions;
}

}  // namespace ringtrue
