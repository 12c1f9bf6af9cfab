#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "ringtrue/dsp/real_fft.hpp"

namespace ringtrue::card {

/// Convolves many inputs with a response each and adds them up, block by block, without delay: uniformly partitioned
/// overlap-save (T. G. Stockham, "High-speed convolution and correlation", AFIPS 28 (1966); from memory). What it puts
/// out depends on the samples only, never on the moment. `process` allocates nothing.
class BlockConvolver {
 public:
  /// @param responses  one per input; an empty one is silent
  BlockConvolver(std::span<const std::vector<double>> responses, std::size_t block);

  /// @param input   its next `block` samples; whole is false where all of them are zero
  void feed(std::size_t input, std::span<const float> samples);
  /// The sum for the block that was fed last. @param output  block samples, written
  void finish(std::span<double> output);

 private:
  using Bins = std::vector<std::complex<double>>;
  struct Input {
    std::vector<Bins> response;  // spectra of its partitions
    std::vector<Bins> past;      // spectra of the last blocks, a ring
    std::vector<bool> silent;    // of these
    std::vector<double> window;  // the last two blocks
    std::size_t quiet_blocks = 2;
  };

  std::size_t block_;
  RealFft fft_;
  std::vector<Input> inputs_;
  std::size_t now_ = 0;
  std::size_t longest_ = 0;
  Bins sum_;
  std::vector<double> time_;
};

}  // namespace ringtrue::card
