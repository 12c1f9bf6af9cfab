#include "ringtrue/placement/judge_places.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <string>
#include <vector>

#include "ringtrue/placement/nominal.hpp"
#include "ringtrue/rig/layout.hpp"

using namespace ringtrue;

namespace {

Rig rig_for(const Layout& layout) {
  Rig rig;
  rig.layout = std::string{layout.trade_names.front()};
  for (const LayoutChannel& channel : layout.channels) {
    Speaker speaker;
    speaker.label = std::string{channel.label};
    speaker.output = static_cast<int>(rig.speakers.size()) + 1;
    speaker.kind = channel.is_lfe ? SpeakerKind::sub : SpeakerKind::main;
    rig.speakers.push_back(speaker);
  }
  return rig;
}

Located at(Direction direction, double distance_m = 2.0) { return {place(direction, distance_m), 0.5, 0.02}; }

std::vector<std::optional<Located>> in_place(const Rig& rig) {
  std::vector<std::optional<Located>> found;
  for (const auto& nominal : nominal_places(rig)) {
    found.push_back(nominal ? std::optional{at(nominal->direction)} : std::nullopt);
  }
  return found;
}

std::size_t index_of(const Rig& rig, const std::string& label) {
  return static_cast<std::size_t>(std::ranges::find(rig.speakers, label, &Speaker::label) - rig.speakers.begin());
}

std::vector<std::string> codes(const Findings& findings) {
  std::vector<std::string> all;
  for (const Finding& finding : findings) all.push_back(finding.code + ' ' + finding.speaker.value_or(""));
  return all;
}

using Codes = std::vector<std::string>;

}  // namespace

TEST_SUITE_BEGIN("placement");

TEST_CASE("in every layout a ring in its place is right, and each of its crossed pairs is named with both names") {
  for (const Layout& layout : layouts()) {
    CAPTURE(layout.trade_names.front());
    const Rig rig = rig_for(layout);
    const auto found = in_place(rig);
    CHECK(judge_places(rig, found).empty());
    for (std::size_t i = 0; i < found.size(); ++i) {
      for (std::size_t j = i + 1; j < found.size(); ++j) {
        if (!found[i] || !found[j]) continue;
        CAPTURE(rig.speakers[i].label);
        CAPTURE(rig.speakers[j].label);
        auto crossed = found;
        std::swap(crossed[i], crossed[j]);
        const Findings findings = judge_places(rig, crossed);
        REQUIRE(codes(findings) ==
                Codes{"swapped-outputs " + rig.speakers[i].label, "swapped-outputs " + rig.speakers[j].label});
        CHECK(findings[0].message.find(rig.speakers[j].label) != std::string::npos);
        CHECK(findings[1].message.find(rig.speakers[i].label) != std::string::npos);
        CHECK(findings[0].severity == Severity::stop);
      }
    }
  }
}

TEST_CASE("a screen-edge pair outside L and R, as a wide screen has it, is no exchange") {
  // ITU-R BS.2051 system G (4+9+0): L 30 to 45, M+SC 5 to 60 degrees.
  const Rig rig = rig_for(*find_layout("4+9+0"));
  for (const double edge_deg : {36.0, 40.0, 45.0, 60.0}) {
    for (const double main_deg : {30.0, 35.0, 45.0}) {
      CAPTURE(edge_deg);
      CAPTURE(main_deg);
      auto found = in_place(rig);
      found[index_of(rig, "L")] = at({main_deg, 0.0});
      found[index_of(rig, "R")] = at({-main_deg, 0.0});
      found[index_of(rig, "Lsc")] = at({edge_deg, 0.0});
      found[index_of(rig, "Rsc")] = at({-edge_deg, 0.0});
      CHECK(judge_places(rig, found).empty());
    }
  }
}

TEST_CASE("three cables in a circle are named, each with the place it plays from") {
  const Rig rig = rig_for(*find_layout("7.1.4"));
  auto found = in_place(rig);
  const std::size_t a = index_of(rig, "L");
  const std::size_t b = index_of(rig, "Lss");
  const std::size_t c = index_of(rig, "Rtr");
  std::swap(found[a], found[b]);
  std::swap(found[b], found[c]);
  CHECK(judge_places(rig, found).size() == 3);
}

TEST_CASE("a speaker that stands in the place of one that was not heard is named, a slightly turned one is not") {
  const Rig rig = rig_for(*find_layout("7.1.4"));
  auto found = in_place(rig);
  const std::size_t silent = index_of(rig, "Rss");
  found[silent].reset();
  CHECK(judge_places(rig, found).empty());
  found[index_of(rig, "R")] = at({-90.0, 0.0});
  CHECK(codes(judge_places(rig, found)) == Codes{"swapped-outputs R"});
  found[index_of(rig, "R")] = at({-62.0, 0.0});  // 17 degrees outside 30 to 45, half way to the silent one
  CHECK(codes(judge_places(rig, found)) == Codes{"wrong-place R"});
}

TEST_CASE("10 degrees outside the range are found in azimuth and elevation, 5 are not") {
  // Ranges of ITU-R BS.2051 system J (reference/layouts.csv): Lrs 120 to 150 and 0, Ltf 30 to 45 and 30 to 55.
  const Rig rig = rig_for(*find_layout("7.1.4"));
  struct Case {
    const char* label;
    Direction direction;
    bool wrong;
  };
  for (const auto& [label, direction, wrong] :
       {Case{"Lrs", {110.0, 0.0}, true}, Case{"Lrs", {115.0, 0.0}, false}, Case{"Lrs", {160.0, 0.0}, true},
        Case{"Lrs", {155.0, 0.0}, false}, Case{"Lrs", {135.0, 10.0}, true}, Case{"Lrs", {135.0, -10.0}, true},
        Case{"Lrs", {135.0, 5.0}, false}, Case{"Ltf", {55.0, 45.0}, true}, Case{"Ltf", {50.0, 45.0}, false},
        Case{"Ltf", {40.0, 20.0}, true}, Case{"Ltf", {40.0, 65.0}, true}, Case{"Ltf", {40.0, 58.0}, false}}) {
    CAPTURE(label);
    CAPTURE(direction.azimuth_deg);
    CAPTURE(direction.elevation_deg);
    auto found = in_place(rig);
    found[index_of(rig, label)] = at(direction);
    const Findings findings = judge_places(rig, found);
    CHECK(std::ranges::any_of(findings, [](const Finding& f) { return f.severity != Severity::note; }) == wrong);
  }
}

TEST_CASE("an unsure direction is not blamed, and without a distance the instruction is in angles") {
  const Rig rig = rig_for(*find_layout("2.0"));
  auto found = in_place(rig);
  found[0] = Located{place({45.0, 0.0}, 2.0), 0.8, 0.7};
  REQUIRE(judge_places(rig, found).size() == 1);
  CHECK(
      judge_places(rig, found)[0].message ==
      "L stands 15 degrees outside its range (found at azimuth 45, elevation 0). Move it to azimuth 30, elevation 0.");
  found[0]->direction_uncertainty_deg = 7.0;
  const Findings unsure = judge_places(rig, found);
  CHECK(codes(unsure) == Codes{"place-unsure "});
  CHECK(unsure[0].severity == Severity::warn);
  CHECK(unsure[0].message.find("L may be 15 degrees out") != std::string::npos);
  // Sure to 5 degrees: two of them reach to 10, which must not pass in silence.
  for (const double sure_deg : {4.9, 5.1}) {
    found = in_place(rig);
    found[1]->direction_uncertainty_deg = sure_deg;
    CHECK(codes(judge_places(rig, found)) == (sure_deg < 5.0 ? Codes{} : Codes{"place-unsure "}));
  }
}

TEST_CASE("a speaker in another's place while that one is at home is misplaced, no cables are crossed") {
  // Ranges of ITU-R BS.2051 systems G and H (reference/layouts.csv): G: L 30 to 45, Lsc 5 to 60, nominal 15; H: L 22.5
  // to 30, Lw 45 to 60. An exchange needs both.
  const Rig rig = rig_for(*find_layout("9.1.4"));
  for (const double of_other_deg : {10.0, 15.0, 20.0, 25.0}) {
    CAPTURE(of_other_deg);
    auto found = in_place(rig);
    found[index_of(rig, "Lsc")] = at({of_other_deg, 0.0});
    found[index_of(rig, "L")] = at({15.0, 0.0}, 1.6);
    CHECK(codes(judge_places(rig, found)) == Codes{"wrong-place L"});
  }
  const Rig wide = rig_for(*find_layout("22.2"));
  for (const double of_other_deg : {45.0, 50.0, 60.0}) {
    CAPTURE(of_other_deg);
    auto found = in_place(wide);
    found[index_of(wide, "Lw")] = at({of_other_deg, 0.0});
    found[index_of(wide, "L")] = at({60.0, 0.0}, 1.6);
    CHECK(codes(judge_places(wide, found)) == Codes{"wrong-place L"});
  }
}

TEST_CASE("a crossed pair is named although a third speaker stands in the place of one of them") {
  const Rig rig = rig_for(*find_layout("7.1.4"));
  auto found = in_place(rig);
  std::swap(found[index_of(rig, "L")], found[index_of(rig, "R")]);
  found[index_of(rig, "C")] = at({30.0, 0.0}, 1.6);
  CHECK(codes(judge_places(rig, found)) == Codes{"swapped-outputs L", "swapped-outputs R", "wrong-place C"});
}

TEST_CASE("a ring of the user's own is judged by the places in its rig") {
  Rig rig;
  rig.layout = "garden";
  for (const double azimuth_deg : {100.0, -20.0, 20.0}) {
    Speaker speaker;
    speaker.label = "oak " + std::to_string(rig.speakers.size() + 1);
    speaker.output = static_cast<int>(rig.speakers.size()) + 1;
    speaker.nominal = Direction{azimuth_deg, 0.0};
    rig.speakers.push_back(speaker);
  }
  auto found = in_place(rig);
  CHECK(judge_places(rig, found).empty());
  found[0] = at({112.0, 0.0});
  CHECK(codes(judge_places(rig, found)) == Codes{"wrong-place oak 1"});
  found[0] = at({100.0, 0.0});
  std::swap(found[1], found[2]);
  CHECK(codes(judge_places(rig, found)) == Codes{"swapped-outputs oak 2", "swapped-outputs oak 3"});
}

TEST_CASE("a pair that is no mirror image is noted") {
  const Rig rig = rig_for(*find_layout("7.1.4"));
  auto found = in_place(rig);
  found[index_of(rig, "Lss")] = at({85.0, 0.0});
  found[index_of(rig, "Rss")] = at({-105.0, 0.0});
  const Findings findings = judge_places(rig, found);
  CHECK(codes(findings) == Codes{"uneven-pair Lss"});
  CHECK(findings[0].severity == Severity::note);
}

TEST_SUITE_END();
