#pragma once

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue::test {

inline Rig example_rig() {
  Rig rig;
  rig.name = "Garden shed";
  rig.layout = "custom";
  rig.speakers = {{.label = "L", .output = 3},
                  {.label = "R", .output = 1},
                  {.label = "Ltf", .output = 2},
                  {.label = "LFE", .output = 4, .kind = SpeakerKind::sub, .band = {Hertz{20.0}, Hertz{200.0}}}};
  rig.positions = {{}, {{0.25, -0.1, 0.0}}};
  return rig;
}

/// A small invented result with every kind of answer: good, inverted, silent, and a sub; two mic positions.
/// Its numbers have no more digits than the JSON keeps.
inline Calibration example_calibration() {
  Calibration result;
  result.rig = example_rig();
  result.time_reference = TimeReference::loopback;
  const PositionResult heard{.arrival_ms = 5.12345,
                             .arrival_uncertainty_ms = 0.0012,
                             .distance_m = 1.7642,
                             .level_db = -31.402,
                             .level_uncertainty_db = 0.0214,
                             .signal_to_noise_db = 47.3,
                             .decay_time_s = 0.284};
  for (const auto& speaker : result.rig.speakers) {
    SpeakerResult entry{speaker.label, speaker.output, speaker.kind, Status::ok, {}, {}};
    entry.measured = {Polarity::normal, std::nullopt, {heard, heard}, {}};
    result.speakers.push_back(entry);
  }
  result.speakers[0].measured.position_m = Point{-0.88, 1.53, 0.02};
  result.speakers[1].measured.found = FoundPlace{{-29.91, 0.65}, 0.42, 1.7652, 0.0112};
  result.locating = Locating{344.37, true, 0.0058};
  result.speakers[0].settings = {3.41, -0.7, false, {}};
  result.speakers[1].measured.polarity = Polarity::inverted;
  result.speakers[1].settings = {0.0, 0.0, true, {{FilterShape::low_shelf, 120.0, -2.5, 0.7}}};
  result.speakers[2].status = Status::silent;
  result.speakers[2].measured = {Polarity::unsure, std::nullopt, {{}, {}}, {}};
  result.speakers[3].measured.polarity = Polarity::unsure;
  result.speakers[3].settings = {12.34, -6.1, false, {}};
  result.findings = {
      {Severity::stop, "silent-output", "Ltf", "Nothing was heard from Ltf; switch it on and measure again."},
      {Severity::warn, "inverted-polarity", "R", "R moves the other way than its fellows; check its leads."},
      {Severity::note, "clock-drift", std::nullopt, "The recorder's clock ran 12 ppm fast; this was undone."}};
  return result;
}

/// The example with bass management, an aligned sub, and a crossover suggestion.
inline Calibration bass_calibration() {
  Calibration result = example_calibration();
  result.rig.bass_management = BassManagement{};
  result.speakers[3].measured.band_ends = {27.5, 22.5, 118.8, 161.3};
  result.bass_alignment =
      BassAlignmentResult{{{"LFE", -3.125, -1.5}}, {{9.25, 4.5}}, {40.0, 160.0}, 0.9, 0.7, "L", -0.25};
  result.speakers[3].measured.low_octaves = {{31.6, -42.25, 17.5}, {63.1, -31.5, 34.5}, {125.9, -36.0, 41.0}};
  result.lfe_peak_dbfs = 3.9;
  result.bass_picture = BassPicture{{20.0, 40.0, 80.0, 160.0, 320.0},
                                    {{"L",
                                      80.0,
                                      {-30.0, -12.3, -6.0, -0.5, 0.0},
                                      {0.0, -0.3, -6.1, -24.0, -40.0},
                                      {0.0, -1.0, -9.5, -0.4, 0.0},
                                      {0.0, 0.2, 0.1, -0.2, 0.0},
                                      -140.0,
                                      5.0}}};
  result.crossover_suggestion =
      CrossoverSuggestion{90.0, {{80.0, 1.5, 3.0}, {90.0, 1.25, 2.5}}, {{{"Ltf"}, 120.0, {{120.0, 0.5, 2.0}}}}};
  result.date = "2026-03-01";
  result.lfe_groups = {{{{"LFE2", 0.0, 0.0}, {"Sub", 1.5, -1.5}}, {{4.25, 2.5}}}};
  result.correction = CorrectionResult{"tilt=-0.5", 180.0, "room", {31.5, 63.0, 125.0}};
  result.speakers[1].correction = SpeakerCorrection{
      {45.5, 8'000.0}, -1.234, 2.5, 3.25, 1.5, {-3.0, -0.5, 0.0}, {{1.25, -2.5, 0.75}}, {{0.5, 0.0, 0.25}}};
  return result;
}

}  // namespace ringtrue::test
