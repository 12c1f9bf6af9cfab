#include "ringtrue/rig/layout.hpp"

#include <algorithm>
#include <array>
#include <numeric>
#include <string>
#include <utility>

#include "letters.hpp"
#include "nearest_key.hpp"

namespace ringtrue {
namespace {

/// What is compared of a layout's name: "5.1.2 (Front heights)" and "5.1.2 front heights" are the same.
std::string folded(std::string_view name) {
  std::string result;
  for (const char c : name) {
    if (c != ' ' && c != '(' && c != ')') result += lower(c);
  }
  return result;
}

bool is_named(const Layout& layout, const std::string& wanted) {
  if (!layout.bs2051_name.empty() && wanted == "system" + folded(layout.code)) return true;
  return folded(layout.bs2051_name) == wanted ||
         std::ranges::any_of(layout.trade_names, [&](auto name) { return folded(name) == wanted; });
}

// Labels in the order outputs are commonly wired (common practice, no standard), with their names in words as in
// ../shared/reference/channel_labels.csv; LFE2, screen edges, Ctf, Ctr and the bottom ones are not in it and worded
// alike.
constexpr std::array<std::pair<std::string_view, std::string_view>, 32> wired{{
    {"L", "left"},
    {"R", "right"},
    {"C", "centre"},
    {"LFE", "low-frequency effects"},
    {"LFE2", "second low-frequency effects"},
    {"Ls", "left surround"},
    {"Rs", "right surround"},
    {"Lss", "left side surround"},
    {"Rss", "right side surround"},
    {"Lrs", "left rear surround"},
    {"Rrs", "right rear surround"},
    {"Cs", "centre surround"},
    {"Lw", "left wide"},
    {"Rw", "right wide"},
    {"Lsc", "left screen edge"},
    {"Rsc", "right screen edge"},
    {"Ltf", "left top front"},
    {"Rtf", "right top front"},
    {"Ctf", "centre top front"},
    {"Ltm", "left top middle"},
    {"Rtm", "right top middle"},
    {"Tc", "top centre"},
    {"Ltr", "left top rear"},
    {"Rtr", "right top rear"},
    {"Ctr", "centre top rear"},
    {"Lb", "left bottom front"},
    {"Rb", "right bottom front"},
    {"Cb", "centre bottom front"},
    {"Lc", "left centre (screen)"},
    {"Rc", "right centre (screen)"},
    {"Lts", "left top surround (single overhead array)"},
    {"Rts", "right top surround (single overhead array)"},
}};

auto wired_place(std::string_view label) {
  return std::ranges::find_if(wired, [&](const auto& entry) { return equal_but_for_capitals(entry.first, label); });
}

}  // namespace

bool same_layout_name(std::string_view one, std::string_view other) { return folded(one) == folded(other); }

const Layout* find_layout(std::string_view name) {
  const std::string wanted = folded(name);
  if (wanted.empty()) return nullptr;
  const auto found = std::ranges::find_if(layouts(), [&](const Layout& layout) { return is_named(layout, wanted); });
  return found == layouts().end() ? nullptr : &*found;
}

std::string_view nearest_layout_name(std::string_view name) {
  std::vector<std::string_view> names;
  for (const Layout& layout : layouts()) {
    names.insert(names.end(), layout.trade_names.begin(), layout.trade_names.end());
    if (!layout.bs2051_name.empty()) names.push_back(layout.bs2051_name);
  }
  return nearest_key(name, names);
}

const LayoutChannel* find_channel(const Layout& layout, std::string_view label) {
  if (label.empty()) return nullptr;
  const auto found = std::ranges::find_if(layout.channels, [&](const LayoutChannel& channel) {
    return equal_but_for_capitals(channel.label, label) || equal_but_for_capitals(channel.bs2051_label, label);
  });
  return found == layout.channels.end() ? nullptr : &*found;
}

std::vector<std::size_t> output_order(const Layout& layout) {
  std::vector<std::size_t> order(layout.channels.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  if (layout.code == "H") return order;
  std::ranges::stable_sort(order, {}, [&](std::size_t i) { return wired_place(layout.channels[i].label); });
  return order;
}

std::string_view channel_name(std::string_view label) {
  const auto* const entry = wired_place(label);
  return entry == wired.end() ? std::string_view{} : entry->second;
}

}  // namespace ringtrue
