// A program of its own: it counts every allocation of the process.
#include <atomic>
#include <cstdio>
#include <cstdlib>
#include <new>
#include <vector>

#include "ringtrue/device/deck.hpp"

namespace {

std::atomic<long> allocations{0};

}  // namespace

[[gnu::noinline]] void* operator new(std::size_t size) {
  ++allocations;
  if (void* const memory = std::malloc(size)) return memory;
  throw std::bad_alloc{};
}
[[gnu::noinline]] void operator delete(void* memory) noexcept { std::free(memory); }
[[gnu::noinline]] void operator delete(void* memory, std::size_t /*size*/) noexcept { std::free(memory); }

int main() {
  using namespace ringtrue;
  constexpr std::size_t frames = 48'000;
  std::vector<std::max_align_t> memory(deck_bytes(1'000, 2, frames) / sizeof(std::max_align_t) + 1);
  const DeckView view = make_deck(memory.data(), 1'000, 2, frames);
  view.deck->outputs = 16;
  view.deck->inputs = 2;
  view.deck->recorded_inputs = 2;
  view.deck->recorded[1] = 1;
  view.deck->ceiling = 1.0F;
  view.deck->cues = 2;
  view.deck->frames = frames;
  view.cues[0] = {0, 0, 1'000, 3};
  view.cues[1] = {2'000, 0, 1'000, 4};
  std::vector<float> in(1'024 * 2);
  std::vector<float> out(1'024 * 16);
  const long made = allocations.exchange(0);
  view.deck->roll.store(1);
  for (int block = 0; block < 60; ++block) play_block(view, in.data(), out.data(), 1'024, block == 7);
  view.deck->silence.store(1);
  play_block(view, in.data(), out.data(), 1'024, false);
  const long counted = allocations.load();
  const bool ok = counted == 0 && made > 0 && view.deck->finished.load() == 1 && view.deck->flagged.load() == 1;
  std::printf("%ld allocations in 61 callbacks (the counter works: %ld before)\n", counted, made);
  return ok ? 0 : 1;
}
