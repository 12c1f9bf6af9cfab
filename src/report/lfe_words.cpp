#include "lfe_words.hpp"

#include <fmt/format.h>

#include <cmath>

namespace ringtrue {
namespace {

std::string lfe_level_words(const Rig& rig) {
  const double added_db = rig.bass_management ? rig.bass_management->lfe_gain_db : 0.0;
  const double trimmed_db = lfe_above_mains_db(rig);
  if (std::abs(trimmed_db) < 0.05) return fmt::format("level with a main (the interface adds {:g} dB)", added_db);
  return fmt::format("{:g} dB {} a main{}", std::abs(trimmed_db), trimmed_db > 0.0 ? "above" : "below",
                     added_db == 0.0 ? "" : fmt::format(" (the interface adds {:g} dB)", added_db));
}

}  // namespace

std::string lfe_only_words(const Calibration& calibration) {
  std::string words;
  for (const LfeGroupResult& group : calibration.lfe_groups) {
    const bool several = group.subs.size() > 1;
    words +=
        fmt::format("{}{} the LFE channel alone{}, {}. ", labels_in_words(group.subs), several ? " play" : " plays",
                    several ? ", together " + lfe_level_words(calibration.rig)
                            : ": set by arrival, " + lfe_level_words(calibration.rig),
                    several ? "the first of them by arrival" : "without a sum with the mains");
  }
  if (words.empty()) return words;
  return words + (mains_full_range(calibration.rig) ? "The mains stay full range: no high-pass."
                                                    : "The mains' lows go to the other subs.");
}

}  // namespace ringtrue
