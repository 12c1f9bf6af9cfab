#include <fmt/format.h>

#include <cstddef>

#include "letters.hpp"
#include "rig_schema.hpp"
#include "rig_tables.hpp"
#include "ringtrue/rig/layout.hpp"

namespace ringtrue {
namespace {

bool same_channel(const Layout* layout, const std::string& a, const std::string& b) {
  const LayoutChannel* const channel = layout == nullptr ? nullptr : find_channel(*layout, a);
  return channel != nullptr && channel == find_channel(*layout, b);
}

/// What is wrong with labels a (this line) and b (an earlier line); empty when they may stand together.
std::string label_clash(const Layout* layout, const std::string& a, const std::string& b) {
  if (a == b) return fmt::format("\"{}\" is already the label", a);
  if (equal_but_for_capitals(a, b)) {
    return fmt::format("\"{}\" differs only in capitals from \"{}\", the label", a, b);
  }
  if (!same_channel(layout, a, b)) return {};
  return fmt::format("\"{}\" is the same channel of {} as \"{}\", the label", a, layout->trade_names.front(), b);
}

}  // namespace

void refuse_duplicates(const Rig& rig, const std::vector<TableReader>& tables) {
  using namespace rig_schema;
  const Layout* const layout_of_rig = find_layout(rig.layout);
  for (std::size_t later = 0; later < rig.speakers.size(); ++later) {
    const Speaker& speaker = rig.speakers[later];
    for (std::size_t earlier = 0; earlier < later; ++earlier) {
      const Speaker& other = rig.speakers[earlier];
      const std::string clash = label_clash(layout_of_rig, speaker.label, other.label);
      if (!clash.empty()) {
        tables[later].refuse(label.key, fmt::format("{} on line {}", clash, tables[earlier].line(label.key)),
                             "give each speaker its own label");
      }
      if (speaker.output == other.output) {
        tables[later].refuse(output.key,
                             fmt::format("{} is already the output of \"{}\" on line {}", speaker.output, other.label,
                                         tables[earlier].line(output.key)),
                             "give each speaker its own output");
      }
    }
  }
}

}  // namespace ringtrue
