#include "recheck_settings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "neutral_response.hpp"
#include "recheck_references.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

/// One kind of value: delays or trims.
struct Field {
  std::optional<double> Settings::*member;
  std::array<double, 2> range;
  double step;
  const char* words;
  const char* unit;
  int decimals;
};

/// On the interface's grid, without binary noise: a value that did not change is equal to the one that was saved.
double rounded(double value, double step) {
  constexpr double finest = 1e-6;  // what calibration.json keeps
  return std::round(std::round(value / step) * step / finest) / std::round(1.0 / finest);
}

/// What the named speaker's kept fellows agree on: arrival + delay, or level + trim.
struct Target {
  double value = 0.0;
  int members = 0;
};

double level_with_equaliser(const Calibration& calibration, std::span<const PositionMeasurement> positions,
                            std::size_t s) {
  const SpeakerResult& speaker = calibration.speakers[s];
  return *speaker.measured.positions.front().level_db + equaliser_effect_db(positions.front().speakers[s].response,
                                                                            speaker.settings.equaliser, speaker.kind,
                                                                            calibration.rig.interface.sample_rate_hz);
}

template <class Value>
Target mean_of_kept(const Calibration& calibration, std::span<const std::size_t> named, const Value& value) {
  Target target;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const PositionResult& here = speaker.measured.positions.front();
    if (contains(named, s) || speaker.kind != SpeakerKind::main || !has_settings(speaker)) continue;
    if (!here.arrival_ms || !here.level_db) continue;
    target.value += value(s);
    ++target.members;
  }
  if (target.members > 0) target.value /= target.members;
  return target;
}

double shift_of(const Calibration& calibration, const std::string& label) {
  if (!calibration.bass_alignment) return 0.0;
  for (const auto& sub : calibration.bass_alignment->subs) {
    if (sub.label == label) return sub.shift_ms;
  }
  return 0.0;
}

/// How far all kept values must move together so that `wanted` fits into the range; 0 when it fits or cannot be made
/// to.
double needed_shift(const Field& field, double wanted, double lowest_kept, double highest_kept) {
  constexpr double slack = 0.5;  // of a step: rounding brings it in
  if (wanted < field.range[0] - slack * field.step) {
    const double up = std::ceil((field.range[0] - wanted) / field.step - slack) * field.step;
    return highest_kept + up <= field.range[1] + 1e-9 ? up : 0.0;
  }
  if (wanted > field.range[1] + slack * field.step) {
    const double down = std::ceil((wanted - field.range[1]) / field.step - slack) * field.step;
    return lowest_kept - down >= field.range[0] - 1e-9 ? -down : 0.0;
  }
  return 0.0;
}

void add_out_of_range(const Field& field, const SpeakerResult& speaker, double missing, Findings& findings) {
  const bool is_delay = field.member == &Settings::delay_ms;
  findings.push_back({Severity::warn, is_delay ? "delay-out-of-range" : "trim-out-of-range", speaker.label,
                      fmt::format("{} would need {:.{}f} {} more {} than the interface has, and the others cannot give "
                                  "way: calibrate the whole ring again.",
                                  speaker.label, std::abs(missing), field.decimals, field.unit, field.words)});
}

/// Sets one value of the named speakers.
/// @param wanted  per named speaker, not rounded; empty: it stays
void set_values(const Field& field, std::span<const std::size_t> named,
                const std::vector<std::optional<double>>& wanted, Recheck& result) {
  Calibration& calibration = result.calibration;
  std::optional<double> lowest;
  std::optional<double> highest;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const auto& value = calibration.speakers[s].settings.*field.member;
    if (contains(named, s) || !value) continue;
    lowest = std::min(lowest.value_or(*value), *value);
    highest = std::max(highest.value_or(*value), *value);
  }
  double shift = 0.0;
  std::size_t cause = 0;
  for (std::size_t i = 0; i < named.size(); ++i) {
    if (!wanted[i]) continue;
    const double needed = needed_shift(field, *wanted[i], lowest.value_or(0.0), highest.value_or(0.0));
    if (std::abs(needed) <= std::abs(shift)) continue;
    shift = needed;
    cause = named[i];
  }
  if (shift != 0.0) {
    for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
      auto& value = calibration.speakers[s].settings.*field.member;
      if (!contains(named, s) && value) value = rounded(*value + shift, field.step);
    }
    const std::string& label = calibration.speakers[cause].label;
    result.findings.push_back(
        {Severity::note, "others-changed", label,
         field.member == &Settings::delay_ms
             ? fmt::format("{} now arrives later than all can wait for as they are: every other speaker is delayed by "
                           "another {:.{}f} ms. Type in all delays.",
                           label, shift, field.decimals)
             : fmt::format(
                   "{} is now {} than its trim can make up for: every other trim changes by {:+.{}f} dB. Type in "
                   "all trims.",
                   label, shift < 0.0 ? "weaker" : "louder", shift, field.decimals)});
  }
  for (std::size_t i = 0; i < named.size(); ++i) {
    if (!wanted[i]) continue;
    SpeakerResult& speaker = calibration.speakers[named[i]];
    const double aim = rounded(*wanted[i] + shift, field.step);
    const double value = std::clamp(aim, field.range[0], field.range[1]);
    speaker.settings.*field.member = value;
    if (std::abs(aim - value) > 0.5 * field.step) add_out_of_range(field, speaker, aim - value, result.findings);
  }
}

std::vector<std::optional<double>> wanted_delays(const Calibration& fresh, std::span<const std::size_t> named,
                                                 const Calibration& calibration) {
  const Target target = mean_of_kept(calibration, named, [&](std::size_t s) {
    return *calibration.speakers[s].measured.positions.front().arrival_ms + *calibration.speakers[s].settings.delay_ms;
  });
  std::vector<std::optional<double>> wanted;
  for (const std::size_t s : named) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const auto& arrival = speaker.measured.positions.front().arrival_ms;
    wanted.push_back(speaker.status == Status::ok && arrival && target.members > 0
                         ? std::optional{target.value - *arrival + shift_of(fresh, speaker.label)}
                         : std::nullopt);
  }
  return wanted;
}

std::vector<std::optional<double>> wanted_trims(const Calibration& fresh,
                                                std::span<const PositionMeasurement> positions,
                                                std::span<const std::size_t> named, const Calibration& calibration) {
  const Target target = mean_of_kept(calibration, named, [&](std::size_t s) {
    return level_with_equaliser(calibration, positions, s) + *calibration.speakers[s].settings.trim_db;
  });
  const Target lowered = mean_of_kept(calibration, named, [&](std::size_t s) {
    return *calibration.speakers[s].settings.trim_db - fresh.speakers[s].settings.trim_db.value_or(0.0);
  });
  std::vector<std::optional<double>> wanted;
  for (const std::size_t s : named) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const bool measured = speaker.status == Status::ok && speaker.measured.positions.front().level_db;
    if (!measured || target.members == 0) {
      wanted.push_back(std::nullopt);
    } else if (speaker.kind == SpeakerKind::sub) {  // its level against the mains is the whole calibration's matter
      const auto& trim = fresh.speakers[s].settings.trim_db;
      wanted.push_back(trim ? std::optional{*trim + lowered.value} : std::nullopt);
    } else {
      wanted.push_back(target.value - level_with_equaliser(calibration, positions, s));
    }
  }
  return wanted;
}

}  // namespace

void renew_settings(const Calibration& fresh, std::span<const PositionMeasurement> positions,
                    std::span<const std::size_t> named, Recheck& result) {
  Calibration& calibration = result.calibration;
  const Interface& interface = calibration.rig.interface;
  for (const std::size_t s : named) {
    SpeakerResult& speaker = calibration.speakers[s];
    if (speaker.status != Status::ok) {
      speaker.settings = {};
      continue;
    }
    if (set_by_sum(fresh, fresh.speakers[s]) || speaker.measured.polarity != Polarity::unsure)
      speaker.settings.invert = fresh.speakers[s].settings.invert;
  }
  set_values({&Settings::delay_ms, interface.delay_range_ms, interface.delay_step_ms, "delay", "ms", 2}, named,
             wanted_delays(fresh, named, calibration), result);
  set_values({&Settings::trim_db, interface.trim_range_db, interface.trim_step_db, "trim", "dB", 1}, named,
             wanted_trims(fresh, positions, named, calibration), result);
}

}  // namespace ringtrue
