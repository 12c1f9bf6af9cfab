#include "ringtrue/report/report_page.hpp"

#include <doctest/doctest.h>

#include <array>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "calibration/example.hpp"

namespace ringtrue {
namespace {

using Json = nlohmann::json;
using test::example_calibration;

/// What stands in the page's block of numbers.
Json numbers_of(const std::string& page) {
  const std::string start = "<script type=\"application/json\" id=\"numbers\">";
  const auto from = page.find(start) + start.size();
  return Json::parse(page.substr(from, page.find("</script>", from) - from));
}

/// The page without its charting library, which holds anything.
std::string own_part(const std::string& page) { return page.substr(0, page.find("<script>")); }

std::vector<PositionMeasurement> a_pulse_for_each(const Calibration& calibration) {
  PositionMeasurement position;
  for (const auto& speaker : calibration.speakers) {
    SpeakerMeasurement measured;
    measured.heard = speaker.status == Status::ok;
    measured.response = {48'000.0, 0.0, std::vector<float>(4'800, 0.0F)};
    // 5.125 ms at 48 kHz; half as high and upside down 10 ms later.
    measured.response.samples[246] = 0.5F;
    measured.response.samples[246 + 480] = -0.25F;
    position.speakers.push_back(measured);
  }
  return {position};
}

TEST_CASE("the page draws arrivals and levels in output order, before and with the settings") {
  const auto numbers = numbers_of(format_report_page(example_calibration(), {}));
  const auto& arrivals = numbers["charts"]["arrivals"];
  CHECK(arrivals["rows"] == Json::array({"R", "Ltf", "L", "LFE"}));
  // The example: all arrive at the same time, Ltf is silent; delays 0, none, 3.41 and 12.34 ms.
  CHECK(arrivals["series"][0]["y"] == Json::array({0.0, nullptr, 0.0, 0.0}));
  CHECK(arrivals["series"][1]["y"] == Json::array({0.0, nullptr, 3.41, 12.34}));
  // Measured at -31.402 dB; trims 0, none, -0.7 and -6.1 dB; two decimals.
  CHECK(numbers["charts"]["levels"]["series"][1]["y"] == Json::array({-31.4, nullptr, -32.1, -37.5}));
}

TEST_CASE("the page draws a response from its direct sound, and its level over time in dB") {
  Calibration calibration = example_calibration();
  for (auto& speaker : calibration.speakers) {
    if (speaker.status == Status::ok) speaker.measured.positions[0].arrival_ms = 5.125;
  }
  const auto numbers = numbers_of(format_report_page(calibration, a_pulse_for_each(calibration)));
  const auto largest = [&](const char* id, double near, double width) {
    const auto& line = numbers["charts"][id]["series"][0];
    const auto& x = numbers["grids"][line["grid"].get<std::size_t>()];
    double best = -1e9;
    for (std::size_t i = 0; i < x.size(); ++i) {
      if (std::abs(x[i].get<double>() - near) <= width) best = std::max(best, line["y"][i].get<double>());
    }
    return best;
  };
  CHECK(largest("impulse-0", 0.0, 0.01) == doctest::Approx(1.0));
  CHECK(largest("reflections-0", 0.05, 0.06) == doctest::Approx(0.0));
  CHECK(largest("reflections-0", 10.0, 0.11) == doctest::Approx(-6.02).epsilon(0.001));  // half: 20 lg 0.5
  CHECK(largest("reflections-0", 5.0, 4.0) == doctest::Approx(-60.0));                   // nothing between
  CHECK_FALSE(numbers["charts"].contains("impulse-2"));                                  // the silent one
}

TEST_CASE("the page draws each main with the sub, before and with the settings, and says the phase at the crossover") {
  const Calibration calibration = test::bass_calibration();
  const std::string page = format_report_page(calibration, {});
  const auto chart = numbers_of(page)["charts"]["bass-0"];
  const auto grids = numbers_of(page)["grids"];
  REQUIRE(chart["series"].size() == 4);
  const auto& picture = calibration.bass_picture->mains.front();
  const std::array<const std::vector<double>*, 4> drawn{&picture.main_db, &picture.sub_db, &picture.before_db,
                                                        &picture.after_db};
  for (std::size_t k = 0; k < drawn.size(); ++k) {
    const auto& series = chart["series"][k];
    CHECK(series["y"].get<std::vector<double>>() == *drawn[k]);
    CHECK(grids[series["grid"].get<std::size_t>()].get<std::vector<double>>() ==
          calibration.bass_picture->frequency_hz);
  }
  CHECK(chart["series"][2]["name"] == "together, by arrival alone");
  CHECK(chart["series"][3]["name"] == "together, as set");
  CHECK(own_part(page).find("L with the sub, crossover 80 Hz: -140 degrees apart by arrival, 5 as set") !=
        std::string::npos);
  CHECK_FALSE(numbers_of(format_report_page(example_calibration(), {}))["charts"].contains("bass-0"));
}

TEST_CASE("no text of the calibration becomes markup or script on the page") {
  Calibration calibration = example_calibration();
  calibration.rig.name = "</title><script>alert(1)</script>";
  calibration.speakers[0].label = "\"><img src=x>";
  calibration.findings[0].message = "</script><b>";
  const std::string page = format_report_page(calibration, {});
  for (const char* markup : {"alert(1)</script>", "<img", "</script><b>"}) {
    CHECK(page.find(markup) == std::string::npos);
  }
}

TEST_CASE("the page says first what has to be put right, and carries a date only when given one") {
  const Calibration calibration = example_calibration();
  const std::string page = format_report_page(calibration, {});
  CHECK(page == format_report_page(calibration, {}));
  CHECK(page.find("Not finished: no settings for Ltf") < page.find("What to type in"));
  CHECK(page.find("2 points to look at") != std::string::npos);
  CHECK(own_part(page).find("Measured 2031-05-06") == std::string::npos);
  CHECK(own_part(format_report_page(calibration, {}, {"2031-05-06"})).find("Measured 2031-05-06") != std::string::npos);
}

}  // namespace
}  // namespace ringtrue
