// Another program at the virtual sound card: a JACK client that plays into the room's outputs while ringtrue does.
#include <jack/jack.h>
#include <signal.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <ctime>
#include <numbers>
#include <string>
#include <vector>

namespace {

struct Options {
  std::string room = "room";
  std::string kind = "noise";
  double level_dbfs = -30.0;
  double after_s = 0.0;
  std::vector<int> outputs{1};
};

/// Plays from a number of frames on, and says when it has begun.
struct Player {
  std::string kind;
  double rms = 0.0;
  double rate_hz = 48'000.0;
  std::int64_t silent_frames = 0;
  std::int64_t now = 0;
  std::uint64_t random = 88'172'645'463'325'252U;
  std::vector<jack_port_t*> ports;
  std::vector<float*> buffers;  // one for each port
  std::atomic<bool> has_begun{false};

  double noise() {
    random ^= random << 13U;  // G. Marsaglia, "Xorshift RNGs", J. Stat. Softw. 8 (2003)
    random ^= random >> 7U;
    random ^= random << 17U;
    return std::sqrt(3.0) * (static_cast<double>(random >> 40U) / 8'388'608.0 - 1.0);
  }

  double note(double seconds) const {
    constexpr double a_string_hz = 220.0;
    constexpr double semitones[] = {0.0, 4.0, 7.0, 12.0, 9.0, 5.0};
    const double every_s = 0.3;
    const auto which = static_cast<std::size_t>(seconds / every_s);
    const double since_s = seconds - every_s * static_cast<double>(which);
    const double pitch_hz = a_string_hz * std::exp2(semitones[which % std::size(semitones)] / 12.0);
    double sum = 0.0;
    for (int k = 1; k <= 5; ++k) sum += std::sin(2.0 * std::numbers::pi * pitch_hz * k * since_s) / k;
    return 1.5 * sum * std::exp(-since_s / 0.15) * std::min(1.0, since_s / 0.005);
  }

  double next() {
    const double seconds = static_cast<double>(now - silent_frames) / rate_hz;
    const double tone = std::sqrt(2.0) * std::sin(2.0 * std::numbers::pi * 1'000.0 * seconds);
    if (kind == "tone") return rms * tone;
    if (kind == "beeps") return std::fmod(seconds, 0.5) < 0.1 ? rms * tone : 0.0;  // a metronome's
    if (kind == "music") return rms * note(seconds);
    return rms * noise();
  }

  void fill(jack_nframes_t frames) {
    for (jack_nframes_t n = 0; n < frames; ++n, ++now) {
      const float value = now < silent_frames ? 0.0F : static_cast<float>(std::clamp(next(), -1.0, 1.0));
      for (float* const buffer : buffers) buffer[n] = value;
    }
    if (now > silent_frames) has_begun.store(true, std::memory_order_relaxed);
  }
};

int on_block(jack_nframes_t frames, void* user) {
  auto& player = *static_cast<Player*>(user);
  for (std::size_t i = 0; i < player.ports.size(); ++i) {
    player.buffers[i] = static_cast<float*>(jack_port_get_buffer(player.ports[i], frames));
  }
  player.fill(frames);
  return 0;
}

int serve(const Options& options) {
  jack_client_t* const client = jack_client_open("other", JackNoStartServer, nullptr);
  if (client == nullptr) return 2;
  Player player;
  player.kind = options.kind;
  player.rms = std::pow(10.0, options.level_dbfs / 20.0);
  player.rate_hz = jack_get_sample_rate(client);
  player.silent_frames = static_cast<std::int64_t>(options.after_s * player.rate_hz);
  for (const int output : options.outputs) {
    const std::string name = "out_" + std::to_string(output);
    player.ports.push_back(jack_port_register(client, name.c_str(), JACK_DEFAULT_AUDIO_TYPE, JackPortIsOutput, 0));
  }
  player.buffers.resize(player.ports.size());
  jack_set_process_callback(client, on_block, &player);
  if (jack_activate(client) != 0) return 2;
  for (const int output : options.outputs) {
    const std::string to = options.room + ":playback_" + std::to_string(output);
    if (jack_connect(client, ("other:out_" + std::to_string(output)).c_str(), to.c_str()) != 0) return 2;
  }
  sigset_t ends;
  sigemptyset(&ends);
  for (const int ending : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&ends, ending);
  const timespec look{0, 5'000'000};
  bool said = false;
  while (sigtimedwait(&ends, nullptr, &look) < 0) {
    if (said || !player.has_begun.load(std::memory_order_relaxed)) continue;
    std::puts("playing");
    std::fflush(stdout);
    said = true;
  }
  alarm(2);  // closing may hang when the server goes at the same time
  jack_client_close(client);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App program{"Another program that plays into the room's outputs", "other_program"};
  Options options;
  program.add_option("--room", options.room, "JACK client to play into");
  program.add_option("--kind", options.kind, "of sound")->check(CLI::IsMember({"noise", "tone", "beeps", "music"}));
  program.add_option("--level-dbfs", options.level_dbfs, "rms while it sounds");
  program.add_option("--after", options.after_s, "seconds of silence first");
  program.add_option("--output", options.outputs, "of the room (repeat the option)")->allow_extra_args(false);
  CLI11_PARSE(program, argc, argv);
  sigset_t ends;
  sigemptyset(&ends);
  for (const int ending : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&ends, ending);
  sigprocmask(SIG_BLOCK, &ends, nullptr);
  return serve(options);
}
