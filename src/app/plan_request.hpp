#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "ringtrue/placement/plan.hpp"

namespace ringtrue::app {

/// The part of the command line that says what is to be planned, as it was typed.
struct PlanOptions {
  std::string layout;
  std::vector<std::string> speakers;
  std::string room;
  std::string listener;
  std::string interface;
  std::string name;
  double ear_height_m = PlanRequest{}.ear_height_m;
  double distance_m = PlanRequest{}.distance_m;
  double wall_clearance_m = PlanRequest{}.wall_clearance_m;
  double ceiling_clearance_m = PlanRequest{}.ceiling_clearance_m;
};

/// Declares LAYOUT and the options above.
void add_plan_options(CLI::App& command, PlanOptions& options);

/// @throws InvalidInput  for a layout that is not known and text that is not what an option takes
[[nodiscard]] PlanRequest plan_request(const PlanOptions& options);

/// All known layouts, one a line, for the help page.
[[nodiscard]] std::string known_layouts();

}  // namespace ringtrue::app
