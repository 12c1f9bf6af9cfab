#include "rig_tables.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "letters.hpp"
#include "rig_schema.hpp"

namespace ringtrue {
namespace {

constexpr double default_band_end = 0.45;  // of the sample rate: a resampler or converter may roll off above

bool starts_like(std::string_view label, std::string_view start) {
  return equal_but_for_capitals(label.substr(0, start.size()), start);
}

void refuse_long_step(const TableReader& table, const NumberRule& step_rule, double step,
                      const std::array<double, 2>& range) {
  const double span = range[1] - range[0];
  if (span == 0.0 || step <= span) return;
  table.refuse(step_rule.key, fmt::format("a step of {} does not fit the range of {} {}", step, span, step_rule.unit),
               "write the range and the step the interface has");
}

void refuse_above_half_rate(const TableReader& table, std::string_view key, double frequency_hz,
                            double sample_rate_hz) {
  const double half_hz = 0.5 * sample_rate_hz;
  if (frequency_hz <= half_hz) return;
  table.refuse(key, fmt::format("{} Hz is above half the sample rate, {} Hz", frequency_hz, half_hz),
               "lower it or correct sample_rate_hz");
}

std::string read_label(const TableReader& table) {
  using namespace rig_schema;
  std::string result;
  table.require(label.key, label.example);
  table.read(label, result);
  if (result.front() == ' ' || result.back() == ' ') {
    table.refuse(label.key, fmt::format("\"{}\" begins or ends with a blank", shown(result)), "take the blank away");
  }
  return result;
}

SpeakerKind read_kind(const TableReader& table, std::string_view label) {
  std::string text;
  if (!table.read(rig_schema::kind, text)) {
    return starts_like(label, "LFE") || starts_like(label, "Sub") ? SpeakerKind::sub : SpeakerKind::main;
  }
  if (text == "main") return SpeakerKind::main;
  if (text == "sub") return SpeakerKind::sub;
  table.refuse(rig_schema::kind.key, fmt::format("\"{}\" is no kind of speaker", shown(text)),
               R"(write kind = "main" or kind = "sub")");
}

Band read_band(const TableReader& table, SpeakerKind kind, double sample_rate_hz) {
  using rig_schema::band;
  std::array<double, 2> range_hz{};
  if (!table.read_range(band, range_hz)) {
    if (kind == SpeakerKind::sub) return {Hertz{20.0}, Hertz{200.0}};
    return {Hertz{50.0}, Hertz{std::min(20'000.0, default_band_end * sample_rate_hz)}};
  }
  refuse_above_half_rate(table, band.key, range_hz[1], sample_rate_hz);
  if (range_hz[1] < rig_schema::least_band_ratio * range_hz[0]) {
    table.refuse(band.key, fmt::format("{} to {} Hz is less than half an octave", range_hz[0], range_hz[1]),
                 "write the whole band the speaker plays, e.g. band_hz = [50, 20000]");
  }
  return {Hertz{range_hz[0]}, Hertz{range_hz[1]}};
}

CrossoverSlope read_slope(const TableReader& table, CrossoverSlope otherwise) {
  std::string text;
  if (!table.read(rig_schema::slope, text)) return otherwise;
  if (const auto slope = find_crossover_slope(text)) return *slope;
  table.refuse(rig_schema::slope.key, fmt::format("\"{}\" is no crossover slope", shown(text)),
               "write LR12, LR24, LR36, LR48, BW12, BW18 or BW24");
}

/// The crossover of one main, where it has its own.
std::optional<double> read_own_crossover(const TableReader& table, SpeakerKind kind) {
  double frequency_hz = 0.0;
  if (!table.read(rig_schema::crossover, frequency_hz)) return std::nullopt;
  if (kind == SpeakerKind::sub) {
    table.refuse(rig_schema::crossover.key, "a sub has no crossover of its own",
                 "write it with the mains that have another one than [bass_management]");
  }
  return frequency_hz;
}

/// Whether a sub is left out of the bass management.
bool read_lfe_only(const TableReader& table, SpeakerKind kind) {
  bool result = false;
  if (table.read(rig_schema::lfe_only, result) && kind == SpeakerKind::main) {
    table.refuse(rig_schema::lfe_only, "a main is no LFE output", "write it with the sub that plays the LFE alone");
  }
  return result;
}

/// Where a speaker belongs that has a place of its own: an azimuth, and an elevation unless it is level with the ear.
std::optional<Direction> read_nominal(const TableReader& table) {
  Direction direction;
  const bool has_azimuth = table.read(rig_schema::azimuth, direction.azimuth_deg);
  const bool has_elevation = table.read(rig_schema::elevation, direction.elevation_deg);
  if (has_azimuth) return direction;
  if (!has_elevation) return std::nullopt;
  table.refuse(rig_schema::elevation.key, "stands without an azimuth", "add azimuth_deg, positive to the left");
}

}  // namespace

RoomFacts read_room(const TableReader& table) {
  using namespace rig_schema;
  RoomFacts room;
  std::array<double, 3> size_m{};
  if (table.read(size, size_m)) room.size_m = size_m;
  table.read(ear_height, room.ear_height_m);
  table.read(temperature, room.temperature_c);
  if (room.size_m && room.ear_height_m >= size_m[2]) {
    table.refuse(ear_height.key, fmt::format("{} m is not below the ceiling at {} m", room.ear_height_m, size_m[2]),
                 "correct it or size_m, which is length, width, height");
  }
  return room;
}

Interface read_interface(const TableReader& table) {
  using namespace rig_schema;
  Interface result;
  table.read(sample_rate, result.sample_rate_hz);
  if (result.sample_rate_hz != std::round(result.sample_rate_hz)) {
    table.refuse(sample_rate.key, fmt::format("{} is not a whole number", result.sample_rate_hz),
                 "write, for example, sample_rate_hz = 48000");
  }
  table.read_range(trim_range, result.trim_range_db);
  table.read(trim_step, result.trim_step_db);
  refuse_long_step(table, trim_step, result.trim_step_db, result.trim_range_db);
  table.read_range(delay_range, result.delay_range_ms);
  table.read(delay_step, result.delay_step_ms);
  refuse_long_step(table, delay_step, result.delay_step_ms, result.delay_range_ms);
  table.read(eq_bands, result.eq_bands);
  table.read_range(eq_gain_range, result.eq_gain_range_db);
  table.read(eq_gain_step, result.eq_gain_step_db);
  refuse_long_step(table, eq_gain_step, result.eq_gain_step_db, result.eq_gain_range_db);
  table.read_range(eq_q_range, result.eq_q_range);
  table.read_range(eq_frequency_range, result.eq_frequency_range_hz);
  refuse_above_half_rate(table, eq_frequency_range.key, result.eq_frequency_range_hz[1], result.sample_rate_hz);
  table.read(polarity_switch, result.polarity_switch);
  int loopback = 0;
  if (table.read(loopback_output, loopback)) result.loopback_output = loopback;
  return result;
}

BassManagement read_bass_management(const TableReader& table) {
  BassManagement result;
  table.read(rig_schema::crossover, result.crossover_hz);
  table.read(rig_schema::lfe_gain, result.lfe_gain_db);
  result.slope = read_slope(table, result.slope);
  return result;
}

MicrophoneFacts read_microphone(const TableReader& table) {
  MicrophoneFacts result;
  double level_db = 0.0;
  if (table.read(rig_schema::full_scale_spl, level_db)) result.full_scale_spl_db = level_db;
  return result;
}

Speaker read_speaker(const TableReader& table, double sample_rate_hz) {
  using namespace rig_schema;
  Speaker result;
  result.label = read_label(table);
  table.require(output.key, output.example);
  table.read(output, result.output);
  result.kind = read_kind(table, result.label);
  result.band = read_band(table, result.kind, sample_rate_hz);
  result.crossover_hz = read_own_crossover(table, result.kind);
  result.nominal = read_nominal(table);
  result.lfe_only = read_lfe_only(table, result.kind);
  return result;
}

MicPosition read_position(const TableReader& table) {
  using namespace rig_schema;
  std::array<double, 3> offset_m{};
  table.read(offset, offset_m);
  const Point place{offset_m[0], offset_m[1], offset_m[2]};
  if (length_m(place) > most_offset_m) {
    table.refuse(offset.key, fmt::format("{:.2f} m is too far from the ear point", length_m(place)),
                 fmt::format("keep mic positions within {} m; offsets are metres", most_offset_m));
  }
  return {place};
}

}  // namespace ringtrue
