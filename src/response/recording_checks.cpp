#include "ringtrue/response/recording_checks.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <optional>
#include <span>

#include "ringtrue/core/prefetch.hpp"
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

/// Frames of one sign that pile up at the extreme; empty when they do not. Only blocks that come near it are looked at.
std::vector<std::size_t> pile(std::span<const float> channel, const SampleSurvey& survey, double sign) {
  const std::vector<float>& tops = sign > 0.0 ? survey.largest : survey.least;
  double extreme = 0.0;
  for (const float x : tops) extreme = std::max(extreme, sign * static_cast<double>(x));
  if (extreme < faintest) return {};
  std::vector<std::size_t> frames;
  std::size_t next = 0;
  std::size_t in_a_row = 0;
  bool flat_at_full_scale = false;
  for (std::size_t b = 0; b < tops.size(); ++b) {
    if (sign * static_cast<double>(tops[b]) < next_share * extreme) continue;
    const std::size_t end = std::min(channel.size(), (b + 1) * SampleSurvey::block_frames);
    for (std::size_t n = b * SampleSurvey::block_frames; n < end; ++n) {
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

/// Of the first values of a run, how many differ: a sound of a few steps of its format repeats by chance.
std::size_t different_values(std::span<const float> run) {
  constexpr std::size_t looked_at = 64;
  std::vector<float> values(run.begin(), run.begin() + std::min<std::ptrdiff_t>(std::ssize(run), looked_at));
  std::ranges::sort(values);
  return static_cast<std::size_t>(std::unique(values.begin(), values.end()) - values.begin());
}

/// The run through n that repeats what stood `back` frames before, from `earliest` on; empty when it is too short.
std::optional<Stretch> repeated_run(std::span<const float> channel, std::size_t n, std::size_t back,
                                    std::size_t earliest, std::size_t shortest) {
  constexpr std::size_t enough_values = 12;
  const auto repeats = [&](std::size_t at) { return channel[at] == channel[at - back]; };
  Stretch run{n, n};
  while (run.from > std::max(earliest, back) && repeats(run.from - 1)) --run.from;
  while (run.to < channel.size() && repeats(run.to)) ++run.to;
  const std::size_t length = run.to - run.from;
  if (length < shortest || different_values(channel.subspan(run.from, length)) < enough_values) return {};
  return run;
}

/// Two samples as one number, well mixed also where a format leaves most of their bits zero: by shifts, as vector units
/// may have no products of integers.
std::uint32_t fingerprint(float first, float second) {
  std::uint32_t mixed = std::bit_cast<std::uint32_t>(first) ^ std::rotl(std::bit_cast<std::uint32_t>(second), 13);
  mixed ^= mixed >> 15U;
  mixed += mixed << 11U;
  mixed ^= mixed >> 7U;
  return mixed + (mixed << 3U);
}

/// Flags of 0 and 1, a byte each, as the bits of one number: the first is the lowest.
std::uint64_t bits_of(std::span<const std::uint8_t, 64> flags) {
  std::uint64_t bits = 0;
  for (std::size_t from = 0; from < flags.size(); from += 8) {
    std::uint64_t eight = 0;
    for (std::size_t i = 0; i < 8; ++i) eight |= std::uint64_t{flags[from + i]} << (8 * i);
    constexpr std::uint64_t to_the_top = 0x0102040810204080;  // brings byte i's lowest bit to bit 56 + i
    bits |= (eight * to_the_top >> 56U) << from;
  }
  return bits;
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
  // Where each two samples were seen last, by their fingerprint. What another two have pushed out is missed; a buffer
  // has many. Where the run is long, one fingerprint in eight is enough: 59 hold none once in 2600 times.
  constexpr unsigned slot_bits = 15;
  constexpr std::size_t long_run = 60;
  constexpr std::size_t block = 64;
  constexpr std::size_t prefetched = 512;
  const std::uint32_t left_out = shortest >= long_run ? 7U << 14U : 0U;
  const std::size_t begin = where.from - std::min(where.from, longest_back);
  const std::size_t end = std::min(where.to, std::max<std::size_t>(1, channel.size()) - 1);
  std::vector<std::uint32_t> seen(std::size_t{1} << slot_bits);  // frames after `begin`
  std::array<std::uint32_t, block> prints{};
  std::array<std::uint8_t, block> wanted{};
  for (std::size_t from = begin; from < end; from += block) {
    const std::size_t size = std::min(block, end - from);
    for (std::size_t i = 0; i < block; i += samples_per_cache_line) prefetch(channel, from + prefetched + i);
    for (std::size_t i = 0; i < size; ++i) prints[i] = fingerprint(channel[from + i], channel[from + i + 1]);
    for (std::size_t i = 0; i < block; ++i) wanted[i] = (prints[i] & left_out) == 0 ? 1 : 0;
    std::fill(wanted.begin() + static_cast<std::ptrdiff_t>(size), wanted.end(), std::uint8_t{0});
    // Bits of many flags at once: a loop that ends at random costs a processor what it foresaw.
    for (std::uint64_t bits = bits_of(wanted); bits != 0; bits &= bits - 1) {
      const auto i = static_cast<std::size_t>(std::countr_zero(bits));
      const std::size_t n = from + i;
      if (channel[n] == channel[n + 1]) continue;  // silence repeats itself
      std::uint32_t& last_seen = seen[prints[i] >> (32U - slot_bits)];
      const std::size_t last = begin + last_seen;
      last_seen = static_cast<std::uint32_t>(n - begin);
      // The samples first: that they are the same is rare, which a processor learns to foresee.
      if (channel[last] != channel[n] || channel[last + 1] != channel[n + 1]) continue;
      const std::size_t back = n - last;
      if (n < where.from || back < shortest || back > longest_back) continue;
      if (const auto run = repeated_run(channel, n, back, where.from, shortest)) return run;
    }
  }
  return {};
}

std::vector<std::size_t> clipped_frames(std::span<const float> channel) {
  return clipped_frames(channel, survey_samples(channel));
}

std::vector<std::size_t> clipped_frames(std::span<const float> channel, const SampleSurvey& survey) {
  std::vector<std::size_t> frames = pile(channel, survey, 1.0);
  const std::vector<std::size_t> negative = pile(channel, survey, -1.0);
  const auto middle = static_cast<std::ptrdiff_t>(frames.size());
  frames.insert(frames.end(), negative.begin(), negative.end());
  std::inplace_merge(frames.begin(), frames.begin() + middle, frames.end());
  return frames;
}

std::vector<Stretch> dropped_stretches(std::span<const float> channel) {
  return dropped_stretches(channel, survey_samples(channel));
}

std::vector<Stretch> dropped_stretches(std::span<const float> channel, const SampleSurvey& survey) {
  constexpr std::size_t shortest = 16;
  constexpr std::size_t near = 48;    // 1 ms at 48 kHz
  constexpr std::size_t nearest = 8;  // sound that fades out is far weaker here than over `near`
  if (!survey.any_zero) return {};
  // A slow sound that takes 16 frames to cross the step around zero is 2.2 steps rms within 48 frames of it.
  constexpr double steps = 4.0;
  const double step = survey.least_magnitude;
  const double sound = std::max(3e-4 * survey.extreme(), steps * step);

  std::vector<Stretch> stretches;
  std::size_t end = 0;                                                     // of the run before
  for (std::size_t n = shortest - 1; n < channel.size(); n += shortest) {  // a run that counts holds one of these
    if (n < end || channel[n] != 0.0F) continue;
    std::size_t from = n;
    while (from > end && channel[from - 1] == 0.0F) --from;
    end = n;
    while (end < channel.size() && channel[end] == 0.0F) ++end;
    if (end - from < shortest || from < near || end + near > channel.size()) continue;
    const double before = rms(channel.subspan(from - near, near));
    const double after = rms(channel.subspan(end, near));
    if (!(before > sound && after > sound)) continue;
    const bool cut_off =
        still_sounds(channel.subspan(from - nearest, nearest), channel.subspan(from - near, near), step);
    const bool cut_in = still_sounds(channel.subspan(end, nearest), channel.subspan(end, near), step);
    if (cut_off && cut_in) stretches.push_back({from, end});
  }
  return stretches;
}

}  // namespace ringtrue
