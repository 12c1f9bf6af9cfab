#pragma once

#include <array>
#include <optional>
#include <span>
#include <vector>

#include "bass_responses.hpp"
#include "ringtrue/alignment/subwoofers.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/dsp/crossover_slope.hpp"

namespace ringtrue {

/// Subs that play one signal together, and what holds between them.
struct SubwooferGroup {
  std::vector<std::size_t> members;      // speakers of the rig
  std::vector<SubwooferOffset> offsets;  // of each member, on top of arrival and measured polarity
  double sum_over_one_db = 0.0;          // 30-80 Hz at the listening position: all with offsets against one at 0 dB
  std::optional<std::array<double, 2>> spatial_variance_db2{};  // arriving together, and with the offsets
};

/// Those of the rig that get the mains' lows and were heard; none without bass management.
[[nodiscard]] std::vector<std::size_t> redirected_subs(const Rig& rig, const BassMeasurement& bass);

/// @param members       of the group, all heard; none: an empty group
/// @param free_loss_db  output that evening out may cost (`even_out_subwoofers`); empty: all arrive together
[[nodiscard]] SubwooferGroup group_subwoofers(const Rig& rig, const BassMeasurement& bass,
                                              std::vector<std::size_t> members, std::span<const SpeakerResult> speakers,
                                              std::optional<double> free_loss_db);

/// -1 where the sub's polarity alone asks for the invert setting; an interface without one leaves it as it is.
[[nodiscard]] double arrival_sign(const Rig& rig, const SpeakerResult& sub);

/// The crossover as the interface makes it: one frequency for all mains, or each main's own.
struct CrossoverChoice {
  CrossoverSlope slope = CrossoverSlope::lr24;
  std::vector<double> frequency_hz;  // per speaker of the rig
};
[[nodiscard]] CrossoverChoice crossover_of(const Rig& rig);

/// Each main with the group's sum, trims and polarities as in `speakers`; mains without settings are left out.
/// @param judged  which frequencies; empty: an octave each side of each main's crossover
struct BassPairs {
  std::vector<std::size_t> mains;  // speakers of the rig
  std::vector<BassPair> pairs;
};
[[nodiscard]] BassPairs pair_mains(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                                   const CrossoverChoice& crossover, std::span<const SpeakerResult> speakers,
                                   const std::optional<Band>& judged = std::nullopt);

/// Shifts of the group that the interface's delays and good sense allow.
[[nodiscard]] BassSearch allowed_shifts(const Rig& rig, const SubwooferGroup& group,
                                        std::span<const SpeakerResult> speakers, double lowest_crossover_hz);

/// How far the best that a group can do breaks what is wanted, dB: a main that loses too much against all subs arriving
/// together, or a sum that keeps away from its best so that none does. 0: nothing is broken. Trims must be set.
[[nodiscard]] double strain_of_group(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                                     std::span<const SpeakerResult> speakers);

/// Chooses the group's delay and polarity for the best sum with the mains: fills in `calibration.bass_alignment` and
/// the subs' `invert`, and adds findings. Trims must be set.
/// @returns per speaker, ms: how much more delay it gets than what lets it arrive with the others
[[nodiscard]] std::vector<double> align_group(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                                              Calibration& calibration);

}  // namespace ringtrue
