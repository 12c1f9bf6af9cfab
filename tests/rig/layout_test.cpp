#include "ringtrue/rig/layout.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <set>
#include <string>
#include <vector>

namespace ringtrue {
namespace {

std::string order_of(std::string_view name) {
  const Layout* const layout = find_layout(name);
  REQUIRE(layout != nullptr);
  std::string result;
  for (const std::size_t i : output_order(*layout)) result += std::string{layout->channels[i].label} + ' ';
  return result;
}

auto count_labels(const Layout& layout, std::string_view first_letters) {
  return std::ranges::count_if(layout.channels, [&](const LayoutChannel& channel) {
    return !channel.bs2051_label.empty() && first_letters.find(channel.bs2051_label.front()) != std::string_view::npos;
  });
}

bool is_mirrored(const Layout& layout, const LayoutChannel& channel) {
  return std::ranges::any_of(layout.channels, [&](const LayoutChannel& other) {
    const bool same_range = channel.range.has_value() == other.range.has_value() &&
                            (!channel.range || (channel.range->az_min_deg == -other.range->az_max_deg &&
                                                channel.range->az_max_deg == -other.range->az_min_deg &&
                                                channel.range->el_min_deg == other.range->el_min_deg &&
                                                channel.range->el_max_deg == other.range->el_max_deg));
    return other.nominal.azimuth_deg == -channel.nominal.azimuth_deg &&
           other.nominal.elevation_deg == channel.nominal.elevation_deg && same_range;
  });
}

}  // namespace

TEST_CASE("a BS.2051 designation counts the upper, middle and bottom loudspeakers of its layout") {
  // Source: ITU-R BS.2051, naming of sound systems: upper + middle + bottom layer, LFE channels not counted.
  int systems = 0;
  for (const Layout& layout : layouts()) {
    if (layout.bs2051_name.empty()) continue;
    CAPTURE(layout.code);
    ++systems;
    const std::string counted = std::to_string(count_labels(layout, "UT")) + '+' +
                                std::to_string(count_labels(layout, "M")) + '+' +
                                std::to_string(count_labels(layout, "B"));
    CHECK(counted == layout.bs2051_name);
    CHECK(layout.code == std::string(1, static_cast<char>('A' + systems - 1)));
  }
  CHECK(systems == 10);  // A to J
}

TEST_CASE("a BS.2051 label spells the nominal azimuth of its channel") {
  // Source: ITU-R BS.2051, loudspeaker labels: layer letter, then the azimuth with its sign; positive is left.
  for (const Layout& layout : layouts()) {
    for (const LayoutChannel& channel : layout.channels) {
      if (channel.is_lfe || channel.bs2051_label.empty() || channel.bs2051_label.ends_with("SC")) continue;
      CAPTURE(layout.code);
      CAPTURE(channel.bs2051_label);
      const std::string label{channel.bs2051_label};
      CHECK(std::atof(label.c_str() + label.find_first_of("+-")) == channel.nominal.azimuth_deg);
      CHECK((channel.nominal.elevation_deg == 0.0) == label.starts_with("M"));
      CHECK((channel.nominal.elevation_deg < 0.0) == label.starts_with("B"));
    }
  }
}

TEST_CASE("every nominal direction lies in its own range, and every left speaker has its mirror image") {
  for (const Layout& layout : layouts()) {
    for (const LayoutChannel& channel : layout.channels) {
      CAPTURE(layout.code);
      CAPTURE(channel.label);
      const double azimuth = channel.nominal.azimuth_deg;
      const double elevation = channel.nominal.elevation_deg;
      if (channel.range) {
        CHECK((channel.range->az_min_deg <= azimuth && azimuth <= channel.range->az_max_deg));
        CHECK((channel.range->el_min_deg <= elevation && elevation <= channel.range->el_max_deg));
      }
      if (!channel.is_lfe && azimuth != 180.0) CHECK(is_mirrored(layout, channel));
    }
  }
}

TEST_CASE("everyday names count mains, LFE channels and heights") {
  // Source: common practice, "mains.LFE.heights"; 22.2 and 10.2 count heights among the mains.
  struct Expected {
    const char* name;
    int mains, lfe, heights;
  };
  for (const Expected& expected :
       {Expected{"2.0", 2, 0, 0}, Expected{"5.1", 5, 1, 0}, Expected{"5.1.2", 5, 1, 2}, Expected{"5.1.4", 5, 1, 4},
        Expected{"7.1", 7, 1, 0}, Expected{"7.1.2", 7, 1, 2}, Expected{"7.1.4", 7, 1, 4}, Expected{"7.2.3", 7, 2, 3},
        Expected{"9.1.4", 9, 1, 4}, Expected{"9.1.6", 9, 1, 6}, Expected{"22.2", 13, 2, 9}, Expected{"10.2", 7, 2, 3},
        Expected{"5.1.2 (overhead)", 5, 1, 2}, Expected{"7.1.2 (overhead)", 7, 1, 2}}) {
    CAPTURE(expected.name);
    const Layout* const layout = find_layout(expected.name);
    REQUIRE(layout != nullptr);
    const auto lfe = std::ranges::count_if(layout->channels, &LayoutChannel::is_lfe);
    const auto heights =
        std::ranges::count_if(layout->channels, [](const auto& c) { return c.nominal.elevation_deg > 0.0; });
    CHECK(lfe == expected.lfe);
    CHECK(heights == expected.heights);
    CHECK(static_cast<int>(layout->channels.size()) == expected.mains + expected.lfe + expected.heights);
  }
}

TEST_CASE("a layout is found by designation and by everyday name, whatever the capitals, spaces and brackets") {
  CHECK(find_layout("4+7+0") == find_layout("7.1.4"));
  CHECK(find_layout("9+10+3") == find_layout("22.2"));
  CHECK(find_layout("2+5+0") == find_layout("5.1.2"));  // trap 2 of the reference: 5.1.2 is system C
  CHECK(find_layout("Stereo") == find_layout("0+2+0"));
  CHECK(find_layout("5.1.2 Overhead Pair") == find_layout("5.1.2 (overhead)"));
  CHECK(find_layout("5.1.2") != find_layout("5.1.2 (overhead)"));
  CHECK(find_layout("7.1.2")->code == "X712");
  CHECK(find_layout("7.1.2 (overhead pair)")->code == "P712");
  for (const char* unknown : {"", " ", "()", "7.1.5", "4+7", "J", "garden"}) {
    CAPTURE(unknown);
    CHECK(find_layout(unknown) == nullptr);
  }
}

TEST_CASE("no two layouts share a name, no two channels of a layout a label") {
  std::set<std::string_view> names;
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.code);
    for (const auto name : layout.trade_names) CHECK(names.insert(name).second);
    std::set<std::string_view> labels;
    for (const LayoutChannel& channel : layout.channels) {
      CHECK(labels.insert(channel.label).second);
      const bool second_name =
          !channel.bs2051_label.empty() && channel.bs2051_label != channel.label;  // LFE2: one name
      if (second_name) CHECK(labels.insert(channel.bs2051_label).second);
      CHECK_FALSE(channel_name(channel.label).empty());
    }
  }
}

TEST_CASE("a channel is found by its trade and its BS.2051 label") {
  const Layout& layout = *find_layout("7.1.4");
  REQUIRE(find_channel(layout, "Ltf") != nullptr);
  CHECK(find_channel(layout, "Ltf") == find_channel(layout, "U+045"));
  CHECK(find_channel(layout, "ltf") == find_channel(layout, "Ltf"));
  CHECK(find_channel(layout, "LFE") == find_channel(layout, "LFE1"));
  for (const char* foreign : {"", "Ltm", "U+030", "L1"}) {
    CAPTURE(foreign);
    CHECK(find_channel(layout, foreign) == nullptr);
  }
  CHECK(find_channel(*find_layout("5.1.2 (overhead)"), "") == nullptr);  // its top pair has no BS.2051 label
}

TEST_CASE("the same trade label stands elsewhere in another layout") {
  // Source: ITU-R BS.2051 as in ../shared/reference/layouts.csv, rows D Ltf (U+030) and J Ltf (U+045).
  CHECK(find_channel(*find_layout("5.1.4"), "Ltf")->nominal.azimuth_deg == 30.0);
  const LayoutChannel& top_front = *find_channel(*find_layout("7.1.4"), "Ltf");
  CHECK(top_front.nominal.azimuth_deg == 45.0);
  CHECK(top_front.nominal.elevation_deg == 30.0);
  REQUIRE(top_front.range.has_value());
  CHECK(top_front.range->az_min_deg == 30.0);
  CHECK(top_front.range->az_max_deg == 45.0);
  CHECK(top_front.range->el_min_deg == 30.0);
  CHECK(top_front.range->el_max_deg == 55.0);
  // Trap 4: L is 22.5 to 30 degrees in 9.1.6, 30 to 45 in 7.1.4.
  CHECK(find_channel(*find_layout("9.1.6"), "L")->range->az_min_deg == 22.5);
  CHECK(find_channel(*find_layout("7.1.4"), "L")->range->az_max_deg == 45.0);
}

TEST_CASE("output_order is the common wiring order") {
  // Source: common practice; the order of 7.1.4 is that of the contract's list of labels.
  CHECK(order_of("7.1.4") == "L R C LFE Lss Rss Lrs Rrs Ltf Rtf Ltr Rtr ");
  CHECK(order_of("5.1") == "L R C LFE Ls Rs ");
  CHECK(order_of("9.1.6") == "L R C LFE Lss Rss Lrs Rrs Lw Rw Ltf Rtf Ltm Rtm Ltr Rtr ");
  CHECK(order_of("9.1.4") == "L R C LFE Lss Rss Lrs Rrs Lsc Rsc Ltf Rtf Ltr Rtr ");
  CHECK(order_of("7.2.3") == "L R C LFE LFE2 Lss Rss Lrs Rrs Ltf Rtf Ctr ");
  CHECK(order_of("22.2").starts_with("Lw Rw C LFE Lrs Rrs L R Cs LFE2 "));  // rows H 1 to 10 of the reference
}

TEST_CASE("output_order names every channel once") {
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.code);
    const auto order = output_order(layout);
    CHECK(order.size() == layout.channels.size());
    CHECK(std::set<std::size_t>(order.begin(), order.end()).size() == layout.channels.size());
  }
}

TEST_CASE("channel_name puts a label into words") {
  CHECK(channel_name("Lss") == "left side surround");
  CHECK(channel_name("rtr") == "right top rear");
  CHECK(channel_name("Balcony").empty());
  CHECK(channel_name("").empty());
}

TEST_CASE("the nearest layout name is the one with the fewest edits") {
  // Counted by hand: one letter changed or missing in each.
  CHECK(nearest_layout_name("7.1.5") == "7.1.4");
  CHECK(nearest_layout_name("4+7+O") == "4+7+0");
  CHECK(nearest_layout_name("sterio") == "stereo");
  CHECK(nearest_layout_name("22,2") == "22.2");
}

}  // namespace ringtrue
