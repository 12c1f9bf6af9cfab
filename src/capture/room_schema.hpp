#pragma once

#include <array>
#include <string_view>

#include "../rig/table_reader.hpp"

/// Every key of ROOM.toml with its bounds, in the order docs/virtual-room.md lists them.
namespace ringtrue::room_schema {

inline constexpr NumberRule size{"size_m", 1.0, 100.0, "m", "[5.2, 4.4, 2.6]"};
inline constexpr NumberRule ear_from_front{"ear_from_front_m", 0.0, 100.0, "m", "2.4"};
inline constexpr NumberRule ear_from_left{"ear_from_left_m", 0.0, 100.0, "m", "2.2"};
inline constexpr NumberRule ear_height{"ear_height_m", 0.0, 100.0, "m", "1.2"};
inline constexpr NumberRule absorption{"absorption", 0.001, 1.0, "", "0.3"};
inline constexpr NumberRule reverberation_time{"reverberation_time_s", 0.05, 10.0, "s", "0.3"};
inline constexpr NumberRule temperature{"temperature_c", -20.0, 50.0, "degrees C", "22"};

inline constexpr NumberRule latency{"latency_ms", 0.0, 1'000.0, "ms", "12"};
inline constexpr NumberRule start_offset{"start_offset_ms", -2'000.0, 2'000.0, "ms", "-400"};
inline constexpr NumberRule clock{"clock_ppm", -10'000.0, 10'000.0, "ppm", "30"};
inline constexpr NumberRule sample_rate{"sample_rate_hz", 44'100.0, 192'000.0, "Hz", "48000"};
inline constexpr std::string_view loopback = "loopback";
inline constexpr NumberRule microphone_gain{"microphone_gain_db", -100.0, 100.0, "dB", "0"};

inline constexpr NumberRule full_scale_spl{"full_scale_spl_db", 20.0, 200.0, "dB SPL", "120"};

inline constexpr NumberRule white{"white_dbfs", -200.0, 0.0, "dBFS", "-90"};
inline constexpr NumberRule hum{"hum_dbfs", -200.0, 0.0, "dBFS", "-80"};
inline constexpr NumberRule rumble{"rumble_dbfs", -200.0, 0.0, "dBFS", "-70"};
inline constexpr NumberRule seed{"seed", 0.0, 2'147'483'647.0, "", "1"};

inline constexpr TextRule label{"label", 1, 16, "\"L\""};
inline constexpr NumberRule position{"position_m", -100.0, 100.0, "m", "[-1.0, 1.7, 0.0]"};
inline constexpr NumberRule azimuth{"azimuth_deg", -180.0, 360.0, "degrees", "30"};
inline constexpr NumberRule elevation{"elevation_deg", -90.0, 90.0, "degrees", "0"};
inline constexpr NumberRule distance{"distance_m", 0.05, 100.0, "m", "2.0"};
inline constexpr TextRule model{"model", 1, 32, "\"two-way\""};
inline constexpr NumberRule crossover{"crossover_hz", 50.0, 20'000.0, "Hz", "2200"};
inline constexpr NumberRule band{"band_hz", 5.0, 100'000.0, "Hz", "[55, 21000]"};
inline constexpr NumberRule gain{"gain_db", -200.0, 60.0, "dB", "0.5"};
inline constexpr std::string_view inverted = "inverted";
inline constexpr NumberRule extra_delay{"extra_delay_ms", 0.0, 500.0, "ms", "1.5"};
inline constexpr NumberRule second_harmonic{"second_harmonic_percent", 0.0, 50.0, "%", "0.3"};
inline constexpr NumberRule third_harmonic{"third_harmonic_percent", 0.0, 50.0, "%", "0.1"};
inline constexpr std::string_view impulse_responses = "impulse_response_files";
inline constexpr NumberRule plays_output{"plays_output", 1.0, 64.0, "", "2"};

inline constexpr std::array<std::string_view, 4> top_keys{"room", "recorder", "noise", "speaker"};
inline constexpr std::array<std::string_view, 7> room_keys{size.key,       ear_from_front.key, ear_from_left.key,
                                                           ear_height.key, absorption.key,     reverberation_time.key,
                                                           temperature.key};
inline constexpr std::array<std::string_view, 7> recorder_keys{
    latency.key, start_offset.key, clock.key, sample_rate.key, loopback, microphone_gain.key, full_scale_spl.key};
inline constexpr std::array<std::string_view, 4> noise_keys{white.key, hum.key, rumble.key, seed.key};
inline constexpr std::array<std::string_view, 15> speaker_keys{
    label.key,       position.key,        azimuth.key,        elevation.key,     distance.key,
    model.key,       crossover.key,       band.key,           gain.key,          inverted,
    extra_delay.key, second_harmonic.key, third_harmonic.key, impulse_responses, plays_output.key};

inline constexpr TableSchema top_table{"", top_keys};
inline constexpr TableSchema room_table{"[room]", room_keys};
inline constexpr TableSchema recorder_table{"[recorder]", recorder_keys};
inline constexpr TableSchema noise_table{"[noise]", noise_keys};
inline constexpr TableSchema speaker_table{"[[speaker]]", speaker_keys};
inline constexpr std::array<TableSchema, 5> tables{top_table, room_table, recorder_table, noise_table, speaker_table};

}  // namespace ringtrue::room_schema
