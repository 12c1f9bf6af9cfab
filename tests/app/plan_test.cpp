#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

#include "app/run_program.hpp"
#include "ringtrue/rig/layout.hpp"
#include "ringtrue/rig/rig_file.hpp"

using namespace ringtrue::test;
using Json = nlohmann::json;

namespace {

const std::string small = "plan 7.1.4 --out rig.toml --room 5.2x4.4x2.6";

struct BadUsage {
  std::string arguments;
  std::string error;  // the whole line
};

/// Every one must end with status 2, this one line on stderr, nothing on stdout and nothing written.
void check_refusals(const std::vector<BadUsage>& cases) {
  const TemporaryFolder folder;
  write_file(folder.path() / "taken.toml", "precious");
  const auto before = everything_in(folder.path());
  for (const auto& [arguments, error] : cases) {
    CAPTURE(arguments);
    const Outcome outcome = run_program(folder.path(), arguments);
    CHECK(outcome.status == 2);
    CHECK(outcome.error == error + '\n');
    CHECK(outcome.out.empty());
    CHECK(everything_in(folder.path()) == before);
    CHECK(content_of(folder.path() / "taken.toml") == "precious");
  }
}

void check_speaker(const Json& speaker, const ringtrue::LayoutChannel& channel) {
  CAPTURE(channel.label);
  CHECK(speaker["label"] == channel.label);
  CHECK(speaker["bs2051_label"] == channel.bs2051_label);
  CHECK(speaker["nominal"]["azimuth_deg"] == channel.nominal.azimuth_deg);
  CHECK(speaker["nominal"]["elevation_deg"] == channel.nominal.elevation_deg);
  REQUIRE(channel.range.has_value());
  CHECK(speaker["allowed"]["azimuth_deg"] == Json::array({channel.range->az_min_deg, channel.range->az_max_deg}));
  CHECK(speaker["allowed"]["elevation_deg"] == Json::array({channel.range->el_min_deg, channel.range->el_max_deg}));
  if (channel.is_lfe) return;
  CHECK(speaker["azimuth_deg"] == channel.nominal.azimuth_deg);
  CHECK(speaker["elevation_deg"] == channel.nominal.elevation_deg);
}

}  // namespace

TEST_CASE("all ten systems of BS.2051 come with the nominal angles and ranges of the table") {
  // The table in the code is compared with the reference row by row in tests/rig/layout_reference_test.cpp.
  const TemporaryFolder folder;
  int systems = 0;
  for (const ringtrue::Layout& layout : ringtrue::layouts()) {
    if (layout.bs2051_name.empty()) continue;
    ++systems;
    CAPTURE(layout.bs2051_name);
    const Outcome outcome = run_program(
        folder.path(), "plan " + std::string{layout.bs2051_name} + " --out rig.toml --overwrite --json --room 9x8x4");
    CHECK(outcome.error.empty());
    REQUIRE(outcome.status == 0);
    const Json plan = Json::parse(outcome.out);
    CHECK(plan["layout"] == layout.bs2051_name);
    REQUIRE(plan["speakers"].size() == layout.channels.size());
    const auto order = ringtrue::output_order(layout);
    for (std::size_t i = 0; i < order.size(); ++i) {
      CHECK(plan["speakers"][i]["output"] == i + 1);
      check_speaker(plan["speakers"][i], layout.channels[order[i]]);
    }
  }
  CHECK(systems == 10);
}

TEST_CASE("everyday names plan, too, and the rig reads back with four mic positions") {
  const TemporaryFolder folder;
  for (const std::string name : {"2.0", "stereo", "5.1", "7.1", "5.1.2", "5.1.4", "7.1.2", "7.1.4", "9.1.4", "9.1.6",
                                 "22.2", "5.1.2 (overhead)"}) {
    CAPTURE(name);
    const Outcome outcome = run_program(folder.path(), "plan '" + name + "' --out rig.toml --overwrite");
    CHECK(outcome.status == 0);
    const ringtrue::Rig rig = ringtrue::read_rig(folder.path() / "rig.toml");
    CHECK(ringtrue::find_layout(rig.layout) == ringtrue::find_layout(name));
    CHECK(rig.positions.size() == 4);
    CHECK_FALSE(rig.room.size_m.has_value());
  }
}

TEST_CASE("the rig of a plan makes a stimulus at once") {
  const TemporaryFolder folder;
  REQUIRE(run_program(folder.path(), small + " --name 'Attic'").status == 0);
  const Outcome outcome =
      run_program(folder.path(), "stimulus rig.toml --out s.wav --json --sweep-seconds 1 --decay-seconds 0.5");
  CHECK(outcome.status == 0);
  CHECK(Json::parse(outcome.out)["channels"] == 12);
  const ringtrue::Rig rig = ringtrue::read_rig(folder.path() / "rig.toml");
  CHECK(rig.name == "Attic");
  CHECK(rig.room.size_m == std::array{5.2, 4.4, 2.6});
}

TEST_CASE("speakers of one's own join a layout or make a ring") {
  const TemporaryFolder folder;
  const Outcome wides = run_program(
      folder.path(), "plan 7.1.4 --out wides.toml --speaker Lw:60:0 --speaker Rw:-60:0 --speaker Ltf:40:45 --json");
  REQUIRE(wides.status == 0);
  const Json speakers = Json::parse(wides.out)["speakers"];
  REQUIRE(speakers.size() == 14);
  CHECK(speakers[12]["label"] == "Lw");
  CHECK(speakers[12]["allowed"].is_null());
  CHECK(speakers[8]["azimuth_deg"] == 40.0);
  CHECK(ringtrue::read_rig(folder.path() / "wides.toml").layout == "4+7+0");
  REQUIRE(run_program(folder.path(), "plan custom --out own.toml --speaker A:45:0 --speaker SubB:0:0").status == 0);
  const ringtrue::Rig own = ringtrue::read_rig(folder.path() / "own.toml");
  CHECK(own.layout == "custom");
  CHECK(own.speakers[1].kind == ringtrue::SpeakerKind::sub);
}

TEST_CASE("the same plan gives the same bytes") {
  const TemporaryFolder folder;
  const Outcome first = run_program(folder.path(), small + " --page plan.html --json");
  const std::string rig = content_of(folder.path() / "rig.toml");
  const std::string page = content_of(folder.path() / "plan.html");
  const Outcome second = run_program(folder.path(), small + " --page plan.html --json --overwrite");
  CHECK(first.out == second.out);
  CHECK(content_of(folder.path() / "rig.toml") == rig);
  CHECK(content_of(folder.path() / "plan.html") == page);
}

TEST_CASE("a speaker without a place in its range ends with status 1, and everything is written") {
  const TemporaryFolder folder;
  const Outcome outcome =
      run_program(folder.path(), "plan 5.1.4 --out rig.toml --page plan.html --room 5x4x1.7 --json");
  CHECK(outcome.status == 1);
  CHECK(outcome.error.empty());
  CHECK(everything_in(folder.path()) == std::set<std::string>{"plan.html", "rig.toml"});
  const Json findings = Json::parse(outcome.out)["findings"];
  const auto warns = std::ranges::count_if(findings, [](const Json& finding) { return finding["severity"] == "warn"; });
  CHECK(warns == 2);  // the front pair and the rear pair of overheads: 0.2 m are left above the ear
}

TEST_CASE("a plan replaces files only when that is asked for") {
  const TemporaryFolder folder;
  REQUIRE(run_program(folder.path(), small).status == 0);
  const std::string rig = content_of(folder.path() / "rig.toml");
  const Outcome refused = run_program(folder.path(), "plan 5.1 --out rig.toml --page plan.html");
  CHECK(refused.status == 2);
  CHECK(refused.error == "ringtrue: rig.toml: exists already; give another name, or --overwrite to replace it\n");
  CHECK(content_of(folder.path() / "rig.toml") == rig);
  CHECK(everything_in(folder.path()) == std::set<std::string>{"rig.toml"});
  REQUIRE(run_program(folder.path(), "plan 5.1 --out rig.toml --overwrite").status == 0);
  CHECK(content_of(folder.path() / "rig.toml") != rig);
}

TEST_CASE("a plan that cannot be is refused with one line, and nothing is written") {
  const std::string see = "; see 'ringtrue plan --help'";
  const std::string room_remedy = "; write length x width x height in metres, e.g. 5.2x4.4x2.6";
  check_refusals(
      {{"plan", "ringtrue plan: layout is required" + see},
       {"plan 7.1.4", "ringtrue plan: --out is required" + see},
       {"plan 7.1.5 --out rig.toml",
        "ringtrue: \"7.1.5\": is no known layout; the nearest name is 7.1.4; 'ringtrue plan --help' lists all; for a "
        "ring of your own write custom with --speaker"},
       {"plan custom --out rig.toml",
        "ringtrue: custom: a ring of your own needs its loudspeakers; give --speaker LABEL:AZIMUTH:ELEVATION for each, "
        "e.g. --speaker L:30:0"},
       {"plan 5.1 --out rig.toml --room 5x4", "ringtrue: --room: \"5x4\" is not three lengths" + room_remedy},
       {"plan 5.1 --out rig.toml --room 5,2x4,4x2,6",
        "ringtrue: --room: \"5,2x4,4x2,6\" is not three lengths" + room_remedy},
       {"plan 5.1 --out rig.toml --room 5xbx2", "ringtrue: --room: \"5xbx2\" is not three lengths" + room_remedy},
       {"plan 5.1 --out rig.toml --room -5x4x2.5",
        "ringtrue: room: -5 m is not between 1 and 100 m; give length x width x height in metres, e.g. 5.2x4.4x2.6"},
       {"plan 5.1 --out rig.toml --room nanx4x2.5",
        "ringtrue: room: nan m is not between 1 and 100 m; give length x width x height in metres, e.g. 5.2x4.4x2.6"},
       {"plan 5.1 --out rig.toml --room 1.2x1.2x2.4",
        "ringtrue: room: only 0.20 m are left beside the listener with 0.4 m kept free along the walls; correct the "
        "room's size, the listener's place or the clearance"},
       {"plan 5.1 --out rig.toml --distance -2",
        "ringtrue: distance: -2 m is not between 0.7 and 50 m; give the metres from the ear to the speakers, e.g. 2.0"},
       {"plan 5.1 --out rig.toml --ear-height tall", "ringtrue plan: Could not convert: --ear-height = tall" + see},
       {"plan 5.1 --out rig.toml --room 5x4x2.5 --listener 2.5",
        "ringtrue: --listener: \"2.5\" is not two distances; write the metres from the front wall and from the left "
        "wall, e.g. 2.6,2.2"},
       {"plan 5.1 --out rig.toml --listener 2,2",
        "ringtrue: listener: its place is measured from walls, but no room is known; give the room's size, too"},
       {"plan 5.1 --out rig.toml --speaker X:30",
        "ringtrue: --speaker: \"X:30\" is not a label and two angles; write LABEL:AZIMUTH:ELEVATION in degrees, "
        "azimuth "
        "positive to the left, e.g. Ltm:90:60"},
       {"plan 5.1 --out taken.toml",
        "ringtrue: taken.toml: exists already; give another name, or --overwrite to replace it"},
       {"plan 5.1 --out rig.toml --page ./rig.toml",
        "ringtrue: rig.toml: would take two things; give each a file of its own"},
       {"plan 5.1 --out . --overwrite", "ringtrue: .: is a folder; give the name of a file"}});
}

TEST_CASE("a page that cannot be written leaves no rig behind") {
  const TemporaryFolder folder;
  const Outcome outcome = run_program(folder.path(), small + " --page none/plan.html");
  CHECK(outcome.status == 2);
  CHECK(outcome.error.starts_with("ringtrue: none/plan.html: there is no folder "));
  CHECK(everything_in(folder.path()).empty());
}

TEST_CASE("help for plan fits 80 columns and lists every layout") {
  const TemporaryFolder folder;
  const Outcome outcome = run_program(folder.path(), "plan --help");
  CHECK(outcome.status == 0);
  for (const ringtrue::Layout& layout : ringtrue::layouts()) {
    CAPTURE(layout.code);
    CHECK(outcome.out.find("\n  " + std::string{layout.trade_names.front()}) != std::string::npos);
    CHECK(outcome.out.find(layout.bs2051_name) != std::string::npos);
  }
  std::istringstream lines{outcome.out};
  for (std::string line; std::getline(lines, line);) {
    CAPTURE(line);
    CHECK(line.size() <= 80);
  }
}

TEST_CASE("a system's letter is its designation, too, and everyday names of a layout with more speakers are known") {
  const TemporaryFolder folder;
  const auto labels_of = [&](const std::string& name) {
    const Outcome outcome = run_program(folder.path(), "plan '" + name + "' --out rig.toml --overwrite --json");
    REQUIRE_MESSAGE(outcome.status == 0, outcome.error);
    const Json plan = Json::parse(outcome.out);
    std::string labels;
    for (const Json& speaker : plan["speakers"]) {
      labels += speaker["label"].get<std::string>() + ' ';
    }
    return labels;
  };
  CHECK(labels_of("System J") == "L R C LFE Lss Rss Lrs Rrs Ltf Rtf Ltr Rtr ");
  CHECK(labels_of("2.1") == "L R LFE ");
  CHECK(labels_of("3.1") == "L R C LFE ");
  CHECK(labels_of("9.1.4 (wides)") == labels_of("7.1.4") + "Lw Rw ");
  CHECK(labels_of("7.1.6") == labels_of("7.1.4") + "Ltm Rtm ");
  CHECK(ringtrue::read_rig(folder.path() / "rig.toml").speakers.size() == 14);
}
