#pragma once

#include <array>
#include <string>
#include <string_view>
#include <vector>

#include "ringtrue/placement/plan.hpp"

namespace ringtrue::plan_words {

struct Caution {
  std::string_view title;
  std::string_view text;
};

[[nodiscard]] const std::array<Caution, 7>& cautions();

/// "7.1.4 (ITU-R BS.2051 4+7+0), 12 loudspeakers"
[[nodiscard]] std::string title(const Plan& plan);

/// Room, listener, distance: a line each.
[[nodiscard]] std::vector<std::string> facts(const Plan& plan);

/// "0.87 m from the front wall, 1.20 m from the left wall", or from the spot below the ear where there is no room.
[[nodiscard]] std::string mark(const FloorMark& mark);

/// Where a speaker's mark is from the spot below the ear: as a mark, whose walls are directions.
[[nodiscard]] FloorMark from_ear(const PlannedSpeaker& speaker);

[[nodiscard]] std::string_view side(Surface wall);                  // "front", "left"
[[nodiscard]] std::string tilt(const PlannedSpeaker& speaker);      // "30 down", "level"
[[nodiscard]] std::string pieces(const CableRun& cable);            // "7.5 m", "20 + 5 m"
[[nodiscard]] std::string in_words(const PlannedSpeaker& speaker);  // "left side surround", empty for unknown labels
[[nodiscard]] std::string counted(const CableCount& counts);        // "3 x 5 m, 4 x 7.5 m"
[[nodiscard]] std::string stands(const Plan& plan);                 // "7 stands, 4 tall stands, 4 safety cables ..."

[[nodiscard]] std::string mains_leads(const Plan& plan);
[[nodiscard]] std::string order_of_outputs(const Plan& plan);  // "the common order of outputs"

/// The rule of thumb for overheads against this plan; empty when it has none.
[[nodiscard]] std::string overhead_rule(const Plan& plan);

/// "right 0.25 m", "the ear point"
[[nodiscard]] std::string microphone_spot(Point offset_m);

/// How to bring the mic to its spots with a stand and a tape, and what that is good for.
[[nodiscard]] std::string_view microphone_guidance();

}  // namespace ringtrue::plan_words
