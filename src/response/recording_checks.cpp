#include "ringtrue/response/recording_checks.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>

#include "ringtrue/core/statistics.hpp"

namespace ringtrue {
namespace {

constexpr double pile_share = 0.985;
constexpr double next_share = 0.97;
constexpr std::size_t least_pile = 24;
constexpr std::size_t pile_over_next = 4;
constexpr double tight_share = 0.998;  // a pile of which most lies this near the extreme was clipped after the noise
constexpr double mostly = 0.5;
constexpr double full_scale = 0.9995;  // 16 bits end at 0.99997, dither may take a little
constexpr std::size_t equal_at_full_scale = 3;
constexpr double faintest = 2.1e-3;  // below it 1.5 % is less than a step of 16 bits: any quiet sound piles up

/// Least and largest sample of each block of frames, found side by side in `lanes` columns, which vector units do.
struct BlockExtremes {
  static constexpr std::size_t frames = 512;
  std::vector<float> least;
  std::vector<float> largest;

  explicit BlockExtremes(std::span<const float> channel) {
    constexpr std::size_t lanes = 16;
    least.reserve(channel.size() / frames + 1);
    largest.reserve(channel.size() / frames + 1);
    for (std::size_t from = 0; from < channel.size(); from += frames) {
      const auto block = channel.subspan(from, std::min(frames, channel.size() - from));
      std::array<float, lanes> low;
      std::array<float, lanes> high;
      low.fill(block[0]);
      high.fill(block[0]);
      std::size_t n = 0;
      for (; n + lanes <= block.size(); n += lanes) {
        for (std::size_t i = 0; i < lanes; ++i) {
          const float x = block[n + i];
          low[i] = x < low[i] ? x : low[i];
          high[i] = x > high[i] ? x : high[i];
        }
      }
      for (; n < block.size(); ++n) {
        low[0] = std::min(low[0], block[n]);
        high[0] = std::max(high[0], block[n]);
      }
      least.push_back(*std::ranges::min_element(low));
      largest.push_back(*std::ranges::max_element(high));
    }
  }
};

/// Frames of one sign that pile up at the extreme; empty when they do not. Only blocks that come near it are looked at.
std::vector<std::size_t> pile(std::span<const float> channel, const BlockExtremes& blocks, double sign) {
  const std::vector<float>& tops = sign > 0.0 ? blocks.largest : blocks.least;
  double extreme = 0.0;
  for (const float x : tops) extreme = std::max(extreme, sign * static_cast<double>(x));
  if (extreme < faintest) return {};
  std::vector<std::size_t> frames;
  std::size_t next = 0;
  std::size_t in_a_row = 0;
  bool flat_at_full_scale = false;
  for (std::size_t b = 0; b < tops.size(); ++b) {
    if (sign * static_cast<double>(tops[b]) < next_share * extreme) continue;
    const std::size_t end = std::min(channel.size(), (b + 1) * BlockExtremes::frames);
    for (std::size_t n = b * BlockExtremes::frames; n < end; ++n) {
      const double x = sign * static_cast<double>(channel[n]);
      if (x >= pile_share * extreme) {
        frames.push_back(n);
        in_a_row = n > 0 && channel[n] == channel[n - 1] ? in_a_row + 1 : 1;
        flat_at_full_scale = flat_at_full_scale || (x >= full_scale && in_a_row >= equal_at_full_scale);
      } else if (x >= next_share * extreme) {
        ++next;
      }
    }
  }
  const bool piled = frames.size() >= least_pile && frames.size() > pile_over_next * next;
  if (!piled && !flat_at_full_scale) return {};
  std::vector<std::size_t> tight;
  for (const std::size_t n : frames) {
    if (sign * static_cast<double>(channel[n]) >= tight_share * extreme) tight.push_back(n);
  }
  const bool sharp = static_cast<double>(tight.size()) >= mostly * static_cast<double>(frames.size());
  return sharp || flat_at_full_scale ? tight : frames;
}

/// Least magnitude that is not zero, and whether there is a zero at all, side by side as above.
struct Smallest {
  double magnitude = 1.0;  // 1: every sample is zero, or none is smaller
  bool any_zero = false;
};

Smallest smallest_of(std::span<const float> channel) {
  constexpr std::size_t lanes = 16;
  std::array<float, lanes> smallest;
  std::array<std::int32_t, lanes> zeros{};
  smallest.fill(1.0F);
  const auto take = [&](float x, std::size_t lane) {
    const float magnitude = x < 0.0F ? -x : x;
    const float shown = magnitude == 0.0F ? 1.0F : magnitude;
    smallest[lane] = shown < smallest[lane] ? shown : smallest[lane];
    zeros[lane] |= magnitude == 0.0F ? 1 : 0;
  };
  std::size_t n = 0;
  for (; n + lanes <= channel.size(); n += lanes) {
    for (std::size_t i = 0; i < lanes; ++i) take(channel[n + i], i);
  }
  for (; n < channel.size(); ++n) take(channel[n], 0);
  return {static_cast<double>(*std::ranges::min_element(smallest)),
          std::ranges::any_of(zeros, [](std::int32_t seen) { return seen != 0; })};
}

/// Of the first values of a run, how many differ: a sound of a few steps of its format repeats by chance.
std::size_t different_values(std::span<const float> run) {
  constexpr std::size_t looked_at = 64;
  std::vector<float> values(run.begin(), run.begin() + std::min<std::ptrdiff_t>(std::ssize(run), looked_at));
  std::ranges::sort(values);
  return static_cast<std::size_t>(std::unique(values.begin(), values.end()) - values.begin());
}

/// Length of the run from n on that repeats what stood `back` frames before; 0 when it is shorter than `shortest`.
std::size_t repeated_run(std::span<const float> channel, std::size_t n, std::size_t back, std::size_t shortest) {
  constexpr std::size_t enough_values = 12;
  std::size_t length = 0;
  while (n + length < channel.size() && channel[n + length] == channel[n + length - back]) ++length;
  return length >= shortest && different_values(channel.subspan(n, length)) >= enough_values ? length : 0;
}

/// Root mean square of the first differences.
double rms_of_steps(std::span<const float> sound) {
  double sum = 0.0;
  for (std::size_t n = 1; n < sound.size(); ++n) {
    const double step = static_cast<double>(sound[n]) - static_cast<double>(sound[n - 1]);
    sum += step * step;
  }
  return sound.size() > 1 ? std::sqrt(sum / static_cast<double>(sound.size() - 1)) : 0.0;
}

/// Whether sound goes on up to an edge: next to it as strong as a little further away, in its height or, where it just
/// crosses zero there, in its steepness: more than two steps of the format a frame, as bass that touches zero has one
/// now and then.
bool still_sounds(std::span<const float> next_to_edge, std::span<const float> near_edge, double format_step) {
  constexpr double share = 0.2;
  if (rms(next_to_edge) > share * rms(near_edge)) return true;
  return rms_of_steps(next_to_edge) > std::max(share * rms_of_steps(near_edge), 2.0 * format_step);
}

}  // namespace

std::optional<Stretch> repeated_stretch(std::span<const float> channel, Stretch where, std::size_t shortest) {
  constexpr std::size_t longest_back = 12'000;  // a quarter of a second: the largest buffer that is usual
  // Where each two samples were seen last, by their bits. What another two have pushed out is missed; a buffer has
  // many.
  constexpr std::size_t slots = 1U << 15U;
  constexpr std::size_t never = std::numeric_limits<std::size_t>::max();
  std::vector<std::size_t> seen(slots, never);
  const auto slot_of = [&](std::size_t n) {
    const auto a = std::bit_cast<std::uint32_t>(channel[n]);
    const auto b = std::bit_cast<std::uint32_t>(channel[n + 1]);
    return ((a * 0x9E3779B1U) ^ (b * 0x85EBCA77U)) >> 17U;
  };
  const std::size_t end = std::min(where.to, channel.size());
  for (std::size_t n = where.from - std::min(where.from, longest_back); n < end; ++n) {
    if (n + 1 >= channel.size() || channel[n] == channel[n + 1]) continue;  // silence repeats itself
    std::size_t& last = seen[slot_of(n)];
    const std::size_t back = last == never ? 0 : n - last;
    if (n >= where.from && back >= shortest && back <= longest_back) {
      const std::size_t length = repeated_run(channel, n, back, shortest);
      if (length > 0) return Stretch{n, n + length};
    }
    last = n;
  }
  return {};
}

std::vector<std::size_t> clipped_frames(std::span<const float> channel) {
  const BlockExtremes blocks{channel};
  std::vector<std::size_t> frames = pile(channel, blocks, 1.0);
  const std::vector<std::size_t> negative = pile(channel, blocks, -1.0);
  const auto middle = static_cast<std::ptrdiff_t>(frames.size());
  frames.insert(frames.end(), negative.begin(), negative.end());
  std::inplace_merge(frames.begin(), frames.begin() + middle, frames.end());
  return frames;
}

double format_step(std::span<const float> channel) { return smallest_of(channel).magnitude; }

std::vector<Stretch> dropped_stretches(std::span<const float> channel) {
  constexpr std::size_t shortest = 16;
  constexpr std::size_t near = 48;    // 1 ms at 48 kHz
  constexpr std::size_t nearest = 8;  // sound that fades out is far weaker here than over `near`
  const Smallest smallest = smallest_of(channel);
  if (!smallest.any_zero) return {};
  const BlockExtremes blocks{channel};
  double extreme = 0.0;
  for (const float x : blocks.least) extreme = std::max(extreme, -static_cast<double>(x));
  for (const float x : blocks.largest) extreme = std::max(extreme, static_cast<double>(x));
  // A slow sound that takes 16 frames to cross the step around zero is 2.2 steps rms within 48 frames of it.
  constexpr double steps = 4.0;
  const double sound = std::max(3e-4 * extreme, steps * smallest.magnitude);

  std::vector<Stretch> stretches;
  for (std::size_t n = 0; n < channel.size();) {
    if (channel[n] != 0.0F) {
      ++n;
      continue;
    }
    const std::size_t from = n;
    while (n < channel.size() && channel[n] == 0.0F) ++n;
    if (n - from < shortest || from < near || n + near > channel.size()) continue;
    const double before = rms(channel.subspan(from - near, near));
    const double after = rms(channel.subspan(n, near));
    if (!(before > sound && after > sound)) continue;
    const bool cut_off =
        still_sounds(channel.subspan(from - nearest, nearest), channel.subspan(from - near, near), smallest.magnitude);
    const bool cut_in = still_sounds(channel.subspan(n, nearest), channel.subspan(n, near), smallest.magnitude);
    if (cut_off && cut_in) stretches.push_back({from, n});
  }
  return stretches;
}

}  // namespace ringtrue
