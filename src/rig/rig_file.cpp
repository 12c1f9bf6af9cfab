#include "ringtrue/rig/rig_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>

#include "rig_schema.hpp"
#include "rig_tables.hpp"
#include "toml_file.hpp"

namespace ringtrue {
namespace {

constexpr std::string_view kind_of_file = "rig.toml";

void read_speakers(const TableReader& top, Rig& rig) {
  const auto tables = top.tables("speaker", rig_schema::speaker_table);
  if (tables.empty()) {
    top.refuse("speaker", "missing", "add a [[speaker]] with label and output for each loudspeaker");
  }
  for (const TableReader& table : tables) {
    rig.speakers.push_back(read_speaker(table, rig.interface.sample_rate_hz));
    if (rig.speakers.size() > rig_schema::most_outputs) {
      table.refuse("speaker", fmt::format("more than {} speakers", rig_schema::most_outputs), "remove some");
    }
    if (rig.speakers.back().crossover_hz && !rig.bass_management) {
      table.refuse(rig_schema::crossover.key, "the rig has no [bass_management]", "add that table or remove the key");
    }
  }
  refuse_duplicates(rig, tables);
}

void refuse_shared_loopback(const TableReader& interface, const Rig& rig) {
  if (!rig.interface.loopback_output) return;
  const int output = *rig.interface.loopback_output;
  const auto speaker = std::ranges::find(rig.speakers, output, &Speaker::output);
  if (speaker == rig.speakers.end()) return;
  interface.refuse(rig_schema::loopback_output.key, fmt::format("{} also drives \"{}\"", output, speaker->label),
                   "choose an output that drives no speaker, or leave the key out");
}

void read_positions(const TableReader& top, Rig& rig) {
  constexpr std::size_t most_positions = 100;
  const auto tables = top.tables("position", rig_schema::position_table);
  if (tables.size() > most_positions) {
    top.refuse("position", fmt::format("more than {} mic positions", most_positions), "remove some");
  }
  if (tables.empty()) return;
  rig.positions.clear();
  std::ranges::transform(tables, std::back_inserter(rig.positions), read_position);
}

Rig read_top(const TableReader& top) {
  using namespace rig_schema;
  Rig rig;
  top.read(rig_name, rig.name);
  top.require(layout.key, layout.example);
  top.read(layout, rig.layout);
  if (const auto room = top.table("room", room_table)) rig.room = read_room(*room);
  const auto interface = top.table("interface", interface_table);
  if (interface) rig.interface = read_interface(*interface);
  if (const auto bass = top.table("bass_management", bass_table)) rig.bass_management = read_bass_management(*bass);
  if (const auto microphone = top.table("microphone", microphone_table)) {
    rig.microphone = read_microphone(*microphone);
  }
  read_speakers(top, rig);
  if (interface) refuse_shared_loopback(*interface, rig);
  read_positions(top, rig);
  return rig;
}

}  // namespace

Rig parse_rig(std::string_view text, const std::string& name) {
  require_toml_size(text, name, kind_of_file);
  const TomlTable document = parse_toml(text, name);
  return read_top(TableReader{name, document, rig_schema::top_table, rig_schema::tables});
}

Rig read_rig(const std::filesystem::path& path) { return parse_rig(read_toml_file(path, kind_of_file), path.string()); }

}  // namespace ringtrue
