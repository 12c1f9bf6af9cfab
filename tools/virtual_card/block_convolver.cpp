#include "block_convolver.hpp"

#include <algorithm>

namespace ringtrue::card {

BlockConvolver::BlockConvolver(std::span<const std::vector<double>> responses, std::size_t block)
    : block_{block}, fft_{2 * block}, sum_(fft_.bin_count()), time_(2 * block) {
  for (const std::vector<double>& response : responses) {
    Input input;
    for (std::size_t first = 0; first < response.size(); first += block) {
      const std::size_t size = std::min(block, response.size() - first);
      const Spectrum part = spectrum(fft_, std::span{response}.subspan(first, size));
      input.response.emplace_back(part.begin(), part.end());
    }
    longest_ = std::max(longest_, input.response.size());
    input.window.assign(2 * block, 0.0);
    inputs_.push_back(std::move(input));
  }
  longest_ = std::max<std::size_t>(longest_, 1);
  for (Input& input : inputs_) {
    input.past.assign(longest_, Bins(fft_.bin_count()));
    input.silent.assign(longest_, true);
  }
}

void BlockConvolver::feed(std::size_t which, std::span<const float> samples) {
  Input& input = inputs_[which];
  const auto half = input.window.begin() + static_cast<std::ptrdiff_t>(block_);
  std::copy(half, input.window.end(), input.window.begin());
  std::ranges::copy(samples, half);
  const bool quiet = std::ranges::all_of(samples, [](float sample) { return sample == 0.0F; });
  input.quiet_blocks = quiet ? input.quiet_blocks + 1 : 0;
  input.silent[now_] = input.quiet_blocks >= 2;
  if (!input.silent[now_]) fft_.forward(input.window, input.past[now_]);
}

void BlockConvolver::finish(std::span<double> output) {
  std::ranges::fill(sum_, 0.0);
  for (const Input& input : inputs_) {
    for (std::size_t p = 0; p < input.response.size(); ++p) {
      const std::size_t then = (now_ + longest_ - p) % longest_;
      if (input.silent[then]) continue;
      const Bins& past = input.past[then];
      const Bins& response = input.response[p];
      for (std::size_t k = 0; k < sum_.size(); ++k) sum_[k] += past[k] * response[k];
    }
  }
  fft_.inverse(sum_, time_);
  std::copy_n(time_.begin() + static_cast<std::ptrdiff_t>(block_), block_, output.begin());
  now_ = (now_ + 1) % longest_;
}

}  // namespace ringtrue::card
