#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>

#include "../rig/toml_file.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/core/errors.hpp"
#include "room_schema.hpp"
#include "room_section.hpp"
#include "room_shape.hpp"
#include "room_speakers.hpp"

namespace ringtrue {
namespace {

using namespace room_schema;

constexpr double default_reverberation_s = 0.3;

std::optional<RoomSection> section(const TableReader& top, const TomlTable& document, const TableSchema& schema,
                                   std::string_view key) {
  const auto reader = top.table(key, schema);
  if (!reader) return std::nullopt;
  const auto entry = std::ranges::find(document.entries, key, &TomlEntry::key);
  return RoomSection{*reader, &std::get<TomlTable>(entry->value.data)};
}

/// One wall's absorption out of a list, judged as the key itself would be.
double wall_absorption(const RoomSection& room, const TomlValue& value) {
  double number = 0.0;
  if (const auto* const real = std::get_if<double>(&value.data)) {
    number = *real;
  } else if (const auto* const whole = std::get_if<std::int64_t>(&value.data)) {
    number = static_cast<double>(*whole);
  }
  if (number >= absorption.low && number <= absorption.high) return number;
  room.reader.refuse(absorption.key, fmt::format("a wall is outside {} to {}", absorption.low, absorption.high),
                     "write six numbers: left, right, front, back, floor, ceiling");
}

void read_absorption(const RoomSection& room, VirtualRoom& result) {
  const TomlValue* const value = room.find(absorption.key);
  const TableReader& reader = room.reader;
  double time_s = default_reverberation_s;
  if (reader.read(reverberation_time, time_s) && value != nullptr) {
    reader.refuse(absorption.key, "given together with reverberation_time_s", "keep one of them");
  }
  if (value == nullptr) {
    result.absorption.fill(eyring_absorption(shoebox_of(result), time_s));
    return;
  }
  const auto* const list = std::get_if<std::vector<TomlValue>>(&value->data);
  if (list == nullptr) {
    double even = 0.0;
    reader.read(absorption, even);
    result.absorption.fill(even);
    return;
  }
  if (list->size() != result.absorption.size()) {
    reader.refuse(absorption.key, fmt::format("a list of {}", list->size()),
                  "write one number, or six: left, right, front, back, floor, ceiling");
  }
  std::ranges::transform(*list, result.absorption.begin(),
                         [&](const TomlValue& wall) { return wall_absorption(room, wall); });
}

/// The ear point from the tape measure's numbers, left out ones in the middle; the height is the rig's.
void read_ear(const TableReader* room, const Rig& rig, VirtualRoom& result) {
  double from_front_m = 0.5 * result.size_m[0];
  double from_left_m = 0.5 * result.size_m[1];
  double height_m = rig.room.ear_height_m;
  if (room != nullptr) {
    room->read(ear_from_front, from_front_m);
    room->read(ear_from_left, from_left_m);
    room->read(ear_height, height_m);
  }
  result.ear_m = {from_left_m - 0.5 * result.size_m[1], 0.5 * result.size_m[0] - from_front_m, height_m};
}

void read_room(const TableReader& top, const TomlTable& document, const Rig& rig, VirtualRoom& result) {
  if (rig.room.size_m) result.size_m = *rig.room.size_m;
  result.temperature_c = rig.room.temperature_c;
  const auto room = section(top, document, room_table, "room");
  if (room) {
    room->reader.read(size, result.size_m);
    room->reader.read(temperature, result.temperature_c);
    read_absorption(*room, result);
  } else {
    result.absorption.fill(eyring_absorption(shoebox_of(result), default_reverberation_s));
  }
  read_ear(room ? &room->reader : nullptr, rig, result);
  if (is_inside(result, Point{})) return;
  const TableReader& blamed = room ? room->reader : top;
  blamed.refuse("ear_height_m", "the ear point is outside the walls", "correct it, size_m or the other ear_ keys");
}

void read_recorder(const TableReader& top, VirtualRoom& result) {
  const auto table = top.table("recorder", recorder_table);
  if (!table) return;
  table->read(latency, result.latency_ms);
  table->read(start_offset, result.start_offset_ms);
  table->read(clock, result.clock_ppm);
  if (table->read(sample_rate, result.recorder_sample_rate_hz) &&
      result.recorder_sample_rate_hz != std::round(result.recorder_sample_rate_hz)) {
    table->refuse(sample_rate.key, fmt::format("{} is not a whole number", result.recorder_sample_rate_hz),
                  "write, for example, sample_rate_hz = 48000; a wrong clock is clock_ppm");
  }
  table->read(loopback, result.loopback);
  table->read(microphone_gain, result.microphone_gain_db);
  table->read(full_scale_spl, result.full_scale_spl_db);
}

void read_noise(const TableReader& top, VirtualRoom& result) {
  const auto table = top.table("noise", noise_table);
  if (!table) return;
  table->read(white, result.noise_dbfs);
  table->read(hum, result.hum_dbfs);
  table->read(rumble, result.rumble_dbfs);
  int number = 1;
  if (table->read(seed, number)) result.seed = static_cast<std::uint64_t>(number);
}

std::vector<RoomSection> speaker_sections(const TableReader& top, const TomlTable& document) {
  const auto readers = top.tables("speaker", speaker_table);
  std::vector<RoomSection> sections;
  if (readers.empty()) return sections;
  const auto entry = std::ranges::find(document.entries, "speaker", &TomlEntry::key);
  const auto& list = std::get<std::vector<TomlValue>>(entry->value.data);
  for (std::size_t i = 0; i < list.size(); ++i) sections.push_back({readers[i], &std::get<TomlTable>(list[i].data)});
  return sections;
}

}  // namespace

VirtualRoom parse_virtual_room(std::string_view text, const std::string& name, const Rig& rig) {
  require_toml_size(text, name, "room file");
  const TomlTable document = parse_toml(text, name);
  const TableReader top{name, document, top_table, tables};
  VirtualRoom room;
  read_room(top, document, rig, room);
  read_recorder(top, room);
  read_noise(top, room);
  room.speakers = read_speakers(speaker_sections(top, document), rig, room, name);
  return room;
}

VirtualRoom read_virtual_room(const std::filesystem::path& path, const Rig& rig) {
  return parse_virtual_room(read_toml_file(path, "room file"), path.string(), rig);
}

}  // namespace ringtrue
