#include "ringtrue/report/impulse_responses.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <nlohmann/json.hpp>
#include <set>
#include <system_error>

#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/dsp/resample.hpp"

namespace ringtrue {
namespace {

using Json = nlohmann::ordered_json;

bool is_plain(char c) {
  const bool letter = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
  return letter || (c >= '0' && c <= '9') || c == '+' || c == '-' || c == '_';
}

std::string lower_case(std::string text) {
  for (char& c : text) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return text;
}

bool was_heard(const SpeakerMeasurement& measurement) {
  return measurement.heard && !measurement.response.samples.empty();
}

/// One speaker's responses on a common time line of whole samples.
struct Aligned {
  double sample_rate_hz = 0.0;
  double first_sample_ms = 0.0;
  std::vector<std::vector<float>> channels;  // one per position; silent where the speaker was not heard
  std::vector<double> remainder_ms;          // a sample's true time after its time on the common line
};

/// The earliest response, to which sample 0 of the file belongs; null where the speaker was heard nowhere.
const ImpulseResponse* earliest(std::span<const PositionMeasurement> positions, std::size_t speaker) {
  const ImpulseResponse* first = nullptr;
  for (const auto& position : positions) {
    const auto& measurement = position.speakers[speaker];
    if (!was_heard(measurement)) continue;
    if (first == nullptr || measurement.response.first_sample_ms < first->first_sample_ms) {
      first = &measurement.response;
    }
  }
  return first;
}

void add_channel(Aligned& aligned, const SpeakerMeasurement& measurement) {
  aligned.channels.emplace_back();
  aligned.remainder_ms.push_back(0.0);
  if (!was_heard(measurement)) return;
  const ImpulseResponse& response = measurement.response;
  const double samples_per_ms = aligned.sample_rate_hz / 1'000.0;
  const double late_ms = response.first_sample_ms - aligned.first_sample_ms;
  const double late_samples = std::round(late_ms * samples_per_ms);
  auto& channel = aligned.channels.back();
  channel.resize(static_cast<std::size_t>(late_samples), 0.0F);
  if (response.sample_rate_hz == aligned.sample_rate_hz) {
    channel.insert(channel.end(), response.samples.begin(), response.samples.end());
  } else {  // a position recorded at another rate; the response is per sample, so its samples shrink as the rate grows
    const std::vector<double> samples(response.samples.begin(), response.samples.end());
    const double scale = response.sample_rate_hz / aligned.sample_rate_hz;
    for (const double x : resample(samples, response.sample_rate_hz, aligned.sample_rate_hz)) {
      channel.push_back(static_cast<float>(scale * x));
    }
  }
  aligned.remainder_ms.back() = late_ms - late_samples / samples_per_ms;
}

Aligned align(std::span<const PositionMeasurement> positions, std::size_t speaker, const ImpulseResponse& first) {
  Aligned aligned{first.sample_rate_hz, first.first_sample_ms, {}, {}};
  for (const auto& position : positions) add_channel(aligned, position.speakers[speaker]);
  std::size_t frames = 0;
  for (const auto& channel : aligned.channels) frames = std::max(frames, channel.size());
  for (auto& channel : aligned.channels) channel.resize(frames, 0.0F);
  return aligned;
}

/// To the nanosecond, never -0: far below what is measured, and no digits of binary noise.
double to_nanosecond(double time_ms) { return std::round(time_ms * 1e6) / 1e6 + 0.0; }

Json describe(const Speaker& speaker, const std::string& file_name, const Aligned& aligned) {
  Json remainders = Json::array();
  for (const double remainder : aligned.remainder_ms) remainders.push_back(to_nanosecond(remainder));
  return {{"label", speaker.label},
          {"output", speaker.output},
          {"file", file_name},
          {"sample_rate_hz", aligned.sample_rate_hz},
          {"first_sample_ms", to_nanosecond(aligned.first_sample_ms)},
          {"remainder_ms", std::move(remainders)}};
}

Json describe_silent(const Speaker& speaker) {
  return {{"label", speaker.label},    {"output", speaker.output},   {"file", nullptr},
          {"sample_rate_hz", nullptr}, {"first_sample_ms", nullptr}, {"remainder_ms", Json::array()}};
}

Json describe(std::span<const PositionMeasurement> positions) {
  Json all = Json::array();
  for (const auto& position : positions) {
    all.push_back(
        {{"recording", position.name}, {"time_reference", position.absolute_time ? "loopback" : "earliest arrival"}});
  }
  return all;
}

void make_folder(const std::filesystem::path& folder) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (!error) return;
  throw InvalidInput{folder.string(), "the folder cannot be made (" + error.message() + ")",
                     "choose a place where you may write"};
}

}  // namespace

std::vector<std::string> impulse_response_file_names(const Rig& rig) {
  std::vector<std::string> names;
  std::set<std::string> taken;
  for (const auto& speaker : rig.speakers) {
    std::string stem = speaker.label;
    std::erase_if(stem, [](char c) { return !is_plain(c); });
    const bool as_it_is = stem == speaker.label && !stem.empty() && stem.size() <= 64;
    if (!as_it_is || !taken.insert(lower_case(stem)).second) {
      stem = stem.substr(0, 64) + "_output" + std::to_string(speaker.output);
      while (!taken.insert(lower_case(stem)).second) stem += '_';
    }
    names.push_back(stem + ".wav");
  }
  return names;
}

void write_impulse_responses(const std::filesystem::path& folder, const Rig& rig,
                             std::span<const PositionMeasurement> positions) {
  make_folder(folder);
  const auto file_names = impulse_response_file_names(rig);
  Json speakers = Json::array();
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const ImpulseResponse* first = earliest(positions, s);
    if (first == nullptr) {
      speakers.push_back(describe_silent(rig.speakers[s]));
      continue;
    }
    const Aligned aligned = align(positions, s, *first);
    write_wav(folder / file_names[s], aligned.sample_rate_hz, aligned.channels);
    speakers.push_back(describe(rig.speakers[s], file_names[s], aligned));
  }
  const Json index{{"schema", "ringtrue.impulse-responses/1"},
                   {"positions", describe(positions)},
                   {"speakers", std::move(speakers)}};
  write_text_atomically(folder / "index.json", index.dump(2, ' ', false, Json::error_handler_t::replace) + '\n');
}

}  // namespace ringtrue
