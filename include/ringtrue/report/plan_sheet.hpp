#pragma once

#include <string>

#include "ringtrue/placement/plan.hpp"

namespace ringtrue {

/// The plan for a terminal or a printer: places, angles, patch list, stands and cables, cautions. ASCII where labels
/// are; every line at most 80 columns, ends with a newline.
[[nodiscard]] std::string format_plan_sheet(const Plan& plan);

/// The plan for programs, schema "ringtrue.plan/1" (docs/placement.md); ends with a newline.
[[nodiscard]] std::string format_plan_json(const Plan& plan);

/// The plan as one HTML page that loads nothing: a plan and a side view to scale, the lists of the sheet, boxes to
/// tick. Ends with a newline.
[[nodiscard]] std::string format_plan_page(const Plan& plan);

}  // namespace ringtrue
