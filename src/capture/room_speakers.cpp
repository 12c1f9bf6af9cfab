#include "room_speakers.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <iterator>
#include <optional>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/layout.hpp"
#include "room_schema.hpp"
#include "room_shape.hpp"
#include "speaker_model.hpp"

namespace ringtrue {
namespace {

using namespace room_schema;

constexpr std::size_t most_speakers = 64;
constexpr double nominal_distance_m = 2.0;

const Speaker* rig_speaker(const Rig& rig, const std::string& wanted) {
  const auto found = std::ranges::find(rig.speakers, wanted, &Speaker::label);
  return found == rig.speakers.end() ? nullptr : &*found;
}

/// The layout's nominal direction at 2 m. A layout's place for an LFE channel is a place holder, but one must be had.
std::optional<Point> nominal_place(const Rig& rig, std::string_view wanted) {
  const Layout* const layout = find_layout(rig.layout);
  const LayoutChannel* const channel = layout == nullptr ? nullptr : find_channel(*layout, wanted);
  if (channel == nullptr) return std::nullopt;
  return place(channel->nominal, nominal_distance_m);
}

/// @returns false when no key says where it stands
bool read_place(const TableReader& table, Point& result) {
  std::array<double, 3> at{};
  const bool by_position = table.read(position, at);
  double distance = nominal_distance_m;
  Direction direction;
  const bool by_azimuth = table.read(azimuth, direction.azimuth_deg);
  const bool by_elevation = table.read(elevation, direction.elevation_deg);
  const bool by_distance = table.read(room_schema::distance, distance);
  if (by_position && (by_azimuth || by_elevation || by_distance)) {
    table.refuse(position.key, "given together with a direction or distance",
                 "keep position_m, or azimuth_deg, elevation_deg and distance_m");
  }
  if ((by_elevation || by_distance) && !by_azimuth) {
    table.refuse(azimuth.key, "missing beside elevation_deg or distance_m", "add, for example, azimuth_deg = 30");
  }
  if (by_position) result = {at[0], at[1], at[2]};
  if (by_azimuth) result = place(direction, distance);
  return by_position || by_azimuth;
}

void read_impulse_responses(const RoomSection& section, const std::filesystem::path& folder, const Rig& rig,
                            VirtualSpeaker& speaker) {
  const TomlValue* const value = section.find(impulse_responses);
  if (value == nullptr) return;
  const std::string remedy = R"(write, for example, impulse_response_files = ["left.wav"], one per mic position)";
  const auto* const list = std::get_if<std::vector<TomlValue>>(&value->data);
  if (list == nullptr) section.reader.refuse(impulse_responses, "is not a list of file names", remedy);
  for (const TomlValue& element : *list) {
    const auto* const file = std::get_if<std::string>(&element.data);
    if (file == nullptr || file->empty())
      section.reader.refuse(impulse_responses, "is not a list of file names", remedy);
    speaker.impulse_response_files.push_back((folder / *file).string());
  }
  if (list->size() != rig.positions.size()) {
    section.reader.refuse(impulse_responses,
                          fmt::format("{} file{} for {} mic position{}", list->size(), list->size() == 1 ? "" : "s",
                                      rig.positions.size(), rig.positions.size() == 1 ? "" : "s"),
                          "give one per [[position]] of the rig, in its order");
  }
}

/// What a speaker of the rig is like before its table is read.
VirtualSpeaker default_speaker(const std::string& name, SpeakerKind kind) {
  VirtualSpeaker speaker;
  speaker.label = name;
  if (kind == SpeakerKind::sub) {
    speaker.model = "sub";
    speaker.band = {Hertz{22.0}, Hertz{180.0}};
  }
  return speaker;
}

void read_model(const TableReader& table, VirtualSpeaker& speaker) {
  if (!table.read(model, speaker.model)) return;
  if (!is_speaker_model(speaker.model)) {
    table.refuse(model.key, fmt::format("\"{}\" is no model", shown(speaker.model)),
                 "write two-way, two-way-inverting, full-range, sub or silent");
  }
  speaker.band = default_speaker("", speaker.model == "sub" ? SpeakerKind::sub : SpeakerKind::main).band;
}

void read_sound_of(const TableReader& table, VirtualSpeaker& speaker) {
  read_model(table, speaker);
  table.read(crossover, speaker.crossover_hz);
  std::array<double, 2> range{};
  if (table.read_range(band, range)) speaker.band = {Hertz{range[0]}, Hertz{range[1]}};
  table.read(gain, speaker.gain_db);
  table.read(inverted, speaker.inverted);
  table.read(extra_delay, speaker.extra_delay_ms);
  table.read(second_harmonic, speaker.second_harmonic_percent);
  table.read(third_harmonic, speaker.third_harmonic_percent);
}

VirtualSpeaker read_speaker(const RoomSection& section, const std::filesystem::path& folder, const Rig& rig,
                            const VirtualRoom& room) {
  const TableReader& table = section.reader;
  std::string name;
  table.require(label.key, label.example);
  table.read(label, name);
  const Speaker* const known = rig_speaker(rig, name);
  VirtualSpeaker speaker = default_speaker(name, known == nullptr ? SpeakerKind::main : known->kind);
  int output = 0;
  if (table.read(plays_output, output)) speaker.plays_output = output;
  if (known == nullptr && !speaker.plays_output) {
    table.refuse(label.key, fmt::format("the rig has no speaker \"{}\"", shown(name)),
                 "correct the label, or add plays_output");
  }
  read_sound_of(table, speaker);
  read_impulse_responses(section, folder, rig, speaker);
  const bool placed = read_place(table, speaker.position_m);
  if (!speaker.impulse_response_files.empty()) return speaker;
  if (!placed) {
    const auto nominal = nominal_place(rig, name);
    if (!nominal) table.refuse(position.key, "missing, and the layout has no place for this label", "add position_m");
    speaker.position_m = *nominal;
  }
  if (!is_inside(room, speaker.position_m)) {
    const std::string_view blamed = section.find(room_schema::distance.key) != nullptr ? room_schema::distance.key
                                    : section.find(azimuth.key) != nullptr             ? azimuth.key
                                                                                       : position.key;
    table.refuse(blamed, fmt::format("{} stands outside the walls", name), "move it inwards, or correct [room]");
  }
  return speaker;
}

/// A speaker of the rig of which the room file says nothing.
VirtualSpeaker nominal_speaker(const Speaker& known, const Rig& rig, const VirtualRoom& room, const std::string& file) {
  VirtualSpeaker speaker = default_speaker(known.label, known.kind);
  const auto nominal = nominal_place(rig, known.label);
  const std::string remedy = fmt::format("add a [[speaker]] with label = \"{}\" and position_m", known.label);
  if (!nominal)
    throw InvalidInput{file, fmt::format("says nothing of {}, and its layout neither", known.label), remedy};
  speaker.position_m = *nominal;
  if (!is_inside(room, *nominal)) {
    throw InvalidInput{file, fmt::format("{} would stand outside the walls at {} m", known.label, nominal_distance_m),
                       remedy};
  }
  return speaker;
}

}  // namespace

std::vector<VirtualSpeaker> read_speakers(std::span<const RoomSection> sections, const Rig& rig,
                                          const VirtualRoom& room, const std::string& file) {
  const std::filesystem::path folder = std::filesystem::path{file}.parent_path();
  std::vector<VirtualSpeaker> read;
  for (const RoomSection& table : sections) {
    if (read.size() == most_speakers) table.reader.refuse(label.key, "more than 64 speakers", "remove some");
    read.push_back(read_speaker(table, folder, rig, room));
    if (std::ranges::count(read, read.back().label, &VirtualSpeaker::label) > 1) {
      table.reader.refuse(label.key, fmt::format("\"{}\" is there twice", shown(read.back().label)),
                          "rename or remove one");
    }
  }
  std::vector<VirtualSpeaker> all;
  for (const Speaker& known : rig.speakers) {
    const auto found = std::ranges::find(read, known.label, &VirtualSpeaker::label);
    all.push_back(found == read.end() ? nominal_speaker(known, rig, room, file) : *found);
  }
  std::ranges::copy_if(read, std::back_inserter(all),
                       [&](const VirtualSpeaker& speaker) { return rig_speaker(rig, speaker.label) == nullptr; });
  return all;
}

}  // namespace ringtrue
