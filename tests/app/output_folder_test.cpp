#include "output_folder.hpp"

#include <doctest/doctest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <functional>
#include <stdexcept>
#include <string>

#include "app/run_program.hpp"
#include "ringtrue/core/errors.hpp"

using namespace ringtrue;
using app::OutputFolder;
using test::everything_in;
using Names = std::set<std::string>;
namespace fs = std::filesystem;

namespace {

const std::vector<std::string> names{"parts", "seal.json"};

/// Writes a folder with one file, and a file.
void write_results(const fs::path& folder, const std::string& version) {
  fs::create_directory(folder / "parts");
  test::write_file(folder / "parts" / (version + ".wav"), version);
  test::write_file(folder / "seal.json", version);
}

void publish(const fs::path& folder, bool overwrite, const std::string& version) {
  OutputFolder{folder, overwrite, names}.publish([&](const fs::path& into) { write_results(into, version); });
}

std::string refusal(const std::function<void()>& act) {
  try {
    act();
  } catch (const InvalidInput& error) {
    return error.what();
  }
  return "accepted";
}

}  // namespace

TEST_CASE("results appear in a folder that is made for them, its parents too") {
  const test::TemporaryFolder top;
  publish(top.path() / "a" / "b/", false, "1");
  CHECK(everything_in(top.path()) == Names{"a", "a/b", "a/b/parts", "a/b/parts/1.wav", "a/b/seal.json"});
}

TEST_CASE("results join what else is in the folder") {
  const test::TemporaryFolder top;
  test::write_file(top.path() / "position1.wav", "precious");
  publish(top.path(), false, "1");
  CHECK(everything_in(top.path()) == Names{"position1.wav", "parts", "parts/1.wav", "seal.json"});
  CHECK(test::content_of(top.path() / "position1.wav") == "precious");
}

TEST_CASE("old results are refused before anything is computed, and replaced whole when that is asked for") {
  const test::TemporaryFolder top;
  publish(top.path() / "d", false, "1");
  CHECK(refusal([&] { OutputFolder(top.path() / "d", false, names); }) ==
        (top.path() / "d" / "seal.json").string() +
            ": exists already; give another folder with --out, or --overwrite to replace it");
  publish(top.path() / "d", true, "2");
  CHECK(everything_in(top.path() / "d") == Names{"parts", "parts/2.wav", "seal.json"});  // no 1.wav left
  CHECK(test::content_of(top.path() / "d" / "seal.json") == "2");
}

TEST_CASE("an old result that has no successor goes with the other old ones") {
  const test::TemporaryFolder top;
  publish(top.path() / "d", false, "1");
  const auto no_parts = [](const fs::path& into) { test::write_file(into / "seal.json", "2"); };
  OutputFolder{top.path() / "d", true, names}.publish(no_parts);
  CHECK(everything_in(top.path()) == Names{"d", "d/seal.json"});
  OutputFolder{top.path() / "e", false, names}.publish(no_parts);
  CHECK(everything_in(top.path() / "e") == Names{"seal.json"});
}

TEST_CASE("nothing is left when writing fails half way") {
  const test::TemporaryFolder top;
  const auto fail_half_way = [](const fs::path& folder) {
    write_results(folder, "1");
    throw InvalidInput{"parts", "disk full", "make room"};
  };
  CHECK_THROWS_AS(OutputFolder(top.path() / "d", false, names).publish(fail_half_way), InvalidInput);
  CHECK(everything_in(top.path()).empty());
  publish(top.path() / "d", false, "0");
  CHECK_THROWS_AS(OutputFolder(top.path() / "d", true, names).publish(fail_half_way), InvalidInput);
  CHECK(everything_in(top.path()) == Names{"d", "d/parts", "d/parts/0.wav", "d/seal.json"});
}

TEST_CASE("an error while writing names the folder that was asked for") {
  const test::TemporaryFolder top;
  const auto disk_full = [](const fs::path& into) {
    throw InvalidInput{(into / "parts" / "L.wav").string(), "disk full", "make room"};
  };
  CHECK(refusal([&] { OutputFolder(top.path() / "d", false, names).publish(disk_full); }) ==
        (top.path() / "d" / "parts" / "L.wav").string() + ": disk full; make room");
}

TEST_CASE("a program killed at any moment leaves the old results or the new, whole") {
  const test::TemporaryFolder top;
  const fs::path folder = top.path() / "d";
  publish(folder, false, "0");
  for (int round = 0; round < 30; ++round) {
    const pid_t child = fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      for (int version = 1;; ++version) publish(folder, true, std::to_string(version));
    }
    usleep(static_cast<useconds_t>(1'000 + 377 * round));
    kill(child, SIGKILL);
    waitpid(child, nullptr, 0);
    const std::string version = test::content_of(folder / "seal.json");
    CHECK(everything_in(folder) == Names{"parts", "parts/" + version + ".wav", "seal.json"});
    CHECK(test::content_of(folder / "parts" / (version + ".wav")) == version);
  }
  publish(folder, true, "last");  // and the next one tidies up what they left
  CHECK(everything_in(top.path()) == Names{"d", "d/parts", "d/parts/last.wav", "d/seal.json"});
}

TEST_CASE("a link to a folder stays a link") {
  const test::TemporaryFolder top;
  fs::create_directory(top.path() / "real");
  fs::create_directory_symlink(top.path() / "real", top.path() / "link");
  publish(top.path() / "link", false, "1");
  CHECK(fs::is_symlink(top.path() / "link"));
  CHECK(fs::exists(top.path() / "real" / "seal.json"));
}

TEST_CASE("a place that is a file, or below one, is refused at once") {
  const test::TemporaryFolder top;
  const fs::path file = top.path() / "file";
  test::write_file(file, "x");
  CHECK(refusal([&] { OutputFolder(file, true, names); }) ==
        file.string() + ": " + file.string() + " is not a folder; give another folder with --out");
  CHECK(refusal([&] { OutputFolder(file / "d", true, names); }) ==
        (file / "d").string() + ": " + file.string() + " is not a folder; give another folder with --out");
}
