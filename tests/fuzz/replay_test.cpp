#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "mutation.hpp"
#include "readers.hpp"

namespace ringtrue::fuzz {
namespace {

/// The files of a reader's corpus in the order of their names, so that a run can be repeated.
std::vector<std::string> corpus(std::string_view reader) {
  const std::filesystem::path folder{RINGTRUE_SOURCE_DIR "/tests/fuzz/corpus"};
  std::vector<std::filesystem::path> paths;
  for (const auto& entry : std::filesystem::directory_iterator{folder / reader}) paths.push_back(entry.path());
  std::ranges::sort(paths);
  std::vector<std::string> files;
  for (const auto& path : paths) {
    std::ifstream file{path, std::ios::binary};
    files.emplace_back(std::istreambuf_iterator<char>{file}, std::istreambuf_iterator<char>{});
  }
  return files;
}

/// What escaped from the reader; empty: it withstood.
std::string escaped(const Reader& reader, const std::string& bytes) {
  try {
    reader.withstand(bytes);
    return {};
  } catch (const std::exception& fault) {
    return fault.what();
  }
}

}  // namespace

TEST_CASE("the dice are SplitMix64") {
  // Source: the first outputs for seed 1234567 that the algorithm's reference program prints.
  Dice dice{1'234'567};
  CHECK(dice.roll() == 6'457'827'717'110'365'317U);
  CHECK(dice.roll() == 3'203'168'211'198'807'973U);
}

TEST_CASE("readers withstand their corpus") {
  // Source: the readers' headers, as promises in readers.cpp. `tests/fuzz/run.sh` looks for what this does not meet.
  constexpr std::size_t mutations = 2'000;
  for (const Reader& reader : readers()) {
    const std::vector<std::string> files = corpus(reader.name);
    REQUIRE(files.size() >= 3);
    for (std::size_t i = 0; i < files.size(); ++i) {
      CAPTURE(reader.name);
      CAPTURE(i);
      CHECK(escaped(reader, files[i]) == "");
    }
    for (std::size_t seed = 0; seed < mutations; ++seed) {
      Dice dice{seed};
      const std::string bytes = mutate(files[seed % files.size()], dice);
      CAPTURE(reader.name);
      CAPTURE(seed);
      CHECK(escaped(reader, bytes) == "");
    }
  }
}

}  // namespace ringtrue::fuzz
