#include "ringtrue/response/recording_checks.hpp"

#include <algorithm>
#include <cmath>

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

/// Frames of one sign that pile up at the extreme; empty when they do not.
std::vector<std::size_t> pile(std::span<const float> channel, double sign) {
  double extreme = 0.0;
  for (const float x : channel) extreme = std::max(extreme, sign * static_cast<double>(x));
  if (extreme < faintest) return {};
  std::vector<std::size_t> frames;
  std::size_t next = 0;
  std::size_t in_a_row = 0;
  bool flat_at_full_scale = false;
  for (std::size_t n = 0; n < channel.size(); ++n) {
    const double x = sign * static_cast<double>(channel[n]);
    if (x >= pile_share * extreme) {
      frames.push_back(n);
      in_a_row = n > 0 && channel[n] == channel[n - 1] ? in_a_row + 1 : 1;
      flat_at_full_scale = flat_at_full_scale || (x >= full_scale && in_a_row >= equal_at_full_scale);
    } else if (x >= next_share * extreme) {
      ++next;
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

double rms(std::span<const float> samples) {
  double sum = 0.0;
  for (const float x : samples) sum += static_cast<double>(x) * static_cast<double>(x);
  return samples.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(samples.size()));
}

/// Length of the run from n on that repeats what stood `back` frames before; 0 when it is shorter than `shortest`.
std::size_t repeated_run(std::span<const float> channel, std::size_t n, std::size_t back, std::size_t shortest) {
  std::size_t length = 0;
  std::size_t moves = 0;
  while (n + length < channel.size() && channel[n + length] == channel[n + length - back]) {
    if (length > 0 && channel[n + length] != channel[n + length - 1]) ++moves;
    ++length;
  }
  // Noise of less than a step of its format is mostly zeros, which repeat by chance.
  return length >= shortest && 2 * moves >= length ? length : 0;
}

}  // namespace

std::optional<Stretch> repeated_stretch(std::span<const float> channel, Stretch where) {
  constexpr std::size_t longest_back = 12'000;  // a quarter of a second: the largest buffer that is usual
  constexpr std::size_t shortest = 24;          // frames of sound that are equal to the last bit by chance: far fewer
  const std::size_t end = std::min(where.to, channel.size());
  for (std::size_t n = std::max<std::size_t>(where.from, 1); n < end; ++n) {
    if (n + 1 >= channel.size() || channel[n] == channel[n + 1]) continue;  // silence repeats itself
    for (std::size_t back = shortest; back <= std::min(n, longest_back); ++back) {
      if (channel[n] != channel[n - back] || channel[n + 1] != channel[n + 1 - back]) continue;
      const std::size_t length = repeated_run(channel, n, back, shortest);
      if (length > 0) return Stretch{n, n + length};
    }
  }
  return {};
}

std::vector<std::size_t> clipped_frames(std::span<const float> channel) {
  std::vector<std::size_t> frames = pile(channel, 1.0);
  const std::vector<std::size_t> negative = pile(channel, -1.0);
  const auto middle = static_cast<std::ptrdiff_t>(frames.size());
  frames.insert(frames.end(), negative.begin(), negative.end());
  std::inplace_merge(frames.begin(), frames.begin() + middle, frames.end());
  return frames;
}

double format_step(std::span<const float> channel) {
  double step = 1.0;
  for (const float x : channel) {
    if (x != 0.0F) step = std::min(step, std::abs(static_cast<double>(x)));
  }
  return step;
}

std::vector<Stretch> dropped_stretches(std::span<const float> channel) {
  constexpr std::size_t shortest = 16;
  constexpr std::size_t near = 48;    // 1 ms at 48 kHz
  constexpr std::size_t nearest = 8;  // sound that fades out is far weaker here than over `near`
  constexpr double still_sounding = 0.2;
  double extreme = 0.0;
  for (const float x : channel) extreme = std::max(extreme, std::abs(static_cast<double>(x)));
  // A slow sound that takes 16 frames to cross the step around zero is 2.2 steps rms within 48 frames of it.
  constexpr double steps = 4.0;
  const double sound = std::max(3e-4 * extreme, steps * format_step(channel));

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
    const bool cut_off = rms(channel.subspan(from - nearest, nearest)) > still_sounding * before;
    const bool cut_in = rms(channel.subspan(n, nearest)) > still_sounding * after;
    if (before > sound && after > sound && cut_off && cut_in) stretches.push_back({from, n});
  }
  return stretches;
}

}  // namespace ringtrue
