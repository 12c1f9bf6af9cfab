#pragma once

#include <string>
#include <vector>

#include "steps.hpp"

namespace ringtrue::bench {

/// Runs a command that prints "time SECONDS CPU-SECONDS" once per repetition and "peak_mb MEGABYTES", each on its own
/// line.
/// @throws std::runtime_error  when it cannot be run or fails
[[nodiscard]] Timing ask_child(const std::vector<std::string>& command);

/// Runs any command once and times it as a whole; its standard output is discarded.
/// @param accepted_status  exit statuses up to this one are taken
[[nodiscard]] Timing time_command(const std::vector<std::string>& command, int accepted_status);

/// Writes what ask_child reads.
void answer(const Timing& timing);

/// Adds one round to another: all repetitions but the first of its process, which makes plans and finds caches cold,
/// unless it is alone; the higher of the peaks. The same for every peer.
void pool(Timing& all, const Timing& round);

}  // namespace ringtrue::bench
