#include "plan_request.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <span>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "ringtrue/rig/layout.hpp"

namespace ringtrue::app {
namespace {

constexpr std::string_view own_ring = "custom";

/// Everyday names of a known layout with some speakers more. Directions: BS.2051's of those labels (systems B and H).
struct Extended {
  std::string_view name;
  std::string_view layout;
  std::vector<std::string> speakers;
};

std::span<const Extended> extended_layouts() {
  static const std::vector<Extended> all{
      {"2.1", "2.0", {"LFE:45:-30"}},
      {"3.0", "2.0", {"C:0:0"}},
      {"3.1", "2.0", {"C:0:0", "LFE:45:-30"}},
      {"7.1.6", "7.1.4", {"Ltm:90:30", "Rtm:-90:30"}},
      {"9.1.4 (wides)", "7.1.4", {"Lw:60:0", "Rw:-60:0"}},
  };
  return all;
}

std::vector<std::string_view> split(std::string_view text, char separator) {
  std::vector<std::string_view> parts;
  for (auto end = text.find(separator); end != std::string_view::npos; end = text.find(separator)) {
    parts.push_back(text.substr(0, end));
    text.remove_prefix(end + 1);
  }
  parts.push_back(text);
  return parts;
}

/// Numbers between separators, with a decimal point whatever the locale; empty unless there are `count` of them.
std::vector<double> numbers(std::string_view text, char separator, std::size_t count) {
  std::vector<double> values;
  for (std::string_view part : split(text, separator)) {
    double value = 0.0;
    const auto [end, error] = std::from_chars(part.data(), part.data() + part.size(), value);
    if (error != std::errc{} || end != part.data() + part.size()) return {};
    values.push_back(value);
  }
  return values.size() == count ? values : std::vector<double>{};
}

std::string in_quotes(const std::string& text) { return '"' + text.substr(0, 60) + '"'; }

std::optional<std::array<double, 3>> room_size(std::string text) {
  if (text.empty()) return std::nullopt;
  for (char& c : text) c = c == 'X' ? 'x' : c;
  const auto sides_m = numbers(text, 'x', 3);
  if (sides_m.empty()) {
    throw InvalidInput{"--room", in_quotes(text) + " is not three lengths",
                       "write length x width x height in metres, e.g. 5.2x4.4x2.6"};
  }
  return std::array{sides_m[0], sides_m[1], sides_m[2]};
}

std::optional<FloorSpot> spot(const char* option, const std::string& text) {
  if (text.empty()) return std::nullopt;
  const auto metres = numbers(text, ',', 2);
  if (metres.empty()) {
    throw InvalidInput{option, in_quotes(text) + " is not two distances",
                       "write the metres from the front wall and from the left wall, e.g. 2.6,2.2"};
  }
  return FloorSpot{metres[0], metres[1]};
}

void add_own_speaker(Ring& ring, const std::string& text) {
  const auto parts = split(text, ':');
  const auto angles_deg =
      parts.size() == 3 ? numbers(std::string_view{text}.substr(parts[0].size() + 1), ':', 2) : std::vector<double>{};
  if (angles_deg.empty()) {
    throw InvalidInput{"--speaker", in_quotes(text) + " is not a label and two angles",
                       "write LABEL:AZIMUTH:ELEVATION in degrees, azimuth positive to the left, e.g. Ltm:90:60"};
  }
  add_speaker(ring, std::string{parts[0]}, {angles_deg[0], angles_deg[1]});
}

Ring known_ring(const std::string& name) {
  if (name == own_ring) return {std::string{own_ring}, nullptr, {}};
  if (const Layout* const layout = find_layout(name)) return ring_of(*layout);
  throw InvalidInput{in_quotes(name), "is no known layout",
                     fmt::format("the nearest name is {}; 'ringtrue plan --help' lists all; for a ring of your own "
                                 "write custom with --speaker",
                                 nearest_layout_name(name))};
}

Ring ring_from(const PlanOptions& options) {
  const auto extended = std::ranges::find_if(
      extended_layouts(), [&](const Extended& known) { return same_layout_name(known.name, options.layout); });
  const bool is_extended = extended != extended_layouts().end();
  Ring ring = known_ring(is_extended ? std::string{extended->layout} : options.layout);
  if (is_extended) {
    for (const std::string& text : extended->speakers) add_own_speaker(ring, text);
  }
  for (const std::string& text : options.speakers) add_own_speaker(ring, text);
  if (!ring.speakers.empty()) return ring;
  throw InvalidInput{"custom", "a ring of your own needs its loudspeakers",
                     "give --speaker LABEL:AZIMUTH:ELEVATION for each, e.g. --speaker L:30:0"};
}

void check_name(const std::string& name) {
  constexpr std::size_t longest = 100;  // of a rig
  if (name.size() <= longest && text::printable(name) == name) return;
  throw InvalidInput{"--name", in_quotes(name) + " is too long or cannot be printed", "use up to 100 plain letters"};
}

void add_metres(CLI::App& command, const std::string& name, double& metres, const std::string& description) {
  command.add_option(name, metres, description)->option_text("M")->capture_default_str();
}

}  // namespace

void add_plan_options(CLI::App& command, PlanOptions& options) {
  command.add_option("layout", options.layout, "a name from the list below, or custom")
      ->option_text("LAYOUT")
      ->required();
  command.add_option("--room", options.room, "length (front to back), width and height in metres, e.g. 5.2x4.4x2.6")
      ->option_text("LxWxH");
  add_metres(command, "--ear-height", options.ear_height_m, "the listener's ears above the floor, in metres");
  add_metres(command, "--distance", options.distance_m, "wanted from the ear to each speaker, in metres");
  command
      .add_option("--listener", options.listener,
                  "the ear point's metres from the front wall and from the left wall, e.g. 2.6,2.2; default: in the "
                  "middle of the width, with equal room before and behind the ring")
      ->option_text("F,L");
  command
      .add_option("--interface", options.interface,
                  "where the audio interface stands, measured likewise; default: at the front wall, straight ahead")
      ->option_text("F,L");
  add_metres(command, "--clearance", options.wall_clearance_m,
             "kept free between a speaker's acoustic centre and the walls, for box and plugs");
  add_metres(command, "--ceiling-clearance", options.ceiling_clearance_m, "kept free below the ceiling");
  command
      .add_option("--speaker", options.speakers,
                  "LABEL:AZIMUTH:ELEVATION: one more speaker, or another place for one of the layout; degrees, azimuth "
                  "from the front, positive to the left (repeat the option)")
      ->option_text("L:A:E")
      ->allow_extra_args(false);
  command.add_option("--name", options.name, "your words for the room, shown on every sheet")->option_text("TEXT");
}

PlanRequest plan_request(const PlanOptions& options) {
  check_name(options.name);
  PlanRequest request;
  request.ring = ring_from(options);
  request.name = options.name;
  request.room_m = room_size(options.room);
  request.ear_height_m = options.ear_height_m;
  request.distance_m = options.distance_m;
  request.listener = spot("--listener", options.listener);
  request.interface = spot("--interface", options.interface);
  request.wall_clearance_m = options.wall_clearance_m;
  request.ceiling_clearance_m = options.ceiling_clearance_m;
  return request;
}

std::string known_layouts() {
  std::string list;
  for (const Layout& layout : layouts()) {
    const std::string names = fmt::format("{}", fmt::join(layout.trade_names, " or "));
    list += layout.bs2051_name.empty() ? fmt::format("  {}\n", names)
                                       : fmt::format("  {:<34} {} in ITU-R BS.2051\n", names, layout.bs2051_name);
  }
  for (const Extended& extended : extended_layouts()) {
    list += fmt::format("  {:<34} {} with {}\n", extended.name, extended.layout, fmt::join(extended.speakers, ", "));
  }
  return list;
}

}  // namespace ringtrue::app
