#include <fmt/format.h>

#include <array>
#include <optional>
#include <span>
#include <string>

#include "ringtrue/rig/layout.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "table_reader.hpp"

namespace ringtrue {
namespace {

std::string toml_string(std::string_view text) {
  std::string result = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20U || byte == 0x7FU) {
      result += fmt::format("\\u{:04X}", byte);
    } else {
      if (c == '"' || c == '\\') result += '\\';
      result += c;
    }
  }
  return result + '"';
}

std::string list(std::span<const double> values) {
  std::string result;
  for (const double value : values) result += (result.empty() ? "" : ", ") + text_of(value);
  return '[' + result + ']';
}

std::string entry(std::string_view key, const std::string& value, std::string_view comment) {
  const std::string setting = fmt::format("{} = {}", key, value);
  return comment.empty() ? setting + '\n' : fmt::format("{:<40} # {}\n", setting, comment);
}

/// The layout's other name, or which ones there are.
std::string layout_comment(const std::string& name) {
  const Layout* const layout = find_layout(name);
  if (layout == nullptr) return "a ring of your own; known: 7.1.4 or 4+7+0, others in docs/rig.md";
  if (layout->bs2051_name == name) return fmt::format("everyday name {}", layout->trade_names.front());
  if (layout->bs2051_name.empty()) return "no system of ITU-R BS.2051";
  return fmt::format("{} in ITU-R BS.2051", layout->bs2051_name);
}

std::string format_top(const Rig& rig) {
  return entry("name", toml_string(rig.name), "your words, shown on every sheet") +
         entry("layout", toml_string(rig.layout), layout_comment(rig.layout));
}

std::string format_room(const RoomFacts& room) {
  constexpr std::string_view size_comment = "length (front-back), width, height";
  return "\n[room]\n" +
         (room.size_m ? entry("size_m", list(*room.size_m), size_comment)
                      : entry("# size_m", "[5.2, 4.4, 2.6]", "length (front-back), width, height; optional")) +
         entry("ear_height_m", text_of(room.ear_height_m), "of the listener's ears above the floor") +
         entry("temperature_c", text_of(room.temperature_c), "sets the speed of sound");
}

std::string format_loopback(const Rig& rig) {
  constexpr std::string_view comment = "a spare output, the sum of all others, cabled to an input";
  const std::optional<int>& output = rig.interface.loopback_output;
  if (output) return entry("loopback_output", fmt::format("{}", *output), comment);
  return entry("# loopback_output", fmt::format("{}", channel_count(rig) + 1), comment);
}

std::string format_interface(const Interface& interface) {
  return "\n[interface]" + std::string(30, ' ') + "# what can be typed in, per output\n" +
         entry("sample_rate_hz", text_of(interface.sample_rate_hz), "44100 to 192000") +
         entry("trim_range_db", list(interface.trim_range_db), "lowest and highest trim") +
         entry("trim_step_db", text_of(interface.trim_step_db), "") +
         entry("delay_range_ms", list(interface.delay_range_ms), "shortest and longest delay") +
         entry("delay_step_ms", text_of(interface.delay_step_ms), "one sample at 48 kHz is 0.0208") +
         entry("eq_bands", fmt::format("{}", interface.eq_bands), "equaliser bands; 0: no equaliser") +
         entry("eq_gain_range_db", list(interface.eq_gain_range_db), "deepest cut, highest boost") +
         entry("eq_gain_step_db", text_of(interface.eq_gain_step_db), "") +
         entry("eq_q_range", list(interface.eq_q_range), "widest and narrowest band") +
         entry("eq_frequency_range_hz", list(interface.eq_frequency_range_hz), "") +
         entry("polarity_switch", interface.polarity_switch ? "true" : "false", "can an output be inverted?");
}

std::string format_bass_management(const std::optional<BassManagement>& bass) {
  if (!bass) return "\n# [bass_management]  # when the interface sends the mains' lows to the sub: take away the #\n";
  return "\n[bass_management]\n" +
         entry("crossover_hz", text_of(bass->crossover_hz), "of all mains that have none of their own") +
         entry("slope", toml_string(name(bass->slope)), "LR12 LR24 LR36 LR48 (Linkwitz-Riley), BW12 BW18 BW24") +
         entry("lfe_gain_db", text_of(bass->lfe_gain_db), "of the LFE channel over a main channel");
}

/// Only where there is something to say: the line that `ringtrue level` writes.
std::string format_microphone(const MicrophoneFacts& microphone) {
  if (!microphone.full_scale_spl_db) return {};
  return "\n[microphone]\n" + entry("full_scale_spl_db", text_of(*microphone.full_scale_spl_db),
                                    "by 'ringtrue level': holds while its gain is left alone");
}

/// "left side surround" for "Lss" or "M+090"; empty for a label of the user's own.
std::string_view in_words(const Layout* layout, const std::string& label) {
  const LayoutChannel* const channel = layout == nullptr ? nullptr : find_channel(*layout, label);
  return channel_name(channel == nullptr ? std::string_view{label} : channel->label);
}

std::string format_speakers(const Rig& rig) {
  const Layout* const layout = find_layout(rig.layout);
  std::string result =
      "\n# The loudspeakers. output: of the interface, counted from 1. kind: main or sub.\n"
      "# band_hz: what the speaker may be driven with; keep a small main away from what it cannot play.\n";
  for (const Speaker& speaker : rig.speakers) {
    result += result.ends_with("play.\n") ? "[[speaker]]\n" : "\n[[speaker]]\n";
    result += entry("label", toml_string(speaker.label), in_words(layout, speaker.label)) +
              entry("output", fmt::format("{}", speaker.output), "") +
              entry("kind", toml_string(name(speaker.kind)), "") +
              entry("band_hz", list(std::array{speaker.band.low.value(), speaker.band.high.value()}), "");
    if (speaker.crossover_hz) result += entry("crossover_hz", text_of(*speaker.crossover_hz), "");
    if (speaker.lfe_only) result += entry("lfe_only", "true", "gets no lows of the mains");
    if (speaker.nominal) {
      result += entry("azimuth_deg", text_of(speaker.nominal->azimuth_deg), "its own place: positive to the left") +
                entry("elevation_deg", text_of(speaker.nominal->elevation_deg), "positive up");
    }
  }
  return result;
}

std::string format_positions(const Rig& rig) {
  std::string result =
      "\n# Mic positions from the ear point, metres: x right, y front, z up. The first is the listening position;\n"
      "# four or more, some off the plane of the others, let each speaker's place be found.\n";
  for (const MicPosition& position : rig.positions) {
    result += result.ends_with("found.\n") ? "[[position]]\n" : "\n[[position]]\n";
    result += entry("offset_m", list(std::array{position.offset_m.x, position.offset_m.y, position.offset_m.z}), "");
  }
  return result;
}

}  // namespace

std::string format_rig(const Rig& rig) {
  return "# A rig: what stands where and what the interface can do. Every key: docs/rig.md.\n" + format_top(rig) +
         format_room(rig.room) + format_interface(rig.interface) + format_loopback(rig) +
         format_bass_management(rig.bass_management) + format_microphone(rig.microphone) + format_speakers(rig) +
         format_positions(rig);
}

}  // namespace ringtrue
