#pragma once

#include <string>

#include "steps.hpp"

namespace ringtrue::bench {

[[nodiscard]] double median(std::vector<double> values);

/// "AMD EPYC, 2 cores, load 1.2" (load average of the last minute).
[[nodiscard]] std::string machine();

/// One row of a table: name, median, least, processor time, peak memory, and the median against those of two others.
void print_heading(const std::string& title);
void print_row(const std::string& name, const Timing& timing, const Timing* transforms = nullptr,
               const Timing* scipy = nullptr);

}  // namespace ringtrue::bench
