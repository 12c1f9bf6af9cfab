#include "ringtrue/device/deck.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <thread>
#include <vector>

using namespace ringtrue;

namespace {

constexpr std::size_t samples = 1'000;
constexpr std::size_t frames = 4'000;

/// A deck with one sound on the second of three outputs and a loopback on the third; it records input 2.
class TestDeck {
 public:
  TestDeck() : memory_(deck_bytes(samples, 4, frames) / sizeof(std::max_align_t) + 1) {
    view = make_deck(memory_.data(), samples, 4, frames);
    Deck& deck = *view.deck;
    deck.outputs = 3;
    deck.inputs = 2;
    deck.recorded_inputs = 1;
    deck.recorded[0] = 1;
    deck.loopback_output = 2;
    deck.ceiling = 0.5F;
    for (std::size_t n = 0; n < samples; ++n)
      view.samples[n] = 0.4F * static_cast<float>(std::sin(0.05 * static_cast<double>(n)));
    view.cues[0] = {100, 0, samples, 1};
    deck.cues = 1;
    deck.frames = frames;
  }

  /// Plays blocks of the given size until the take has ended; what came out of each output, and the count of blocks.
  std::vector<float> play(std::size_t block) {
    std::vector<float> all;
    std::vector<float> out(block * 3);
    std::vector<float> in(block * 2);
    const std::uint32_t take = view.deck->roll.load() + 1;
    view.deck->frames_done.store(0);
    view.deck->roll.store(take);
    while (view.deck->finished.load() != take) {
      for (std::size_t n = 0; n < block; ++n) in[2 * n + 1] = static_cast<float>(++heard_);
      play_block(view, in.data(), out.data(), block, false);
      all.insert(all.end(), out.begin(), out.end());
    }
    return all;
  }

  DeckView view;

 private:
  std::vector<std::max_align_t> memory_;
  std::size_t heard_ = 0;
};

}  // namespace

TEST_CASE("the callback plays the same samples in blocks of any size") {
  std::vector<float> reference;
  for (const std::size_t block : {1U, 64U, 255U, 1024U, 4'000U}) {
    CAPTURE(block);
    TestDeck test;
    auto played = test.play(block);
    played.resize(3 * frames);
    if (reference.empty()) reference = played;
    CHECK(played == reference);
  }
  for (std::size_t n = 0; n < frames; ++n) {
    const float expected =
        n >= 100 && n < 1'100 ? 0.4F * static_cast<float>(std::sin(0.05 * (static_cast<double>(n) - 100.0))) : 0.0F;
    REQUIRE(reference[3 * n] == 0.0F);  // an output without a cue is silent
    REQUIRE(std::abs(reference[3 * n + 1] - expected) < 1e-6F);
    REQUIRE(reference[3 * n + 2] == reference[3 * n + 1]);  // the loopback output carries the sum
  }
}

TEST_CASE("the callback keeps the wanted input from the first frame on") {
  TestDeck test;
  (void)test.play(300);
  for (std::size_t n = 0; n < frames; ++n) REQUIRE(test.view.recording[n] == static_cast<float>(n + 1));
}

TEST_CASE("no sample beyond the ceiling leaves, and none that is no number") {
  TestDeck test;
  test.view.samples[10] = 3.0F;
  test.view.samples[11] = -3.0F;
  test.view.samples[12] = std::numeric_limits<float>::quiet_NaN();
  test.view.samples[13] = std::numeric_limits<float>::infinity();
  const auto played = test.play(256);
  CHECK(*std::ranges::max_element(played) == 0.5F);
  CHECK(*std::ranges::min_element(played) == -0.5F);
  CHECK(played[3 * 112 + 1] == 0.0F);
}

TEST_CASE("silence comes within one block of being asked for, without a click") {
  TestDeck test;
  std::vector<float> in(512 * 2);
  std::vector<float> out(512 * 3);
  test.view.deck->roll.store(1);
  play_block(test.view, in.data(), out.data(), 512, false);
  test.view.deck->silence.store(1);
  play_block(test.view, in.data(), out.data(), 512, false);
  CHECK(std::abs(out[3 * 511 + 1]) == 0.0F);
  float step = 0.0F;
  for (std::size_t n = 1; n < 512; ++n) step = std::max(step, std::abs(out[3 * n + 1] - out[3 * n - 2]));
  CHECK(step < 0.03F);  // the sine itself moves 0.4 * 0.05 = 0.02 a sample
  CHECK(test.view.deck->finished.load() == 1);
  play_block(test.view, in.data(), out.data(), 512, false);
  CHECK(std::ranges::all_of(out, [](float sample) { return sample == 0.0F; }));
  test.view.deck->roll.store(2);  // still asked for: the next take is silent too
  play_block(test.view, in.data(), out.data(), 512, false);
  play_block(test.view, in.data(), out.data(), 512, false);
  CHECK(std::ranges::all_of(out, [](float sample) { return sample == 0.0F; }));
}

TEST_CASE("a take that is to end early fades out and ends in that block") {
  TestDeck test;
  std::vector<float> in(512 * 2);
  std::vector<float> out(512 * 3);
  test.view.deck->roll.store(1);
  play_block(test.view, in.data(), out.data(), 512, false);
  test.view.deck->fade_out.store(1);
  play_block(test.view, in.data(), out.data(), 512, false);
  CHECK(test.view.deck->finished.load() == 1);
  CHECK(test.view.deck->frames_done.load() == 1'024);
}

TEST_CASE("program and callback share the deck without a race") {
  // For the thread sanitizer: one thread is the callback, the other starts takes, watches them and stops one.
  TestDeck test;
  std::atomic<bool> end{false};
  std::jthread callback{[&] {
    std::vector<float> in(64 * 2, 0.25F);
    std::vector<float> out(64 * 3);
    while (!end.load()) play_block(test.view, in.data(), out.data(), 64, false);
  }};
  for (std::uint32_t take = 1; take <= 20; ++take) {
    test.view.cues[0].first_frame = take;
    test.view.deck->frames_done.store(0);
    test.view.deck->roll.store(take, std::memory_order_release);
    while (test.view.deck->finished.load(std::memory_order_acquire) != take) {
      const std::uint64_t done = test.view.deck->frames_done.load(std::memory_order_acquire);
      if (done > 0) CHECK(test.view.recording[done - 1] == 0.25F);
      if (take == 10 && done > 1'000) test.view.deck->fade_out.store(take);
      std::this_thread::yield();
    }
  }
  end.store(true);
}
