#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>

#include "../../src/capture/sweep_estimate.hpp"
#include "arrays.hpp"
#include "refusal.hpp"
#include "rigs.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/stimulus/sweep.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

using namespace test;
namespace fs = std::filesystem;
using Channels = std::vector<std::vector<float>>;

StimulusOptions written_sweeps() { return test::sweeps_of(Seconds{0.5}, Seconds{0.3}); }

/// The stimulus as planar channels, to be changed and written.
Channels rendered(const Stimulus& stimulus, const Rig& rig) {
  const auto channels = static_cast<std::size_t>(stimulus.channels);
  const auto frames = static_cast<std::size_t>(stimulus.frames);
  std::vector<float> block(channels * frames);
  render(stimulus, rig, 0, block);
  Channels planar(channels, std::vector<float>(frames));
  for (std::size_t i = 0; i < block.size(); ++i) planar[i % channels][i / channels] = block[i];
  return planar;
}

/// The sound a stimulus makes on one output, whatever shapes and sweeps describe it.
std::vector<float> on_output(const Stimulus& stimulus, const Rig& rig, std::size_t output) {
  return rendered(stimulus, rig)[output - 1];
}

/// In [0, 1).
double uniform(std::mt19937& generator) { return static_cast<double>(generator()) / 4294967296.0; }

std::string refusal_of_stimulus(const fs::path& path, const Rig& rig) {
  return refusal_of([&] { (void)read_stimulus(path, rig); });
}

Rig rig_with_loopback() {
  Rig rig = simple_rig(3, true);
  rig.interface.loopback_output = 6;
  return rig;
}

}  // namespace

TEST_CASE("a written stimulus is read back to the same sound, sweep by sweep") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "stimulus.wav";
  const Rig rig = rig_with_loopback();
  const Stimulus written = plan_stimulus(rig, written_sweeps());
  write_stimulus(path, written, rig);
  const Stimulus read = read_stimulus(path, rig);
  CHECK(read.sample_rate_hz == written.sample_rate_hz);
  CHECK(read.channels == 6);
  CHECK(read.frames == written.frames);
  CHECK(read.shapes.size() == 2);  // all mains share one, the sub has its own
  REQUIRE(read.sweeps.size() == written.sweeps.size());
  for (std::size_t i = 0; i < read.sweeps.size(); ++i) {
    CHECK(read.sweeps[i].speaker == written.sweeps[i].speaker);
    // A sweep starts at phase zero under a fade: its first samples may be exactly zero, which no file can tell from
    // silence.
    CHECK(read.sweeps[i].first_frame - written.sweeps[i].first_frame >= 0);
    CHECK(read.sweeps[i].first_frame - written.sweeps[i].first_frame <= 2);
  }
  for (const std::size_t output : {1U, 2U, 3U, 4U}) {
    CHECK(on_output(read, rig, output) == on_output(written, rig, output));
  }
  CHECK(read.decay.value() == doctest::Approx(0.3).epsilon(1e-3));  // what the plan asked for
}

TEST_CASE("equal stimuli give equal files") {
  const TemporaryFolder folder;
  const Rig rig = rig_with_loopback();
  const Stimulus stimulus = plan_stimulus(rig, written_sweeps());
  write_stimulus(folder.path() / "a.wav", stimulus, rig);
  write_stimulus(folder.path() / "b.wav", stimulus, rig);
  CHECK(read_bytes(folder.path() / "a.wav") == read_bytes(folder.path() / "b.wav"));
}

TEST_CASE("the law of a sweep is found from its samples within a thousandth") {
  // Source: the closed form the sweep is made from; L is its rate constant, f(0) and f(end) its band.
  struct Case {
    double low_hz;
    double high_hz;
    double rate_constant_s;
    double sample_rate_hz;
  };
  for (const Case& c :
       {Case{20.0, 20'000.0, 0.32, 48'000.0}, Case{50.0, 22'000.0, 0.1, 44'100.0}, Case{20.0, 200.0, 0.95, 48'000.0},
        Case{80.0, 20'000.0, 4.0, 96'000.0}, Case{30.0, 120.0, 0.5, 192'000.0}, Case{500.0, 2'000.0, 0.2, 48'000.0}}) {
    CAPTURE(c.low_hz);
    CAPTURE(c.high_hz);
    const SweepShape sweep = synchronised_sweep({Hertz{c.low_hz}, Hertz{c.high_hz}}, Seconds{c.rate_constant_s}, 0.125,
                                                Hertz{c.sample_rate_hz});
    const auto law = estimate_sweep_law(sweep.samples, Hertz{c.sample_rate_hz});
    REQUIRE(law.has_value());
    CHECK(law->rate_constant / sweep.rate_constant == doctest::Approx(1.0).epsilon(1e-3).scale(0.0));
    CHECK(law->band.low / sweep.band.low == doctest::Approx(1.0).epsilon(2e-3).scale(0.0));
    CHECK(law->band.high / sweep.band.high == doctest::Approx(1.0).epsilon(2e-3).scale(0.0));
  }
}

TEST_CASE("what is no upward exponential sweep has no law") {
  std::vector<double> samples(24'000);
  const Hertz rate{48'000.0};
  CHECK_FALSE(estimate_sweep_law({}, rate).has_value());
  CHECK_FALSE(estimate_sweep_law(samples, rate).has_value());  // silence
  samples[10] = 1.0;
  CHECK_FALSE(estimate_sweep_law(samples, rate).has_value());  // a click
  std::mt19937 generator{1};
  for (double& x : samples) x = uniform(generator) - 0.5;
  CHECK_FALSE(estimate_sweep_law(samples, rate).has_value());  // noise
  for (std::size_t n = 0; n < samples.size(); ++n) {           // a linear sweep, 0-10 kHz
    const double t = static_cast<double>(n) / 48'000.0;
    samples[n] = std::sin(2.0 * 3.14159265358979 * 10'000.0 * t * t);
  }
  CHECK_FALSE(estimate_sweep_law(samples, rate).has_value());
  auto falling = synchronised_sweep({Hertz{50.0}, Hertz{20'000.0}}, Seconds{0.1}, 0.5, rate).samples;
  std::ranges::reverse(falling);
  CHECK_FALSE(estimate_sweep_law(falling, rate).has_value());
}

TEST_CASE("a stimulus that went through another program still serves") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "changed.wav";
  const Rig rig = simple_rig(2, true);
  const Stimulus planned = plan_stimulus(rig, written_sweeps());
  Channels channels = rendered(planned, rig);

  SUBCASE("turned down, with silent channels added and silence cut off") {
    for (auto& channel : channels) {
      for (float& x : channel) x *= 0.3F;
      channel.erase(channel.begin(), channel.begin() + 10'000);
    }
    channels.resize(8, std::vector<float>(channels.front().size()));
    write_wav(path, 48'000.0, channels);
    const Stimulus read = read_stimulus(path, rig);
    CHECK(read.channels == 8);
    CHECK(read.shapes.size() == 2);
    REQUIRE(read.sweeps.size() == planned.sweeps.size());
    for (std::size_t i = 0; i < read.sweeps.size(); ++i) {
      CHECK(std::abs(read.sweeps[i].first_frame - (planned.sweeps[i].first_frame - 10'000)) <= 2);
    }
  }
  SUBCASE("dithered to 16 bits, so that silence is noise") {
    std::mt19937 generator{7};
    const auto dither = [&] { return static_cast<float>(uniform(generator)); };
    for (auto& channel : channels) {
      for (float& x : channel) x = std::floor(x * 32'768.0F + dither() + dither() - 0.5F) / 32'768.0F;
    }
    write_wav(path, 48'000.0, channels);
    const Stimulus read = read_stimulus(path, rig);
    REQUIRE(read.sweeps.size() == planned.sweeps.size());
    for (std::size_t i = 0; i < read.sweeps.size(); ++i) {
      CHECK(read.sweeps[i].speaker == planned.sweeps[i].speaker);
      // The quiet start of the fade is under the noise, but the sweep keeps its place: its law says when f was f1.
      const SweepShape& shape = read.shapes[read.sweeps[i].shape];
      const SweepShape& whole = planned.shapes[planned.sweeps[i].shape];
      CHECK(shape.rate_constant / whole.rate_constant == doctest::Approx(1.0).epsilon(1e-3).scale(0.0));
      const double missing_s = whole.rate_constant.value() * std::log(shape.band.low / whole.band.low);
      const double late_s = static_cast<double>(read.sweeps[i].first_frame - planned.sweeps[i].first_frame) / 48'000.0;
      CHECK(late_s == doctest::Approx(missing_s).epsilon(0.0005));
    }
  }
}

TEST_CASE("sweeps that differ are told apart, also when they are equally long") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "inverted.wav";
  const Rig rig = simple_rig(2);
  const Stimulus planned = plan_stimulus(rig, written_sweeps());
  Channels channels = rendered(planned, rig);
  for (float& x : channels[1]) x = -x;
  write_wav(path, 48'000.0, channels);
  const Stimulus read = read_stimulus(path, rig);
  CHECK(read.shapes.size() == 2);
  CHECK(on_output(read, rig, 2) == channels[1]);
}

TEST_CASE("sweeps of different outputs may overlap in time") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "overlapping.wav";
  const Rig rig = simple_rig(2);
  Stimulus stimulus = plan_stimulus(rig, written_sweeps());
  stimulus.sweeps[1].first_frame = stimulus.sweeps[0].first_frame + 4'800;
  std::ranges::sort(stimulus.sweeps, {}, &ScheduledSweep::first_frame);
  write_stimulus(path, stimulus, rig);
  const Stimulus read = read_stimulus(path, rig);
  REQUIRE(read.sweeps.size() == 4);
  CHECK(read.sweeps[0].speaker == 0);
  CHECK(read.sweeps[1].speaker == 1);
  CHECK(read.sweeps[1].first_frame - read.sweeps[0].first_frame == 4'800);
  CHECK(read.shapes.size() == 1);
  CHECK(read.decay.value() == 0.0);  // no silence after the first of them
}

TEST_CASE("a stimulus that does not fit the rig is refused with its channel and what to do") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "s.wav";
  const std::string name = path.string();
  const std::string again = "; make the stimulus again with `ringtrue stimulus`";
  const Rig rig = simple_rig(3);
  const Stimulus stimulus = plan_stimulus(rig, written_sweeps());
  Channels channels = rendered(stimulus, rig);

  SUBCASE("another sample rate") {
    write_wav(path, 44'100.0, channels);
    CHECK(refusal_of_stimulus(path, rig) == name + ": has a sample rate of 44100 Hz, the rig has 48000 Hz" + again);
  }
  SUBCASE("too few channels") {
    channels.pop_back();
    write_wav(path, 48'000.0, channels);
    CHECK(refusal_of_stimulus(path, rig) == name + ": has 2 channels, the rig's highest output is 3" + again);
  }
  SUBCASE("a channel without a speaker") {
    channels.push_back(channels.front());
    write_wav(path, 48'000.0, channels);
    CHECK(refusal_of_stimulus(path, rig) == name +
                                                ", channel 4: it sounds, but the rig has no speaker on output 4; "
                                                "add the speaker to the rig, or make the stimulus again");
  }
  SUBCASE("a speaker without a sound") {
    std::ranges::fill(channels[1], 0.0F);
    write_wav(path, 48'000.0, channels);
    CHECK(refusal_of_stimulus(path, rig) == name + ", channel 2: it is silent, but speaker M2 is on output 2" + again);
  }
  SUBCASE("silence") {
    write_wav(path, 48'000.0, Channels(3, std::vector<float>(1'000)));
    CHECK(refusal_of_stimulus(path, rig) == name + ": is silent throughout" + again);
  }
  SUBCASE("a sound that is no sweep") {
    std::mt19937 generator{3};
    for (std::size_t n = 5'000; n < 15'000; ++n) channels[0][n] = static_cast<float>(uniform(generator) - 0.5);
    write_wav(path, 48'000.0, channels);
    CHECK(refusal_of_stimulus(path, rig) ==
          name + ", channel 1: what it plays at 0.104 s is no exponential sweep" + again);
  }
  SUBCASE("a sound without a pause") {
    std::vector<float> noise(61 * 48'000);
    std::mt19937 generator{3};
    for (float& x : noise) x = static_cast<float>(uniform(generator) - 0.5);
    write_wav(path, 48'000.0, Channels(3, noise));
    CHECK(refusal_of_stimulus(path, rig) == name + ", channel 1: it sounds for more than 60 s without a pause" + again);
  }
  SUBCASE("a sample that is no number") {
    channels[2][24'000] = std::numeric_limits<float>::quiet_NaN();
    write_wav(path, 48'000.0, channels);
    CHECK(refusal_of_stimulus(path, rig) ==
          name + ": channel 3 is not a number at 0.5000 s (frame 24000); make the file again");
  }
  SUBCASE("no sound file") {
    write_bytes(path, "RIFF");
    CHECK(has(refusal_of_stimulus(path, rig), name + ": is not a sound file that can be read"));
  }
}

TEST_CASE("the loopback's channel may carry anything") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "s.wav";
  const Rig rig = rig_with_loopback();
  const Stimulus stimulus = plan_stimulus(rig, written_sweeps());
  Channels channels = rendered(stimulus, rig);
  std::ranges::fill(channels[5], 0.9F);
  write_wav(path, 48'000.0, channels);
  CHECK(read_stimulus(path, rig).sweeps.size() == 8);
}

}  // namespace ringtrue
