#include "takes_folder.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "console.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue::app {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr const char* schema = "ringtrue.takes/1";
constexpr const char* index_name = "takes.json";
constexpr std::size_t largest_index_bytes = 1U << 22U;

/// Everything of a stimulus but its level: kept takes must have been played from the same.
std::string describe(const Stimulus& stimulus) {
  std::string text = fmt::format("{} Hz, {} frames", stimulus.sample_rate_hz, stimulus.frames);
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    const SweepShape& shape = stimulus.shapes[sweep.shape];
    text += fmt::format("; speaker {} at {}: {}-{} Hz, {} frames", sweep.speaker + 1, sweep.first_frame,
                        shape.band.low.value(), shape.band.high.value(), shape.samples.size());
  }
  return text;
}

std::string wav_name(std::size_t position) { return fmt::format("position{}.wav", position + 1); }

void write_take(const fs::path& path, const Recording& recording) {
  std::vector<std::vector<float>> channels{recording.microphone};
  if (!recording.loopback.empty()) channels.push_back(recording.loopback);
  write_wav(path, recording.sample_rate_hz, channels);
}

Severity severity_of(const std::string& word) {
  if (word == "stop") return Severity::stop;
  return word == "warn" ? Severity::warn : Severity::note;
}

Json to_json(const KeptTake& take) {
  Json findings = Json::array();
  for (const Finding& finding : take.findings) {
    findings.push_back({{"severity", name(finding.severity)},
                        {"code", finding.code},
                        {"speaker", finding.speaker ? Json(*finding.speaker) : Json{}},
                        {"message", finding.message}});
  }
  return {{"position", take.position + 1},
          {"file", wav_name(take.position)},
          {"verdict", take.untrusted.empty() ? "ok" : "redo"},
          {"untrusted", take.untrusted},
          {"findings", std::move(findings)}};
}

KeptTake take_from(const Json& json) {
  KeptTake take;
  take.position = json.at("position").get<std::size_t>() - 1;
  take.untrusted = json.at("untrusted").get<std::vector<std::string>>();
  for (const Json& finding : json.at("findings")) {
    std::optional<std::string> speaker;
    if (!finding.at("speaker").is_null()) speaker = finding.at("speaker").get<std::string>();
    take.findings.push_back({severity_of(finding.at("severity").get<std::string>()),
                             finding.at("code").get<std::string>(), speaker, finding.at("message").get<std::string>()});
  }
  return take;
}

}  // namespace

TakesFolder::TakesFolder(fs::path folder, bool resume, bool overwrite) : folder_{std::move(folder)} {
  if (folder_.empty()) return;
  std::error_code error;
  if (!fs::exists(folder_ / index_name, error)) return;
  if (resume) {
    load();
    return;
  }
  if (overwrite) return;
  throw InvalidInput{(folder_ / index_name).string(), "takes of an earlier session are there",
                     "go on with them by --resume, or give --overwrite to start anew"};
}

void TakesFolder::load() {
  const fs::path path = folder_ / index_name;
  try {
    const Json json = Json::parse(read_text_file(path, largest_index_bytes));
    if (json.at("schema") != schema)
      throw InvalidInput{path.string(), "is of another kind", "start anew with --overwrite"};
    plan_ = json.at("stimulus").get<std::string>();
    peak_dbfs_ = json.at("peak_level_dbfs").get<double>();
    if (json.contains("decay_s")) decay_s_ = json.at("decay_s").get<double>();
    for (const Json& take : json.at("takes")) takes_.push_back(take_from(take));
  } catch (const Json::exception&) {
    throw InvalidInput{path.string(), "cannot be read", "start anew with --overwrite"};
  }
  std::erase_if(takes_, [&](const KeptTake& take) { return !fs::exists(folder_ / wav_name(take.position)); });
}

void TakesFolder::begin(const Stimulus& stimulus, double peak_dbfs, std::optional<double> decay_s,
                        const std::string& device) {
  const std::string plan = describe(stimulus);
  if (!takes_.empty() && plan != plan_) {
    throw InvalidInput{(folder_ / index_name).string(), "its takes were played with other sweeps or another rig",
                       "give the same options and rig as then, or --overwrite to start anew"};
  }
  plan_ = plan;
  peak_dbfs_ = peak_dbfs;
  decay_s_ = decay_s;
  device_ = device;
}

const KeptTake* TakesFolder::find(std::size_t position) const {
  const auto found = std::ranges::find(takes_, position, &KeptTake::position);
  return found == takes_.end() ? nullptr : &*found;
}

Recording TakesFolder::read(const KeptTake& take) const {
  const fs::path path = folder_ / wav_name(take.position);
  const Sound sound = read_sound(path);
  return read_recording(path, sound.channels.size() > 1 ? 2 : 0);
}

void TakesFolder::keep(const KeptTake& take, const Recording& recording) {
  forget(take.position);
  takes_.push_back(take);
  std::ranges::sort(takes_, {}, &KeptTake::position);
  if (folder_.empty()) return;
  make_folder();
  write_take(folder_ / wav_name(take.position), recording);
  save();
}

void TakesFolder::keep_raw(std::size_t position, int attempt, const Recording& recording) const {
  if (folder_.empty()) return;
  make_folder();
  write_take(folder_ / fmt::format("position{}-attempt{}.wav", position + 1, attempt), recording);
}

void TakesFolder::make_folder() const {
  std::error_code error;
  fs::create_directories(folder_, error);
  if (error) throw InvalidInput{folder_.string(), "cannot be made", "check the permissions and the free space"};
}

void TakesFolder::forget(std::size_t position) {
  std::erase_if(takes_, [position](const KeptTake& take) { return take.position == position; });
}

void TakesFolder::save() const {
  Json takes = Json::array();
  for (const KeptTake& take : takes_) takes.push_back(to_json(take));
  Json json{{"schema", schema},
            {"device", device_},
            {"peak_level_dbfs", peak_dbfs_.value_or(0.0)},
            {"stimulus", plan_},
            {"takes", std::move(takes)}};
  if (decay_s_) json["decay_s"] = *decay_s_;
  write_text_atomically(folder_ / index_name, json.dump(2, ' ', false, Json::error_handler_t::replace) + '\n');
}

}  // namespace ringtrue::app
