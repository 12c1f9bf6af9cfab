#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <locale>
#include <random>
#include <sstream>
#include <string>
#include <string_view>

#include "rig_messages.hpp"
#include "ringtrue/rig/layout.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue {
namespace {

/// Random rigs of all kinds that are possible, from a fixed seed; std::mt19937 is the same everywhere, and numbers are
/// made from it by hand because the distributions of the library are not.
class RandomRigs {
 public:
  explicit RandomRigs(std::uint32_t seed) : engine_{seed} {}

  Rig next() {
    Rig rig;
    rig.name = text(30);
    rig.layout = flip() ? std::string{"4+7+0"} : 'r' + text(20);
    if (flip()) rig.room.size_m = {between(1.0, 9.0), between(1.0, 9.0), between(3.1, 9.0)};
    rig.room.ear_height_m = between(0.2, 3.0);
    rig.room.temperature_c = between(-20.0, 50.0);
    rig.interface = interface();
    if (flip()) rig.bass_management = bass_management();
    if (flip()) rig.microphone.full_scale_spl_db = between(20.0, 200.0);
    const int speakers = 1 + static_cast<int>(between(0.0, 20.0));
    for (int i = 0; i < speakers; ++i) {
      rig.speakers.push_back(speaker(i));
      const bool may_have_own = rig.bass_management && rig.speakers.back().kind == SpeakerKind::main;
      if (may_have_own && flip()) rig.speakers.back().crossover_hz = between(20.0, 500.0);
      if (rig.speakers.back().kind == SpeakerKind::sub) rig.speakers.back().lfe_only = flip();
      if (flip()) rig.speakers.back().nominal = Direction{between(-180.0, 180.0), between(-90.0, 90.0)};
    }
    const double positions = between(0.0, 6.0);
    for (int i = 0; i < static_cast<int>(positions); ++i) {
      rig.positions.push_back({{between(-2.0, 2.0), between(-2.0, 2.0), between(-2.0, 2.0)}});
    }
    return rig;
  }

 private:
  bool flip() { return engine_() % 2 == 0; }
  /// Half of the values with all digits of a double, half rounded as people write them.
  double between(double low, double high) {
    const double value = low + (high - low) * static_cast<double>(engine_()) / 4'294'967'296.0;
    const double tidy = std::round(value * 100.0) / 100.0;
    return flip() && tidy >= low && tidy <= high ? tidy : value;
  }
  std::array<double, 2> range(double low, double middle, double high) {
    return {between(low, middle), between(middle, high)};
  }
  std::string text(std::size_t longest) {
    static constexpr std::string_view pieces[] = {"a", "Z", " ", "\"", "\\", "#", "é", "音", "'", "=", "[", "]", "\\n"};
    std::string result;
    for (std::size_t n = engine_() % (longest / 2); n > 0; --n) result += pieces[engine_() % std::size(pieces)];
    return result;
  }
  BassManagement bass_management() {
    const double crossover_hz = between(20.0, 500.0);
    return {crossover_hz, between(-30.0, 30.0), crossover_slopes[engine_() % crossover_slopes.size()]};
  }
  Interface interface() {
    Interface result;
    result.sample_rate_hz = std::round(between(44'100.0, 192'000.0));
    result.trim_range_db = range(-100.0, -10.0, 20.0);
    result.trim_range_db[1] += 10.0;
    result.trim_step_db = between(0.001, 5.0);
    result.delay_range_ms = range(0.0, 1.0, 500.0);
    result.delay_range_ms[1] += 10.0;
    result.delay_step_ms = between(0.0001, 5.0);
    result.eq_bands = static_cast<int>(between(0.0, 64.0));
    result.eq_gain_range_db = range(-30.0, -10.0, 20.0);
    result.eq_gain_range_db[1] += 10.0;
    result.eq_gain_step_db = between(0.001, 5.0);
    result.eq_q_range = range(0.05, 1.0, 100.0);
    result.eq_frequency_range_hz = range(1.0, 1'000.0, 22'000.0);
    result.polarity_switch = flip();
    if (flip()) result.loopback_output = 64;
    return result;
  }
  Speaker speaker(int index) {
    Speaker result;
    result.label = (flip() ? "LFE" : "+-_.") + std::to_string(index);
    result.output = 63 - 3 * index;
    result.kind = flip() ? SpeakerKind::sub : SpeakerKind::main;
    result.band = {Hertz{between(1.0, 1'000.0)}, Hertz{between(2'000.0, 22'000.0)}};
    return result;
  }

  std::mt19937 engine_;
};

}  // namespace

TEST_CASE("a rig written and read again is equal to the last digit") {
  RandomRigs rigs{20'240'501};
  for (int i = 0; i < 300; ++i) {
    const Rig rig = rigs.next();
    const std::string text = format_rig(rig);
    CAPTURE(text);
    REQUIRE(parse_rig(text, "rig.toml") == rig);
    REQUIRE(format_rig(parse_rig(text, "rig.toml")) == text);
  }
}

TEST_CASE("a small text change in a written rig makes another rig") {
  // The round trip above could not fail if equality ignored a member; each changed number must be seen.
  const Rig rig = parse_rig("layout = \"4+7+0\"\n" + test::one_speaker, "rig.toml");
  const std::string text = format_rig(rig);
  for (const auto& [from, to] : {std::pair{"ear_height_m = 1.2", "ear_height_m = 1.3"},
                                 std::pair{"temperature_c = 22", "temperature_c = 23"},
                                 std::pair{"sample_rate_hz = 48000", "sample_rate_hz = 96000"},
                                 std::pair{"[-20, 0]", "[-21, 0]"},
                                 std::pair{"trim_step_db = 0.1", "trim_step_db = 0.2"},
                                 std::pair{"[0, 40]", "[0, 41]"},
                                 std::pair{"delay_step_ms = 0.01", "delay_step_ms = 0.02"},
                                 std::pair{"eq_bands = 8", "eq_bands = 9"},
                                 std::pair{"[-12, 3]", "[-12, 2]"},
                                 std::pair{"eq_gain_step_db = 0.1", "eq_gain_step_db = 0.2"},
                                 std::pair{"[0.4, 10]", "[0.5, 10]"},
                                 std::pair{"[20, 20000]", "[21, 20000]"},
                                 std::pair{"polarity_switch = true", "polarity_switch = false"},
                                 std::pair{"# loopback_output", "loopback_output"},
                                 std::pair{"# [bass_management]", "[bass_management]"},
                                 std::pair{"# size_m", "size_m"},
                                 std::pair{"output = 1\n", "output = 3\n"},
                                 std::pair{"kind = \"main\"", "kind = \"sub\""},
                                 std::pair{"[50, 20000]", "[51, 20000]"},
                                 std::pair{"[0, 0, 0]", "[0, 0, 0.1]"}}) {
    CAPTURE(from);
    std::string changed = text;
    const std::size_t place = changed.find(from);
    REQUIRE(place != std::string::npos);
    changed.replace(place, std::string_view{from}.size(), to);
    CHECK(parse_rig(changed, "rig.toml") != rig);
  }
}

TEST_CASE("a small change of the bass management in a written rig makes another rig") {
  const Rig rig = parse_rig("layout = \"4+7+0\"\n[bass_management]\n" + test::one_speaker + "crossover_hz = 120\n", "");
  const std::string text = format_rig(rig);
  for (const auto& [from, to] :
       {std::pair{"crossover_hz = 80", "crossover_hz = 90"}, std::pair{"crossover_hz = 120", "crossover_hz = 90"},
        std::pair{"slope = \"LR24\"", "slope = \"LR48\""}, std::pair{"lfe_gain_db = 10", "lfe_gain_db = 0"}}) {
    CAPTURE(from);
    std::string changed = text;
    const std::size_t place = changed.find(from);
    REQUIRE(place != std::string::npos);
    changed.replace(place, std::string_view{from}.size(), to);
    CHECK(parse_rig(changed, "") != rig);
  }
}

TEST_CASE("a written rig and docs/rig.md name every key, no written line is over 120 columns") {
  std::ostringstream page;
  page << std::ifstream{RINGTRUE_SOURCE_DIR "/docs/rig.md"}.rdbuf();
  const std::string text = format_rig(parse_rig(
      "layout = \"7.1.4\"\n[bass_management]\n" + test::one_speaker + "crossover_hz = 120\nazimuth_deg = 30\n", ""));
  for (const char* key : {"name",
                          "layout",
                          "[room]",
                          "size_m",
                          "ear_height_m",
                          "temperature_c",
                          "[interface]",
                          "sample_rate_hz",
                          "trim_range_db",
                          "trim_step_db",
                          "delay_range_ms",
                          "delay_step_ms",
                          "eq_bands",
                          "eq_gain_range_db",
                          "eq_gain_step_db",
                          "eq_q_range",
                          "eq_frequency_range_hz",
                          "polarity_switch",
                          "loopback_output",
                          "[bass_management]",
                          "crossover_hz",
                          "lfe_gain_db",
                          "slope",
                          "[[speaker]]",
                          "label",
                          "output",
                          "kind",
                          "band_hz",
                          "azimuth_deg",
                          "elevation_deg",
                          "[[position]]",
                          "offset_m"}) {
    CAPTURE(key);
    CHECK(text.find(key) != std::string::npos);
    CHECK(page.str().find(key) != std::string::npos);
  }
  std::istringstream lines{text};
  for (std::string line; std::getline(lines, line);) CHECK(line.size() <= 120);
  CHECK(text.ends_with("]\n"));
}

TEST_CASE("a written rig tells each label in words and the layout's other name") {
  const auto written = [](const std::string& layout, const std::string& label) {
    return format_rig(
        parse_rig("layout = \"" + layout + "\"\n[[speaker]]\nlabel = \"" + label + "\"\noutput = 1\n", ""));
  };
  CHECK(written("4+7+0", "M+090").find("# left side surround\n") != std::string::npos);
  CHECK(written("4+7+0", "L").find("# everyday name 7.1.4\n") != std::string::npos);
  CHECK(written("7.1.4", "L").find("# 4+7+0 in ITU-R BS.2051\n") != std::string::npos);
  CHECK(written("9.1.6", "L").find("# no system of ITU-R BS.2051\n") != std::string::npos);
  CHECK(written("garden", "Oak").find("# a ring of your own") != std::string::npos);
}

TEST_CASE("a locale with a decimal comma changes neither reading nor writing") {
  struct Comma : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    char do_thousands_sep() const override { return '.'; }
    std::string do_grouping() const override { return "\3"; }
  };
  const std::string text = "layout = \"2.0\"\n[interface]\nsample_rate_hz = 44100\n" + test::one_speaker;
  const Rig rig = parse_rig(text, "rig.toml");
  const std::string written = format_rig(rig);
  const std::locale before = std::locale::global(std::locale{std::locale::classic(), new Comma});
  CHECK((std::ostringstream{} << 1234.5).str() == "1.234,5");  // the ruler: a stream does follow it
  CHECK(format_rig(rig) == written);
  CHECK(parse_rig(written, "rig.toml") == rig);
  CHECK(test::message_of(test::with_setting("[room]", "ear_height_m = 1234.5")).find("1234.5 is outside") !=
        std::string::npos);
  std::locale::global(before);
}

}  // namespace ringtrue
