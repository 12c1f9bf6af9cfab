#include "ringtrue/capture/virtual_room.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <complex>
#include <numbers>

#include "../../src/capture/room_shape.hpp"
#include "../../src/capture/speaker_model.hpp"
#include "arrays.hpp"
#include "refusal.hpp"
#include "rigs.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/stimulus/sweep.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

using namespace test;
using Complex = std::complex<double>;

constexpr double turn = 2.0 * std::numbers::pi;
constexpr double c = 343.2;  // m/s at 20 degrees

/// A room that swallows everything, at 20 degrees, without noise, latency or recorder's faults.
VirtualRoom quiet_room() {
  VirtualRoom room;
  room.size_m = {20.0, 20.0, 10.0};
  room.ear_m = {0.0, 0.0, 5.0};
  room.absorption.fill(1.0);
  room.temperature_c = 20.0;
  room.noise_dbfs = -200.0;
  room.latency_ms = 0.0;
  return room;
}

VirtualSpeaker standing(const std::string& label, Point place) {
  VirtualSpeaker speaker;
  speaker.label = label;
  speaker.position_m = place;
  return speaker;
}

/// One short sweep per speaker, one after another.
Stimulus short_stimulus(const Rig& rig) {
  Stimulus stimulus;
  stimulus.channels = channel_count(rig);
  stimulus.shapes.push_back(synchronised_sweep({Hertz{50.0}, Hertz{20'000.0}}, Seconds{0.05}, 0.125, Hertz{48'000.0}));
  std::int64_t now = 9'600;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    stimulus.sweeps.push_back({s, 0, now});
    now += 33'600;
  }
  stimulus.frames = now;
  return stimulus;
}

/// Fourier sum of a stretch of samples.
Complex spectrum_at(const std::vector<float>& samples, double hz, double rate_hz, std::size_t begin, std::size_t end) {
  Complex sum;
  for (std::size_t n = begin; n < std::min(end, samples.size()); ++n) {
    sum += static_cast<double>(samples[n]) *
           std::polar(1.0, -turn * std::fmod(hz / rate_hz * static_cast<double>(n), 1.0));
  }
  return sum;
}

/// From the loopback to the microphone while speaker `index` plays.
Complex transfer(const Recording& recording, double hz, std::size_t index = 0) {
  const std::size_t begin = 4'800 + index * 33'600;
  const std::size_t end = begin + 33'600;
  return spectrum_at(recording.microphone, hz, recording.sample_rate_hz, begin, end) /
         spectrum_at(recording.loopback, hz, recording.sample_rate_hz, begin, end);
}

double peak(const std::vector<float>& samples, std::size_t begin, std::size_t end) {
  float largest = 0.0F;
  for (std::size_t n = begin; n < std::min(end, samples.size()); ++n) largest = std::max(largest, std::abs(samples[n]));
  return static_cast<double>(largest);
}

}  // namespace

TEST_CASE("the microphone hears a speaker model after its distance, 1/r loud") {
  const Rig rig = simple_rig(2);
  VirtualRoom room = quiet_room();
  room.latency_ms = 11.3;  // 542.4 frames: between samples
  room.speakers = {standing("M1", {-1.2, 1.6, 0.0}), standing("M2", {2.0, 3.0, 6.0 - 2.0})};
  room.speakers[0].gain_db = -3.0;
  room.speakers[1].model = "two-way-inverting";
  room.speakers[1].inverted = true;
  room.speakers[1].extra_delay_ms = 1.234;
  const Recording recording = capture(room, rig, short_stimulus(rig), 0);
  for (const double hz : {150.0, 1'000.0, 5'000.0, 12'000.0}) {
    CAPTURE(hz);
    // 1.2, 1.6: 2 m. 2, 3, 4: sqrt(29) m.
    const Complex first = speaker_response(room.speakers[0], hz) * std::polar(1.0 / 2.0, -turn * hz * 2.0 / c);
    CHECK(std::abs(transfer(recording, hz, 0) - first) < 1e-4);
    const double metres = std::sqrt(29.0);
    const Complex second =
        speaker_response(room.speakers[1], hz) * std::polar(1.0 / metres, -turn * hz * (metres / c + 1.234e-3));
    CHECK(std::abs(transfer(recording, hz, 1) - second) < 1e-4);
  }
}

TEST_CASE("the room's corner, its walls in order and its inside") {
  VirtualRoom room;
  room.size_m = {5.0, 4.0, 2.5};  // length, width, height
  room.ear_m = {0.5, -0.25, 1.2};
  room.absorption = {0.1, 0.2, 0.3, 0.4, 0.5, 0.6};  // left, right, front, back, floor, ceiling
  // From the left back corner of the floor: 4/2 + 0.5 + 0.1, 5/2 - 0.25 + 0.2, 1.2 + 0.3.
  CHECK(distance_m(in_shoebox(room, {0.1, 0.2, 0.3}), Point{2.6, 2.45, 1.5}) < 1e-12);
  const Shoebox box = shoebox_of(room);
  CHECK(box.size_m == Point{4.0, 5.0, 2.5});
  CHECK(box.absorption == std::array<double, 6>{0.1, 0.2, 0.4, 0.3, 0.5, 0.6});  // y = 0 is the back
  CHECK(is_inside(room, {1.49, 2.74, 1.29}));
  CHECK_FALSE(is_inside(room, {1.51, 0.0, 0.0}));
  CHECK_FALSE(is_inside(room, {0.0, 2.76, 0.0}));
  CHECK_FALSE(is_inside(room, {0.0, 0.0, -1.21}));
}

TEST_CASE("warm air is faster") {
  const Rig rig = simple_rig(1);
  VirtualRoom room = quiet_room();
  room.temperature_c = 30.0;
  room.speakers = {standing("M1", {0.0, 3.0, 0.0})};
  const Recording recording = capture(room, rig, short_stimulus(rig), 0);
  // c(30) = 343.2 sqrt(303.15 / 293.15) = 349.0049 m/s (ISO 9613-1).
  const Complex expected =
      speaker_response(room.speakers[0], 1'000.0) * std::polar(1.0 / 3.0, -turn * 1'000.0 * 3.0 / 349.0049);
  CHECK(std::abs(transfer(recording, 1'000.0) - expected) < 1e-4);
}

TEST_CASE("each mic position hears from where it is") {
  Rig rig = simple_rig(1);
  rig.positions.push_back({Point{0.0, 1.0, 0.0}});
  VirtualRoom room = quiet_room();
  room.speakers = {standing("M1", {0.0, 3.0, 0.0})};
  const Recording recording = capture(room, rig, short_stimulus(rig), 1);
  CHECK(recording.name == "virtual room, position 2");
  CHECK(std::abs(transfer(recording, 1'000.0) -
                 speaker_response(room.speakers[0], 1'000.0) * std::polar(0.5, -turn * 1'000.0 * 2.0 / c)) < 1e-4);
}

TEST_CASE("loopback is the sum of all outputs after the latency, whatever the microphone's gain") {
  const Rig rig = simple_rig(2);
  VirtualRoom room = quiet_room();
  room.latency_ms = 10.0;
  room.microphone_gain_db = -20.0;
  room.speakers = {standing("M1", {0.0, 2.0, 0.0}), standing("M2", {2.0, 0.0, 0.0})};
  const Stimulus stimulus = short_stimulus(rig);
  const Recording recording = capture(room, rig, stimulus, 0);
  std::vector<float> expected(recording.loopback.size());
  for (const ScheduledSweep& sweep : stimulus.sweeps) {
    for (std::size_t n = 0; n < stimulus.shapes[0].samples.size(); ++n) {
      expected[static_cast<std::size_t>(sweep.first_frame) + 480 + n] =
          static_cast<float>(stimulus.shapes[0].samples[n]);
    }
  }
  CHECK(recording.loopback == expected);
  CHECK(std::abs(transfer(recording, 1'000.0)) == doctest::Approx(0.1 / 2.0).epsilon(0.01));
  room.loopback = false;
  CHECK(capture(room, rig, stimulus, 0).loopback.empty());
}

TEST_CASE("a recorder with a clock of its own, started late or early, records the closed form") {
  // A tone burst under a raised cosine of 0.2 s is band-limited and known at every moment.
  const auto burst = [](double t) {
    if (t <= 0.0 || t >= 0.2) return 0.0;
    return 0.1 * (0.5 - 0.5 * std::cos(turn * t / 0.2)) * std::sin(turn * 5'000.0 * t);
  };
  const Rig rig = simple_rig(1);
  Stimulus stimulus;
  stimulus.channels = 1;
  stimulus.frames = 480'000;
  stimulus.shapes.push_back({std::vector<double>(9'600), {Hertz{4'000.0}, Hertz{6'000.0}}, Seconds{1.0}});
  for (std::size_t n = 0; n < 9'600; ++n) stimulus.shapes[0].samples[n] = burst(static_cast<double>(n) / 48'000.0);
  stimulus.sweeps = {{0, 0, 24'000}, {0, 0, 432'000}};  // at 0.5 s and 9 s
  struct Case {
    double ppm;
    double offset_ms;
    double rate_hz;
  };
  for (const Case& k : {Case{150.0, 0.0, 0.0}, Case{-150.0, 400.0, 0.0}, Case{37.0, -400.123, 44'100.0}}) {
    CAPTURE(k.ppm);
    VirtualRoom room = quiet_room();
    room.latency_ms = 12.0;
    room.clock_ppm = k.ppm;
    room.start_offset_ms = k.offset_ms;
    room.recorder_sample_rate_hz = k.rate_hz;
    room.speakers = {standing("M1", {0.0, 2.0, 0.0})};
    const Recording recording = capture(room, rig, stimulus, 0);
    const double nominal_hz = k.rate_hz == 0.0 ? 48'000.0 : k.rate_hz;
    const double true_hz = nominal_hz * (1.0 + 1e-6 * k.ppm);  // a fast clock takes more samples
    CHECK(recording.sample_rate_hz == nominal_hz);
    CHECK(static_cast<double>(recording.loopback.size()) ==
          doctest::Approx((10.0 + 0.6 - 1e-3 * k.offset_ms) * true_hz).epsilon(1e-6));
    CHECK(recording.microphone.size() == recording.loopback.size());
    double worst = 0.0;
    for (std::size_t n = 0; n < recording.loopback.size(); ++n) {
      const double player_s = static_cast<double>(n) / true_hz + 1e-3 * k.offset_ms - 0.012;
      const double expected = burst(player_s - 0.5) + burst(player_s - 9.0);
      worst = std::max(worst, std::abs(static_cast<double>(recording.loopback[n]) - expected));
    }
    CHECK(worst < 1e-6);  // -100 dB re the burst's 0.1
  }
}

TEST_CASE("crossed cables, a silent speaker and one output on two speakers") {
  const Rig rig = simple_rig(3);
  VirtualRoom room = quiet_room();
  room.speakers = {standing("M1", {0.0, 1.0, 0.0}), standing("M2", {0.0, 4.0, 0.0}), standing("M3", {2.0, 0.0, 0.0}),
                   standing("also on 2", {4.0, 0.0, 0.0})};
  room.speakers[0].plays_output = 2;
  room.speakers[1].plays_output = 1;
  room.speakers[2].model = "silent";
  room.speakers[3].plays_output = 2;
  const Recording recording = capture(room, rig, short_stimulus(rig), 0);
  const Complex model = speaker_response(room.speakers[0], 1'000.0);
  const auto from = [](double metres) { return std::polar(1.0 / metres, -turn * 1'000.0 * metres / c); };
  CHECK(std::abs(transfer(recording, 1'000.0, 0) - model * from(4.0)) < 1e-4);
  CHECK(std::abs(transfer(recording, 1'000.0, 1) - model * (from(1.0) + from(4.0))) < 1e-4);
  CHECK(peak(recording.microphone, 76'800, 110'400) < 1e-6);
  CHECK(peak(recording.loopback, 76'800, 110'400) > 0.1);  // the output plays all the same
}

TEST_CASE("a measured response replaces model, distance and walls") {
  const TemporaryFolder folder;
  std::vector<float> impulse(500);
  impulse[100] = 0.5F;
  write_wav(folder.path() / "ir.wav", 48'000.0, std::vector<std::vector<float>>{impulse});
  const Rig rig = simple_rig(1);
  VirtualRoom room = quiet_room();
  room.absorption.fill(0.1);
  room.speakers = {standing("M1", {0.0, 99.0, 0.0})};  // its place does not matter
  room.speakers[0].impulse_response_files = {(folder.path() / "ir.wav").string()};
  const Recording recording = capture(room, rig, short_stimulus(rig), 0);
  for (const double hz : {100.0, 1'000.0, 15'000.0}) {
    CHECK(std::abs(transfer(recording, hz) - std::polar(0.5, -turn * hz * 100.0 / 48'000.0)) < 1e-4);
  }
}

TEST_CASE("noise has its level in the recording and differs between positions") {
  Rig rig = simple_rig(1);
  rig.positions.push_back({Point{0.1, 0.0, 0.0}});
  VirtualRoom room = quiet_room();
  room.noise_dbfs = -60.0;
  room.microphone_gain_db = 30.0;  // of the signal: the noise is what the recording has
  room.speakers = {standing("M1", {0.0, 2.0, 0.0})};
  room.speakers[0].model = "silent";
  const Stimulus stimulus = short_stimulus(rig);
  const Recording first = capture(room, rig, stimulus, 0);
  const Recording second = capture(room, rig, stimulus, 1);
  double energy = 0.0;
  double product = 0.0;
  const auto count = static_cast<double>(first.microphone.size());
  for (std::size_t n = 0; n < first.microphone.size(); ++n) {
    energy += static_cast<double>(first.microphone[n]) * static_cast<double>(first.microphone[n]);
    product += static_cast<double>(first.microphone[n]) * static_cast<double>(second.microphone[n]);
  }
  const double sigma = 1.0 / std::sqrt(count);
  CHECK(std::abs(energy / count / 1e-6 - 1.0) < 5.0 * std::numbers::sqrt2 * sigma);
  CHECK(std::abs(product / count / 1e-6) < 5.0 * sigma);
}

TEST_CASE("a converter does not go beyond full scale") {
  const Rig rig = simple_rig(1);
  VirtualRoom room = quiet_room();
  room.microphone_gain_db = 40.0;
  room.speakers = {standing("M1", {0.0, 2.0, 0.0})};
  const Recording recording = capture(room, rig, short_stimulus(rig), 0);
  CHECK(peak(recording.microphone, 0, recording.microphone.size()) == 1.0);
}

TEST_CASE("the same room gives the same bytes on any number of threads") {
  const Rig rig = simple_rig(3);
  VirtualRoom room = quiet_room();
  room.size_m = {5.2, 4.4, 2.6};
  room.ear_m = {0.1, 0.2, 1.2};
  room.absorption.fill(0.4);
  room.noise_dbfs = -80.0;
  room.hum_dbfs = -80.0;
  room.rumble_dbfs = -70.0;
  room.clock_ppm = 20.0;
  room.speakers = {standing("M1", {-1.0, 1.5, 0.0}), standing("M2", {1.0, 1.5, 0.0}), standing("M3", {0.3, -1.0, 0.5})};
  room.speakers[1].third_harmonic_percent = 1.0;
  const Stimulus stimulus = short_stimulus(rig);
  const Recording one = capture(room, rig, stimulus, 0, 1);
  for (const unsigned threads : {1U, 2U, 5U}) {
    const Recording other = capture(room, rig, stimulus, 0, threads);
    CHECK(one.microphone == other.microphone);
    CHECK(one.loopback == other.loopback);
  }
}

TEST_CASE("what cannot be is refused") {
  const Rig rig = simple_rig(1);
  const Stimulus stimulus = short_stimulus(rig);
  VirtualRoom room = quiet_room();
  room.speakers = {standing("M1", {0.0, 2.0, 0.0})};
  const auto refusal = [&](std::size_t position = 0) {
    return refusal_of([&] { (void)capture(room, rig, stimulus, position); });
  };
  CHECK(refusal(1) == "virtual room: the rig has no mic position 2; add a [[position]] to the rig");
  room.start_offset_ms = 5'000.0;
  CHECK(has(refusal(), "the recorder starts after the stimulus has ended"));
  room.start_offset_ms = 0.0;
  room.speakers[0].model = "horn";
  CHECK(refusal() == "virtual room: unknown model of speaker M1; see docs/virtual-room.md");
  room.speakers[0].model = "two-way";
  room.speakers[0].position_m = {0.0, 10.5, 0.0};
  CHECK(refusal() == "virtual room: speaker M1 stands outside the walls; move it");
  room.speakers[0].position_m = {0.0, 0.01, 0.0};
  CHECK(refusal() == "virtual room: the microphone is inside speaker M1; move one of them");
  room.speakers[0].position_m = {0.0, 2.0, 0.0};
  room.ear_m.z = 11.0;
  room.speakers[0].position_m.z = -3.0;
  CHECK(refusal() == "virtual room: mic position 1 is outside the walls; move it, or make the room larger");
}

}  // namespace ringtrue
