#include "ringtrue/device/deck.hpp"

#include <algorithm>
#include <cmath>
#include <new>

namespace ringtrue {
namespace {

constexpr std::size_t alignment = 64;
constexpr std::size_t longest_fade = 240;  // frames, 5 ms at 48 kHz: no click, and done within any usual block

std::size_t rounded_up(std::size_t bytes) { return (bytes + alignment - 1) / alignment * alignment; }

struct Places {
  std::size_t samples;
  std::size_t cues;
  std::size_t recording;
  std::size_t end;
};

Places places_of(std::size_t samples, std::size_t cues, std::size_t frames) {
  Places places{};
  places.samples = rounded_up(sizeof(Deck));
  places.cues = places.samples + rounded_up(samples * sizeof(float));
  places.recording = places.cues + rounded_up(cues * sizeof(Cue));
  places.end = places.recording + rounded_up(frames * most_recorded_inputs * sizeof(float));
  return places;
}

DeckView view_of(void* memory, Deck* deck) {
  auto* const bytes = static_cast<std::byte*>(memory);
  const auto places = places_of(deck->sample_capacity, deck->cue_capacity, deck->frame_capacity);
  return {deck,
          {reinterpret_cast<float*>(bytes + places.samples), deck->sample_capacity},
          {reinterpret_cast<Cue*>(bytes + places.cues), deck->cue_capacity},
          {reinterpret_cast<float*>(bytes + places.recording), deck->frame_capacity * most_recorded_inputs}};
}

/// Adds a cue's part of [first_frame, first_frame + frames) to its output and to the loopback output.
void add_cue(const DeckView& view, const Cue& cue, std::uint64_t first_frame, float* output,
             std::size_t frames) noexcept {
  const Deck& deck = *view.deck;
  const std::uint64_t begin = std::max(first_frame, cue.first_frame);
  const std::uint64_t end = std::min(first_frame + frames, cue.first_frame + cue.frames);
  for (std::uint64_t n = begin; n < end; ++n) {
    const float value = view.samples[cue.first_sample + static_cast<std::size_t>(n - cue.first_frame)];
    float* const frame = output + static_cast<std::size_t>(n - first_frame) * deck.outputs;
    frame[cue.output] += value;
    if (deck.loopback_output != Deck::no_output) frame[deck.loopback_output] += value;
  }
}

void fade(float* output, std::size_t frames, std::size_t channels) noexcept {
  const std::size_t length = std::min(frames, longest_fade);
  for (std::size_t n = 0; n < frames; ++n) {
    const float gain = n < length ? 1.0F - static_cast<float>(n + 1) / static_cast<float>(length) : 0.0F;
    for (std::size_t c = 0; c < channels; ++c) output[n * channels + c] *= gain;
  }
}

void limit(float* output, std::size_t samples, float ceiling) noexcept {
  for (std::size_t i = 0; i < samples; ++i) {
    const float value = output[i];
    output[i] = value > ceiling ? ceiling : value < -ceiling ? -ceiling : value == value ? value : 0.0F;
  }
}

void keep_input(const DeckView& view, const float* input, std::uint64_t done, std::size_t frames) noexcept {
  const Deck& deck = *view.deck;
  for (std::size_t n = 0; n < frames; ++n) {
    for (std::size_t c = 0; c < deck.recorded_inputs; ++c) {
      const float value = input == nullptr ? 0.0F : input[n * deck.inputs + deck.recorded[c]];
      view.recording[static_cast<std::size_t>(done + n) * deck.recorded_inputs + c] = value;
    }
  }
}

void count_block(Deck& deck, std::size_t frames, bool flagged) noexcept {
  const auto block = static_cast<std::uint32_t>(frames);
  const std::uint32_t smallest = deck.smallest_block.load(std::memory_order_relaxed);
  if (block > deck.largest_block.load(std::memory_order_relaxed)) {
    deck.largest_block.store(block, std::memory_order_relaxed);
  }
  if (smallest == 0 || block < smallest) deck.smallest_block.store(block, std::memory_order_relaxed);
  if (flagged) deck.flagged.fetch_add(1, std::memory_order_relaxed);
}

}  // namespace

std::size_t deck_bytes(std::size_t samples, std::size_t cues, std::size_t frames) {
  return places_of(samples, cues, frames).end;
}

DeckView make_deck(void* memory, std::size_t samples, std::size_t cues, std::size_t frames) {
  auto* const deck = new (memory) Deck;
  deck->sample_capacity = samples;
  deck->cue_capacity = cues;
  deck->frame_capacity = frames;
  return view_of(memory, deck);
}

DeckView find_deck(void* memory) { return view_of(memory, std::launder(static_cast<Deck*>(memory))); }

void play_block(const DeckView& view, const float* input, float* output, std::size_t frames, bool flagged) noexcept {
  Deck& deck = *view.deck;
  std::fill_n(output, frames * deck.outputs, 0.0F);
  const std::uint32_t wanted = deck.roll.load(std::memory_order_acquire);
  const bool hush = deck.silence.load(std::memory_order_acquire) != 0;
  if (wanted != deck.current) {
    deck.current = wanted;
    deck.hushed = 0;
  }
  const bool rolling = wanted != 0 && deck.finished.load(std::memory_order_relaxed) != wanted;
  if (rolling) {
    const std::uint64_t done = deck.frames_done.load(std::memory_order_relaxed);
    const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(frames, deck.frames - done));
    const bool fading = deck.fade_out.load(std::memory_order_acquire) == wanted;
    if (deck.hushed == 0) {
      for (const Cue& cue : view.cues.first(deck.cues)) add_cue(view, cue, done, output, n);
      if (hush || fading) {
        fade(output, frames, deck.outputs);
        deck.hushed = 1;
      }
      limit(output, frames * deck.outputs, deck.ceiling);
    }
    keep_input(view, input, done, n);
    count_block(deck, frames, flagged);
    deck.frames_done.store(done + n, std::memory_order_release);
    if (done + n == deck.frames || deck.hushed != 0) deck.finished.store(wanted, std::memory_order_release);
  }
  deck.blocks.fetch_add(1, std::memory_order_release);
}

}  // namespace ringtrue
