#pragma once

#include <array>
#include <string_view>

#include "table_reader.hpp"

/// Every key of rig.toml with its bounds, in the order docs/rig.md lists them. A bound is where a value stops making
/// sense in a room for one listener, not where some device stops.
namespace ringtrue::rig_schema {

inline constexpr int most_outputs = 64;
inline constexpr double most_offset_m = 5.0;        // a mic position further than this is no longer around the listener
inline constexpr double least_band_ratio = 1.4142;  // half an octave, the least a level can be measured in

inline constexpr TextRule rig_name{"name", 0, 100, "\"Attic room\""};
inline constexpr TextRule layout{"layout", 1, 60, "\"7.1.4\""};

inline constexpr NumberRule size{"size_m", 1.0, 100.0, "m", "[5.2, 4.4, 2.6]"};
inline constexpr NumberRule ear_height{"ear_height_m", 0.2, 20.0, "m", "1.2"};
inline constexpr NumberRule temperature{"temperature_c", -20.0, 50.0, "degrees C", "22"};

inline constexpr NumberRule sample_rate{"sample_rate_hz", 44'100.0, 192'000.0, "Hz", "48000"};
inline constexpr NumberRule trim_range{"trim_range_db", -200.0, 60.0, "dB", "[-20.0, 0.0]"};
inline constexpr NumberRule trim_step{"trim_step_db", 0.001, 10.0, "dB", "0.1"};
inline constexpr NumberRule delay_range{"delay_range_ms", 0.0, 10'000.0, "ms", "[0.0, 40.0]"};
inline constexpr NumberRule delay_step{"delay_step_ms", 0.0001, 10.0, "ms", "0.01"};
inline constexpr NumberRule eq_bands{"eq_bands", 0.0, 64.0, "", "8"};
inline constexpr NumberRule eq_gain_range{"eq_gain_range_db", -60.0, 60.0, "dB", "[-12.0, 3.0]"};
inline constexpr NumberRule eq_gain_step{"eq_gain_step_db", 0.001, 10.0, "dB", "0.1"};
inline constexpr NumberRule eq_q_range{"eq_q_range", 0.05, 200.0, "", "[0.4, 10.0]"};
inline constexpr NumberRule eq_frequency_range{"eq_frequency_range_hz", 1.0, 96'000.0, "Hz", "[20, 20000]"};
inline constexpr std::string_view polarity_switch = "polarity_switch";
inline constexpr NumberRule loopback_output{"loopback_output", 1.0, most_outputs, "", "16"};

inline constexpr NumberRule full_scale_spl{"full_scale_spl_db", 20.0, 200.0, "dB SPL", "122.4"};

inline constexpr NumberRule crossover{"crossover_hz", 20.0, 500.0, "Hz", "80"};
inline constexpr NumberRule lfe_gain{"lfe_gain_db", -30.0, 30.0, "dB", "10"};
inline constexpr TextRule slope{"slope", 1, 16, "\"LR24\""};

inline constexpr TextRule label{"label", 1, 32, "\"L\""};
inline constexpr NumberRule output{"output", 1.0, most_outputs, "", "1"};
inline constexpr TextRule kind{"kind", 1, 16, "\"main\""};
inline constexpr NumberRule band{"band_hz", 1.0, 96'000.0, "Hz", "[50, 20000]"};
inline constexpr std::string_view lfe_only = "lfe_only";
inline constexpr NumberRule azimuth{"azimuth_deg", -180.0, 180.0, "degrees", "30"};
inline constexpr NumberRule elevation{"elevation_deg", -90.0, 90.0, "degrees", "0"};

inline constexpr NumberRule offset{"offset_m", -most_offset_m, most_offset_m, "m", "[0.0, 0.0, 0.0]"};

inline constexpr std::array<std::string_view, 8> top_keys{rig_name.key,      layout.key,   "room",    "interface",
                                                          "bass_management", "microphone", "speaker", "position"};
inline constexpr std::array<std::string_view, 3> room_keys{size.key, ear_height.key, temperature.key};
inline constexpr std::array<std::string_view, 12> interface_keys{
    sample_rate.key,   trim_range.key,   trim_step.key,  delay_range.key,        delay_step.key,  eq_bands.key,
    eq_gain_range.key, eq_gain_step.key, eq_q_range.key, eq_frequency_range.key, polarity_switch, loopback_output.key};
inline constexpr std::array<std::string_view, 1> microphone_keys{full_scale_spl.key};
inline constexpr std::array<std::string_view, 3> bass_keys{crossover.key, lfe_gain.key, slope.key};
inline constexpr std::array<std::string_view, 8> speaker_keys{label.key,     output.key,  kind.key,      band.key,
                                                              crossover.key, azimuth.key, elevation.key, lfe_only};
inline constexpr std::array<std::string_view, 1> position_keys{offset.key};

inline constexpr TableSchema top_table{"", top_keys};
inline constexpr TableSchema room_table{"[room]", room_keys};
inline constexpr TableSchema interface_table{"[interface]", interface_keys};
inline constexpr TableSchema bass_table{"[bass_management]", bass_keys};
inline constexpr TableSchema microphone_table{"[microphone]", microphone_keys};
inline constexpr TableSchema speaker_table{"[[speaker]]", speaker_keys};
inline constexpr TableSchema position_table{"[[position]]", position_keys};
inline constexpr std::array<TableSchema, 7> tables{top_table,        room_table,    interface_table, bass_table,
                                                   microphone_table, speaker_table, position_table};

}  // namespace ringtrue::rig_schema
