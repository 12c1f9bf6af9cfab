#include "ringtrue/response/sample_survey.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/prefetch.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t survey_lanes = 16;  // columns side by side, which vector units do

constexpr float beyond_all = std::numeric_limits<float>::max();

struct SurveyLanes {
  std::array<float, survey_lanes> low;
  std::array<float, survey_lanes> high;
  std::array<float, survey_lanes> magnitude;   // the least
  std::array<float, survey_lanes> above_zero;  // the least that is not zero
  std::array<float, survey_lanes> energy{};

  explicit SurveyLanes(float x) {
    low.fill(x);
    high.fill(x);
    magnitude.fill(beyond_all);
    above_zero.fill(beyond_all);
  }

  void take(float x, std::size_t i) {
    low[i] = x < low[i] ? x : low[i];
    high[i] = x > high[i] ? x : high[i];
    // No branch: zero becomes the largest number.
    const float size = std::abs(x);
    magnitude[i] = size < magnitude[i] ? size : magnitude[i];
    const float shown = x == 0.0F ? beyond_all : size;
    above_zero[i] = shown < above_zero[i] ? shown : above_zero[i];
    energy[i] += x * x;
  }
};

struct SurveyedBlock {
  float least = 0.0F;
  float largest = 0.0F;
  float magnitude = beyond_all;
  float above_zero = beyond_all;
  float energy = 0.0F;
};

SurveyedBlock survey_block(std::span<const float> block, std::span<const float> next) {
  SurveyLanes seen{block[0]};
  std::size_t n = 0;
  for (; n + survey_lanes <= block.size(); n += survey_lanes) {
    prefetch(next, n);
    for (std::size_t i = 0; i < survey_lanes; ++i) seen.take(block[n + i], i);
  }
  for (; n < block.size(); ++n) seen.take(block[n], 0);
  return {*std::ranges::min_element(seen.low), *std::ranges::max_element(seen.high),
          *std::ranges::min_element(seen.magnitude), *std::ranges::min_element(seen.above_zero),
          std::accumulate(seen.energy.begin(), seen.energy.end(), 0.0F)};
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
      const auto rest = channel.subspan(b * frames);
      const std::size_t size = std::min(frames, rest.size());
      blocks[b] = survey_block(rest.first(size), rest.subspan(size));
    }
  });
  SampleSurvey survey;
  float above_zero = beyond_all;
  for (const SurveyedBlock& block : blocks) {
    survey.least.push_back(block.least);
    survey.largest.push_back(block.largest);
    survey.energy.push_back(block.energy);
    survey.any_zero = survey.any_zero || block.magnitude == 0.0F;
    above_zero = std::min(above_zero, block.above_zero);
  }
  survey.least_magnitude = std::min(1.0, static_cast<double>(above_zero));
  return survey;
}

}  // namespace ringtrue
