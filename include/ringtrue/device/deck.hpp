#pragma once

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <span>

namespace ringtrue {

/// One piece of sound on one output: `frames` samples of the deck's sound from `first_sample` on.
struct Cue {
  std::uint64_t first_frame = 0;
  std::uint32_t first_sample = 0;
  std::uint32_t frames = 0;
  std::uint32_t output = 0;  // from 0
};

inline constexpr std::size_t most_recorded_inputs = 2;  // microphone and loopback

/// Head of the memory that the program and its device process share; sounds, cues and the recording follow it.
///
/// The program writes everything but the counters, and only while no take is rolling; the audio callback reads it and
/// writes counters and recording. Numbers and lock-free atomics only: both processes may end at any moment.
struct Deck {
  static constexpr std::uint32_t no_output = 0xFFFFFFFFU;

  // Set before the stream starts.
  std::uint32_t outputs = 0;  // of the stream; outputs without a cue are silent
  std::uint32_t inputs = 0;
  std::uint32_t recorded_inputs = 0;
  std::uint32_t recorded[most_recorded_inputs]{};  // input channels, from 0
  std::uint32_t loopback_output = no_output;       // carries the sum of all cues, from 0
  std::uint64_t sample_capacity = 0;
  std::uint64_t cue_capacity = 0;
  std::uint64_t frame_capacity = 0;
  float ceiling = 0.0F;  // no sample beyond +-ceiling leaves the callback

  // Set before a take.
  std::uint64_t cues = 0;
  std::uint64_t frames = 0;

  // Orders to the callback.
  std::atomic<std::uint32_t> roll{0};      // another number than before: play that take from its first frame
  std::atomic<std::uint32_t> fade_out{0};  // the number of a take to end now
  std::atomic<std::uint32_t> silence{0};   // not 0: nothing but silence, from this block's end on

  // Counters of the callback.
  std::atomic<std::uint32_t> finished{0};       // number of the take that has ended last
  std::atomic<std::uint64_t> frames_done{0};    // of the rolling take
  std::atomic<std::uint64_t> blocks{0};         // callbacks since the stream started
  std::atomic<std::uint32_t> flagged{0};        // blocks of this take with an under- or overrun flag
  std::atomic<std::uint32_t> largest_block{0};  // frames, of this take
  std::atomic<std::uint32_t> smallest_block{0};

  // The callback's own.
  std::uint32_t current = 0;
  std::uint32_t hushed = 0;
};

static_assert(std::atomic<std::uint64_t>::is_always_lock_free && std::atomic<std::uint32_t>::is_always_lock_free);

/// The deck with its arrays, wherever they lie.
struct DeckView {
  Deck* deck = nullptr;
  std::span<float> samples;
  std::span<Cue> cues;
  std::span<float> recording;  // interleaved, frame_capacity * recorded_inputs
};

/// Bytes a deck with these capacities takes.
[[nodiscard]] std::size_t deck_bytes(std::size_t samples, std::size_t cues, std::size_t frames);

/// Builds a deck in zeroed memory of deck_bytes(...), or finds it there again.
[[nodiscard]] DeckView make_deck(void* memory, std::size_t samples, std::size_t cues, std::size_t frames);
[[nodiscard]] DeckView find_deck(void* memory);

/// What the audio callback does with one block: fills `output` (interleaved, deck.outputs channels) and keeps what
/// `input` (interleaved, deck.inputs channels; nullptr: nothing came) holds of the recorded channels. Copies, counts
/// and sets atomics; allocates, locks, waits, prints and throws nothing.
/// @param flagged  the library says that samples were lost
void play_block(const DeckView& view, const float* input, float* output, std::size_t frames, bool flagged) noexcept;

}  // namespace ringtrue
