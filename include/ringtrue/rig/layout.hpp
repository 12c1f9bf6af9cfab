#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "ringtrue/core/geometry.hpp"

namespace ringtrue {

/// Where a channel's loudspeaker may stand, degrees, bounds included; min <= max as the source writes them (a speaker
/// straight behind has azimuth 180). Equal bounds: the source gives no tolerance.
struct AngleRange {
  double az_min_deg = 0.0;
  double az_max_deg = 0.0;
  double el_min_deg = 0.0;
  double el_max_deg = 0.0;
};

/// One channel of a layout. The nominal direction of an LFE channel is a place holder of the source: a sub stands
/// where the room takes it.
struct LayoutChannel {
  std::string_view label;         // trade label: "Lss"
  std::string_view bs2051_label;  // "M+090"; empty where ITU-R BS.2051 has no such loudspeaker
  bool is_lfe = false;
  Direction nominal;
  std::optional<AngleRange> range;  // empty: no source gives one
};

/// A loudspeaker layout: Sound Systems A-J of ITU-R BS.2051, and trade layouts it lacks.
/// Sources and doubts: docs/rig.md.
struct Layout {
  std::string_view code;                          // "A".."J" as in BS.2051; "X...", "P...": see source
  std::string_view bs2051_name;                   // "4+7+0"; empty when it is not in BS.2051
  std::span<const std::string_view> trade_names;  // everyday names, the shortest first: "7.1.4"
  std::span<const LayoutChannel> channels;        // in the order of the source's table
  std::string_view source;                        // where angles and ranges come from
};

/// All known layouts, in the order A-J, then the trade layouts. The data lives as long as the program.
[[nodiscard]] std::span<const Layout> layouts();

/// Whether two names of layouts are the same: capitals, spaces and brackets do not matter.
[[nodiscard]] bool same_layout_name(std::string_view one, std::string_view other);

/// The layout of that BS.2051 designation ("4+7+0", "System J") or everyday name ("7.1.4", "5.1.2 (overhead pair)"), as
/// `same_layout_name` compares. "5.1.2" and "7.1.2" mean the ones with front heights.
/// @returns nullptr for anything else: a custom ring
[[nodiscard]] const Layout* find_layout(std::string_view name);

/// The known name that needs the fewest edits to become `name`, for messages about one that is not known.
[[nodiscard]] std::string_view nearest_layout_name(std::string_view name);

/// The channel of that trade or BS.2051 label; capitals do not matter. @returns nullptr when the layout has none
[[nodiscard]] const LayoutChannel* find_channel(const Layout& layout, std::string_view label);

/// Indices into `layout.channels` in the order outputs are commonly wired: screen, LFE, side, rear, wides, heights
/// front to back, bottom (L R C LFE Lss Rss Lrs Rrs Ltf Rtf Ltr Rtr). Common practice, no standard; 22.2 keeps the
/// channel numbers of its own table.
[[nodiscard]] std::vector<std::size_t> output_order(const Layout& layout);

/// A trade label in words: "Lss" is "left side surround"; empty for a label no layout here uses.
[[nodiscard]] std::string_view channel_name(std::string_view label);

}  // namespace ringtrue
