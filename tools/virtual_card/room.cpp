// A sound card where there is none: a JACK client whose ports are a card's outputs and inputs, with a virtual room in
// between. DEVELOPERS.md says how to bring it up.
#include <jack/jack.h>
#include <signal.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <atomic>
#include <cstdio>
#include <ctime>
#include <memory>
#include <string>
#include <vector>

#include "block_convolver.hpp"
#include "faults.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "room_sound.hpp"

namespace ringtrue::card {
namespace {

struct Options {
  std::string rig;
  std::string room;
  std::string name = "room";
  std::size_t position = 1;
  std::size_t outputs = 16;
  bool loopback = true;
  std::vector<std::string> faults;
};

/// Everything the callback uses, made before it runs.
struct Card {
  Options options;
  RoomSound sound;
  std::unique_ptr<BlockConvolver> convolver;
  std::unique_ptr<FaultLine> faults;
  std::vector<jack_port_t*> playback;
  std::vector<jack_port_t*> capture;
  std::vector<std::vector<float>> played;
  std::vector<float*> played_channels;
  std::vector<double> heard;
  std::vector<float> microphone;
  std::vector<float> wire;
  std::vector<float> late_wire;  // ring of the loopback's latency
  std::size_t late_at = 0;
  std::size_t noise_at = 0;
  std::size_t loopback_output = 0;  // from 1; 0: the sum of all
  std::atomic<bool> leave{false};
};

void wait_ms(double ms) {
  timespec time{static_cast<time_t>(ms / 1e3), static_cast<long>(1e6 * (ms - 1e3 * std::floor(ms / 1e3)))};
  nanosleep(&time, nullptr);
}

/// What the wire from the outputs to the loopback input carries.
float on_wire(const Card& card, std::size_t n) {
  if (card.loopback_output > 0) return card.played[card.loopback_output - 1][n];
  float sum = 0.0F;
  for (const auto& channel : card.played) sum += channel[n];
  return sum;
}

int on_block(jack_nframes_t frames, void* user) {
  auto& card = *static_cast<Card*>(user);
  if (card.leave.load(std::memory_order_relaxed) || frames != card.heard.size()) return 0;
  for (std::size_t c = 0; c < card.playback.size(); ++c) {
    const auto* const in = static_cast<const float*>(jack_port_get_buffer(card.playback[c], frames));
    std::copy_n(in, frames, card.played[c].begin());
  }
  const auto events = card.faults->before_room(card.played_channels, frames);
  if (events.late_ms > 0.0) wait_ms(events.late_ms);
  if (events.freeze) wait_ms(3.6e6);
  if (events.leave) card.leave.store(true, std::memory_order_relaxed);
  for (std::size_t c = 0; c < card.played.size(); ++c) card.convolver->feed(c, card.played[c]);
  card.convolver->finish(card.heard);
  for (std::size_t n = 0; n < frames; ++n) {
    card.microphone[n] = std::clamp(static_cast<float>(card.heard[n]), -1.0F, 1.0F) + card.sound.noise[card.noise_at];
    card.noise_at = (card.noise_at + 1) % card.sound.noise.size();
    card.late_wire[card.late_at] = std::clamp(on_wire(card, n), -1.0F, 1.0F);
    card.late_at = (card.late_at + 1) % card.late_wire.size();
    card.wire[n] = card.late_wire[card.late_at];
  }
  card.faults->after_room(card.microphone, card.wire);
  std::copy_n(card.microphone.begin(), frames, static_cast<float*>(jack_port_get_buffer(card.capture[0], frames)));
  if (card.capture.size() > 1) {
    std::copy_n(card.wire.begin(), frames, static_cast<float*>(jack_port_get_buffer(card.capture[1], frames)));
  }
  return 0;
}

std::unique_ptr<Card> build(const Options& options, std::size_t block, double server_rate_hz) {
  const Rig rig = read_rig(options.rig);
  if (rig.interface.sample_rate_hz != server_rate_hz) {
    std::fprintf(stderr, "room: the server runs at %.0f Hz; responses are those of the rig's rate\n", server_rate_hz);
  }
  auto card = std::make_unique<Card>();
  card->options = options;
  card->sound = sound_of(read_virtual_room(options.room, rig), rig, options.position - 1, options.outputs);
  card->convolver = std::make_unique<BlockConvolver>(card->sound.responses, block);
  std::vector<Fault> faults;
  for (const std::string& text : options.faults) faults.push_back(parse_fault(text));
  card->faults = std::make_unique<FaultLine>(std::move(faults), block);
  card->played.assign(options.outputs, std::vector<float>(block));
  for (auto& channel : card->played) card->played_channels.push_back(channel.data());
  card->heard.resize(block);
  card->microphone.resize(block);
  card->wire.resize(block);
  card->late_wire.assign(card->sound.latency_frames + 1, 0.0F);
  card->loopback_output = static_cast<std::size_t>(rig.interface.loopback_output.value_or(0));
  if (card->loopback_output > options.outputs) card->loopback_output = 0;
  return card;
}

jack_port_t* port(jack_client_t* client, const std::string& name, unsigned long direction) {
  jack_port_t* const made = jack_port_register(client, name.c_str(), JACK_DEFAULT_AUDIO_TYPE, direction, 0);
  if (made == nullptr)
    throw DeviceError{"room", "the server gives no port " + name, "give it a larger port table (-p)"};
  return made;
}

void serve(const Options& options) {
  jack_client_t* const client = jack_client_open(options.name.c_str(), JackNoStartServer, nullptr);
  if (client == nullptr) throw DeviceError{"room", "there is no JACK server", "start one first"};
  const auto card = build(options, jack_get_buffer_size(client), jack_get_sample_rate(client));
  jack_set_process_callback(client, on_block, card.get());
  for (std::size_t c = 1; c <= options.outputs; ++c) {
    card->playback.push_back(port(client, "playback_" + std::to_string(c), JackPortIsInput));
  }
  for (std::size_t c = 1; c <= (options.loopback ? 2U : 1U); ++c) {
    card->capture.push_back(port(client, "capture_" + std::to_string(c), JackPortIsOutput));
  }
  if (jack_activate(client) != 0) throw DeviceError{"room", "cannot join the server", "restart it"};
  std::puts("ready");
  std::fflush(stdout);
  sigset_t ends;
  sigemptyset(&ends);
  for (const int ending : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&ends, ending);
  const timespec look{0, 10'000'000};
  while (!card->leave.load() && sigtimedwait(&ends, nullptr, &look) < 0) {
  }
  alarm(2);  // closing may hang when the server goes at the same time: then the process ends all the same
  jack_client_close(client);
}

int run(int argc, char** argv) {
  CLI::App program{"A sound card made of a virtual room, for a JACK server", "room"};
  Options options;
  program.add_option("--rig", options.rig, "the rig")->required();
  program.add_option("--virtual", options.room, "the room")->required();
  program.add_option("--name", options.name, "of the JACK client, and so of the device");
  program.add_option("--position", options.position, "mic position of the rig")->check(CLI::Range(1, 64));
  program.add_option("--outputs", options.outputs, "of the card")->check(CLI::Range(1, 64));
  program.add_flag("!--no-loopback", options.loopback, "a card with a microphone only");
  program.add_option("--fault", options.faults, "KIND[=VALUE]@ONSET+FRAMES")->allow_extra_args(false);
  CLI11_PARSE(program, argc, argv);
  sigset_t ends;
  sigemptyset(&ends);
  for (const int ending : {SIGINT, SIGTERM, SIGHUP}) sigaddset(&ends, ending);
  sigprocmask(SIG_BLOCK, &ends, nullptr);  // before any thread: all of them are taken by sigtimedwait
  serve(options);
  return 0;
}

}  // namespace
}  // namespace ringtrue::card

int main(int argc, char** argv) {
  try {
    return ringtrue::card::run(argc, argv);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "room: %s\n", error.what());
    return 2;
  }
}
