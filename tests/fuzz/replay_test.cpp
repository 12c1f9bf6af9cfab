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

struct Seed {
  std::string name;
  std::string bytes;
};

/// The files of a reader's corpus in the order of their names, so that a run can be repeated.
std::vector<Seed> corpus(std::string_view reader) {
  const std::filesystem::path folder{RINGTRUE_SOURCE_DIR "/tests/fuzz/corpus"};
  std::vector<Seed> seeds;
  for (const auto& entry : std::filesystem::directory_iterator{folder / reader}) {
    std::ifstream file{entry.path(), std::ios::binary};
    seeds.push_back({entry.path().filename().string(), {std::istreambuf_iterator<char>{file}, {}}});
  }
  std::ranges::sort(seeds, {}, &Seed::name);
  return seeds;
}

/// "taken" or "refused", or what escaped from the reader.
std::string fate(const Reader& reader, const std::string& bytes) {
  try {
    return reader.withstand(bytes) ? "taken" : "refused";
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
  for (const Reader& reader : readers()) {
    CAPTURE(reader.name);
    const std::vector<Seed> seeds = corpus(reader.name);
    REQUIRE(seeds.size() >= 3);
    for (const Seed& seed : seeds) {
      CAPTURE(seed.name);
      CHECK(fate(reader, seed.bytes) == std::string{seed.name.starts_with("refused_") ? "refused" : "taken"});
    }
    for (std::size_t number = 0; number < 2'000; ++number) {
      Dice dice{number};
      const std::string result = fate(reader, mutate(seeds[number % seeds.size()].bytes, dice));
      CAPTURE(number);
      CHECK((result == "taken" || result == "refused" ? "" : result) == "");
    }
  }
}

}  // namespace ringtrue::fuzz
