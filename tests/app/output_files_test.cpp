#include "output_files.hpp"

#include <doctest/doctest.h>

#include <functional>
#include <string>

#include "app/run_program.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using test::everything_in;
using Names = std::set<std::string>;
namespace fs = std::filesystem;

namespace {

bool is_refused(const std::function<void()>& act) {
  try {
    act();
  } catch (const InvalidInput&) {
    return true;
  }
  return false;
}

}  // namespace

TEST_CASE("several files are written, old ones replaced") {
  const test::TemporaryFolder top;
  test::write_file(top.path() / "b", "old");
  app::write_output_files({{top.path() / "a", "1"}, {top.path() / "b", "2"}});
  CHECK(test::content_of(top.path() / "a") == "1");
  CHECK(test::content_of(top.path() / "b") == "2");
}

TEST_CASE("when one file cannot be written, new ones before it are removed again and old ones stay") {
  const test::TemporaryFolder top;
  CHECK(is_refused([&] { app::write_output_files({{top.path() / "a", "1"}, {top.path() / "none" / "b", "2"}}); }));
  CHECK(everything_in(top.path()).empty());
  test::write_file(top.path() / "a", "old");
  CHECK(is_refused([&] { app::write_output_files({{top.path() / "a", "1"}, {top.path() / "none" / "b", "2"}}); }));
  CHECK(everything_in(top.path()) == Names{"a"});
}

TEST_CASE("what is in the way is refused before anything is computed, unless it may be replaced") {
  const test::TemporaryFolder top;
  test::write_file(top.path() / "a", "old");
  fs::create_directory(top.path() / "folder");
  CHECK(is_refused([&] { app::check_output_files({top.path() / "a"}, false); }));
  CHECK_FALSE(is_refused([&] { app::check_output_files({top.path() / "a"}, true); }));
  CHECK_FALSE(is_refused([&] { app::check_output_files({top.path() / "b", top.path() / "c"}, false); }));
  CHECK(is_refused([&] { app::check_output_files({top.path() / "folder"}, true); }));
  CHECK(is_refused([&] { app::check_output_files({top.path() / "none" / "b"}, true); }));
  CHECK(is_refused([&] { app::check_output_files({top.path() / "b", top.path() / "folder" / ".." / "b"}, true); }));
}
