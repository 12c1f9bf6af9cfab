#include "../../src/capture/speaker_sound.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <memory>
#include <numbers>

#include "arrays.hpp"
#include "refusal.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

using namespace test;
using Complex = std::complex<double>;

constexpr std::size_t one_second = 48'000;

/// A tone of whole periods in 1 s at 48 kHz.
std::vector<double> tone(double hz, double amplitude) {
  std::vector<double> samples(one_second);
  for (std::size_t n = 0; n < one_second; ++n) {
    samples[n] = amplitude * std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(n) / 48'000.0);
  }
  return samples;
}

/// The tone through a speaker that only distorts, as one-sided amplitudes per hertz.
std::vector<double> distorted_spectrum(double hz, double second_percent, double third_percent) {
  VirtualSpeaker speaker;
  speaker.second_harmonic_percent = second_percent;
  speaker.third_harmonic_percent = third_percent;
  const DrivenShape shape{tone(hz, 0.2), std::make_shared<const RealFft>(one_second)};
  const std::vector<double> heard = shape.through(std::vector<double>{1.0}, speaker);
  const RealFft fft{one_second};
  std::vector<double> amplitudes;
  for (const Complex& bin : spectrum(fft, heard)) amplitudes.push_back(2.0 * std::abs(bin) / double{one_second});
  return amplitudes;
}

VirtualSpeaker measured(const std::string& file) {
  VirtualSpeaker speaker;
  speaker.label = "L";
  speaker.impulse_response_files = {file};
  return speaker;
}

}  // namespace

TEST_CASE("a sine at the shape's peak gets the harmonics asked for and keeps its own level") {
  const auto amplitudes = distorted_spectrum(1'000.0, 1.0, 0.5);
  CHECK(amplitudes[1'000] == doctest::Approx(0.2).epsilon(1e-9));
  CHECK(amplitudes[2'000] == doctest::Approx(0.01 * 0.2).epsilon(1e-9));
  CHECK(amplitudes[3'000] == doctest::Approx(0.005 * 0.2).epsilon(1e-9));
  CHECK(amplitudes[4'000] < 1e-12);
}

TEST_CASE("harmonics above half the sample rate are missing, not folded back") {
  const auto amplitudes = distorted_spectrum(15'000.0, 10.0, 10.0);
  CHECK(amplitudes[15'000] == doctest::Approx(0.2).epsilon(1e-9));
  CHECK(amplitudes[18'000] < 1e-12);  // 2 x 15 kHz folded at 24 kHz
  CHECK(amplitudes[3'000] < 1e-12);   // 3 x 15 kHz folded at 48 kHz
}

TEST_CASE("a shape is convolved with the response") {
  const std::vector<double> shape{1.0, -2.0, 0.5};
  const std::vector<double> response{0.0, 3.0, 1.0};
  const DrivenShape driven{shape, std::make_shared<const RealFft>(good_fft_size(6))};
  const auto heard = driven.through(response, VirtualSpeaker{});
  // By hand: 3 [1 -2 0.5] one later, plus [1 -2 0.5] two later.
  CHECK(worst_difference(heard, std::vector<double>{0.0, 3.0, -5.0, -0.5, 0.5, 0.0}).difference < 1e-12);
}

TEST_CASE("a measured response is taken as it is, with gain, polarity and delay") {
  const TemporaryFolder folder;
  const std::string file = (folder.path() / "left.wav").string();
  write_wav(file, 48'000.0, std::vector<std::vector<float>>{{0.0F, 0.5F, 0.25F}, {1.0F, 0.0F, 0.0F}});
  VirtualSpeaker speaker = measured(file);
  SpeakerResponse response = measured_response(speaker, 0, 48'000.0);
  CHECK(response.samples == std::vector<double>{0.0, 0.5, 0.25});
  CHECK(response.lead == 0);
  speaker.inverted = true;
  speaker.gain_db = 20.0 * std::log10(2.0);
  speaker.extra_delay_ms = 2.0;  // 96 frames
  response = measured_response(speaker, 0, 48'000.0);
  CHECK(worst_difference(response.samples, std::vector<double>{0.0, -1.0, -0.5}).difference < 1e-12);
  CHECK(response.lead == -96);
  response = measured_response(measured(file + "#2"), 0, 48'000.0);
  CHECK(response.samples == std::vector<double>{1.0, 0.0, 0.0});
}

TEST_CASE("a delay between samples and another sample rate keep time and level of a measured response") {
  const TemporaryFolder folder;
  const std::string file = (folder.path() / "left.wav").string();
  std::vector<float> impulse(4'410);
  impulse[441] = 0.5F;  // 10 ms
  write_wav(file, 44'100.0, std::vector<std::vector<float>>{impulse});
  VirtualSpeaker speaker = measured(file);
  speaker.extra_delay_ms = 1.23;
  const SpeakerResponse response = measured_response(speaker, 0, 48'000.0);
  for (const double hz : {100.0, 1'000.0, 10'000.0}) {
    CAPTURE(hz);
    Complex sum;
    for (std::size_t n = 0; n < response.samples.size(); ++n) {
      const double seconds = (static_cast<double>(n) - static_cast<double>(response.lead)) / 48'000.0;
      sum += response.samples[n] * std::polar(1.0, -2.0 * std::numbers::pi * hz * seconds);
    }
    // An impulse of 0.5 at 11.23 ms has this spectrum at any sample rate.
    CHECK(std::abs(sum - std::polar(0.5, -2.0 * std::numbers::pi * hz * 11.23e-3)) < 1e-4);
  }
}

TEST_CASE("nothing is heard before the direct sound") {
  // A sub in a reverberant room: all filters are causal, and what the transform wraps round would show here.
  Shoebox room{{4.4, 5.2, 2.6}, {}, 343.2};
  room.absorption.fill(0.2);
  VirtualSpeaker speaker;
  speaker.model = "sub";
  speaker.band = {Hertz{22.0}, Hertz{170.0}};
  const ImageSources images{room, 48'000.0, 3.1 / 22.0};
  const SpeakerResponse response = modelled_response(speaker, images, {0.5, 4.6, 0.3}, {2.2, 2.8, 1.2}, 48'000.0);
  const double direct = 48'000.0 * std::sqrt(1.7 * 1.7 + 1.8 * 1.8 + 0.9 * 0.9) / 343.2;  // 2.634 m
  double before = 0.0;
  double all = 0.0;
  for (std::size_t n = 0; n < response.samples.size(); ++n) {
    const double energy = response.samples[n] * response.samples[n];
    all += energy;
    if (static_cast<double>(n) < static_cast<double>(response.lead) + direct) before += energy;
  }
  CHECK(before < 1e-12 * all);
}

TEST_CASE("response files that cannot serve are refused") {
  const TemporaryFolder folder;
  const std::string file = (folder.path() / "left.wav").string();
  const auto refusal = [](const VirtualSpeaker& speaker, std::size_t position) {
    return refusal_of([&] { (void)measured_response(speaker, position, 48'000.0); });
  };
  CHECK(refusal(measured(file), 0) == file + ": there is no such file; check the name and the folder");
  write_wav(file, 48'000.0, std::vector<std::vector<float>>{{1.0F}});
  CHECK(refusal(measured(file), 1) ==
        "speaker L: no impulse response file for position 2; give one file per mic position of the rig");
  CHECK(refusal(measured(file + "#3"), 0) ==
        file + ": has 1 channels, so no channel 3 for an impulse response; correct the # number");
  write_wav(file, 48'000.0, std::vector<std::vector<float>>{std::vector<float>(480'001)});
  CHECK(refusal(measured(file), 0) == file + ": is longer than 10 s; give an impulse response, cut to its decay");
}

}  // namespace ringtrue
