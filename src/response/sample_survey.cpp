#include "ringtrue/response/sample_survey.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>

#include "ringtrue/core/parallel.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t survey_lanes = 16;  // columns side by side, which vector units do

/// Magnitudes are compared by their bits, in which floating-point numbers of one sign are in order: integers keep the
/// loop free of branches. Zero less one step would be the largest.
struct SurveyLanes {
  std::array<float, survey_lanes> low;
  std::array<float, survey_lanes> high;
  std::array<std::int32_t, survey_lanes> magnitude;   // bits of the least
  std::array<std::int32_t, survey_lanes> above_zero;  // bits of the least that is not zero, less one

  explicit SurveyLanes(float x) {
    low.fill(x);
    high.fill(x);
    magnitude.fill(std::numeric_limits<std::int32_t>::max());
    above_zero.fill(std::numeric_limits<std::int32_t>::max());
  }

  void take(float x, std::size_t i) {
    constexpr std::int32_t all_but_sign = std::numeric_limits<std::int32_t>::max();
    low[i] = x < low[i] ? x : low[i];
    high[i] = x > high[i] ? x : high[i];
    const std::int32_t bits = std::bit_cast<std::int32_t>(x) & all_but_sign;
    const std::int32_t shown = (bits - 1) & all_but_sign;
    magnitude[i] = bits < magnitude[i] ? bits : magnitude[i];
    above_zero[i] = shown < above_zero[i] ? shown : above_zero[i];
  }
};

struct SurveyedBlock {
  float least = 0.0F;
  float largest = 0.0F;
  std::int32_t magnitude = 0;
  std::int32_t above_zero = 0;
};

SurveyedBlock survey_block(std::span<const float> block) {
  SurveyLanes seen{block[0]};
  std::size_t n = 0;
  for (; n + survey_lanes <= block.size(); n += survey_lanes) {
    for (std::size_t i = 0; i < survey_lanes; ++i) seen.take(block[n + i], i);
  }
  for (; n < block.size(); ++n) seen.take(block[n], 0);
  return {*std::ranges::min_element(seen.low), *std::ranges::max_element(seen.high),
          *std::ranges::min_element(seen.magnitude), *std::ranges::min_element(seen.above_zero)};
}

}  // namespace

double SampleSurvey::extreme() const {
  double highest = 0.0;
  for (const float x : least) highest = std::max(highest, -static_cast<double>(x));
  for (const float x : largest) highest = std::max(highest, static_cast<double>(x));
  return highest;
}

bool SampleSurvey::constant() const {
  return least.empty() || *std::ranges::min_element(least) == *std::ranges::max_element(largest);
}

SampleSurvey survey_samples(std::span<const float> channel, unsigned threads) {
  constexpr std::size_t blocks_at_once = 256;
  constexpr std::size_t frames = SampleSurvey::block_frames;
  const std::size_t count = (channel.size() + frames - 1) / frames;
  std::vector<SurveyedBlock> blocks(count);
  parallel_for((count + blocks_at_once - 1) / blocks_at_once, threads, [&](std::size_t group) {
    for (std::size_t b = group * blocks_at_once; b < std::min(count, (group + 1) * blocks_at_once); ++b) {
      blocks[b] = survey_block(channel.subspan(b * frames, std::min(frames, channel.size() - b * frames)));
    }
  });
  SampleSurvey survey;
  std::int32_t above_zero = std::numeric_limits<std::int32_t>::max();
  for (const SurveyedBlock& block : blocks) {
    survey.least.push_back(block.least);
    survey.largest.push_back(block.largest);
    survey.any_zero = survey.any_zero || block.magnitude == 0;
    above_zero = std::min(above_zero, block.above_zero);
  }
  if (above_zero != std::numeric_limits<std::int32_t>::max()) {
    survey.least_magnitude = std::min(1.0, static_cast<double>(std::bit_cast<float>(above_zero + 1)));
  }
  return survey;
}

}  // namespace ringtrue
