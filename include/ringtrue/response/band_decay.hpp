#pragma once

#include <optional>
#include <vector>

#include "ringtrue/core/units.hpp"
#include "ringtrue/response/takes.hpp"

namespace ringtrue {

/// How sound dies away in one band at one place, and how early it comes; empty where there is no answer.
struct BandDecay {
  double centre_hz = 1'000.0;     // exact: 1000 G^(k/b), G = 10^0.3
  double range_db = 0.0;          // from the loudest moment of the band to its noise
  std::optional<double> early_s;  // EDT
  std::optional<double> t20_s;
  std::optional<double> t30_s;
  std::optional<double> clarity_50_db;  // energy of the first 50 ms over all later, 10 lg
  std::optional<double> clarity_80_db;
  std::optional<double> centre_time_s;  // of gravity of the energy
};

/// The reverberation time: T30 where there is one, else T20.
[[nodiscard]] std::optional<double> reverberation_s(const BandDecay& band);

/// 100 (T30 / T20 - 1); above 10 % ISO 3382-2 suspects more than one slope.
[[nodiscard]] std::optional<double> curvature_percent(const BandDecay& band);

enum class BandWidth { octave, third_octave };

/// Gain of the band's filter at a frequency. @param centre_hz  its exact mid-band frequency
[[nodiscard]] double band_gain(double frequency_hz, double centre_hz, BandWidth width);

/// The filters of all octaves and third octaves for responses of one length and rate: sines and logarithms that every
/// speaker of a measurement needs alike.
class BandFilters {
 public:
  /// @param length  samples of a response  @param threads  0: one per core
  /// @param highest  the filters of bands centred above it are left empty: a subwoofer needs few
  BandFilters(std::size_t length, double rate_hz, unsigned threads = 1, Hertz highest = Hertz{20'000.0});

  /// One band's gains, from bin `first` of the transform on.
  struct Filter {
    double centre_hz = 1'000.0;
    std::size_t first = 0;
    std::vector<float> gains;
  };
  [[nodiscard]] const std::vector<Filter>& of(BandWidth width) const {
    return width == BandWidth::octave ? octaves_ : third_octaves_;
  }
  [[nodiscard]] std::size_t fft_size() const { return fft_size_; }
  [[nodiscard]] double bin_hz() const { return bin_hz_; }

 private:
  std::size_t fft_size_;
  double bin_hz_;
  std::vector<Filter> octaves_;
  std::vector<Filter> third_octaves_;
};

/// Decay in each octave or third octave of a response, where the band lies within `flat`.
///
/// Zero-phase filters whose power falls as a squared sine in log frequency, half at the edges of IEC 61260-1:2014 (its
/// class 1 limits hold; neighbours add up to one); the squared envelope of each band takes the place of the squared
/// samples in `decay_times`, the noise power is that of the takes.
///
/// A band of B Hz smears time by 1/B, so T20 and T30 need B T > 8 and EDT B EDT > 32: found with decaying noise of
/// known T, whose mean comes out within 8 % there and not below. Shorter ones give no answer. (F. Jacobsen, J. Sound
/// Vib. 115, 163-170 (1987), allows 16 forward and 4 time-reversed; ours ring both ways.)
///
/// Clarity and centre time: ISO 3382-1:2009 annex A, with the noise subtracted; octaves from 500 Hz on, whose filters
/// are short against 50 ms; they want 20 dB over the noise.
///
/// @param arrival_index  of the direct sound in the takes
[[nodiscard]] std::vector<BandDecay> band_decays(const Takes& takes, double arrival_index, Band flat, BandWidth width);

/// Both widths from one pair of transforms.
struct BandDecays {
  std::vector<BandDecay> octaves;
  std::vector<BandDecay> third_octaves;
};
[[nodiscard]] BandDecays band_decays(const Takes& takes, double arrival_index, Band flat);
/// @param filters  for the length and rate of the takes
[[nodiscard]] BandDecays band_decays(const Takes& takes, double arrival_index, Band flat, const BandFilters& filters);

}  // namespace ringtrue
