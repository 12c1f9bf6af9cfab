#include "ringtrue/rig/rig_edit.hpp"

#include <doctest/doctest.h>

#include <string>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"

using namespace ringtrue;

namespace {

const std::string start = "# my ring\nlayout = \"2.0\"   # [microphone] is what?\n";
const std::string speakers = "[[speaker]]\nlabel = \"L\"  # left\noutput = 1\n";

double full_scale(const std::string& text) {
  return parse_rig(text, "rig.toml").microphone.full_scale_spl_db.value_or(0.0);
}

}  // namespace

TEST_CASE("a level goes to the end of a rig that has none, and nothing else changes") {
  const std::string text = start + speakers;
  const std::string edited = with_full_scale_spl(text, "rig.toml", 122.456);
  CHECK(edited.starts_with(text));
  CHECK(full_scale(edited) == 122.46);
  CHECK(full_scale(with_full_scale_spl(text.substr(0, text.size() - 1), "rig.toml", 100.0)) == 100.0);
}

TEST_CASE("a level replaces the one before and keeps its comment") {
  const std::string text = start + "[microphone] # mine\r\n  full_scale_spl_db=99 # from before\r\n\r\n" + speakers;
  const std::string edited = with_full_scale_spl(text, "rig.toml", 101.5);
  CHECK(edited == start + "[microphone] # mine\r\nfull_scale_spl_db = 101.50  # from before\r\n\r\n" + speakers);
  CHECK(with_full_scale_spl(edited, "rig.toml", 101.5) == edited);
  const std::string empty = start + "[microphone]\n" + speakers;
  CHECK(with_full_scale_spl(empty, "rig.toml", 90.0) == start + "[microphone]\nfull_scale_spl_db = 90.00\n" + speakers);
}

TEST_CASE("what cannot be edited is refused, with the line to write") {
  for (const char* const odd : {"microphone.full_scale_spl_db = 90\n", "microphone = { full_scale_spl_db = 90 }\n"}) {
    const std::string text = start + odd + speakers;
    CHECK_THROWS_WITH_AS((void)with_full_scale_spl(text, "rig.toml", 95.0),
                         doctest::Contains("write \"full_scale_spl_db = 95.00\" under [microphone] yourself"),
                         InvalidInput);
  }
  CHECK_THROWS_AS((void)with_full_scale_spl("layout = 3", "rig.toml", 95.0), InvalidInput);
}
