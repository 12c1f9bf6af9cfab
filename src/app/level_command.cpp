#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <memory>
#include <numbers>
#include <optional>

#include "command.hpp"
#include "console.hpp"
#include "conversation.hpp"
#include "level_report.hpp"
#include "loudness.hpp"
#include "program.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/device/device_card.hpp"
#include "ringtrue/device/stop_request.hpp"
#include "ringtrue/dsp/sound_level.hpp"
#include "ringtrue/live/session.hpp"
#include "ringtrue/live/virtual_card.hpp"
#include "ringtrue/rig/rig_edit.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::app {
namespace {

struct LevelOptions {
  std::string rig;
  std::string device;
  std::string recording;
  std::string virtual_room;
  int input_channel = 1;
  double calibrator_db = 0.0;
  std::optional<double> meter_db;
  std::string speaker;
  double level_dbfs = -18.0;
  bool loud = false;
  double seconds = 6.0;
  bool yes = false;
  bool json = false;
};

constexpr const char* level_footer =
    R"(Finds out how loud full scale of the microphone's input is and writes it into
the rig, as full_scale_spl_db under [microphone]; the rest of the file stays as
it is. From then on levels are dB SPL. Leave the input's gain as it is.

  --calibrator 94   a calibrator of 94 or 114 dB at 1 kHz sits on the microphone
  --meter           one speaker plays pink noise (500 Hz-2 kHz), you read a
                    hand-held meter beside the microphone, set to C and slow,
                    and type what it shows; --meter 76.5 where that is known
  neither           only reads the meter: A, C and Z, fast and slow

With --recording the sound comes from a file: the calibrator's tone, or the
noise. With --virtual a simulated calibrator or meter is used.

Examples:
  ringtrue level rig.toml --device jack:room --calibrator 94
  ringtrue level rig.toml --device jack:room --meter --speaker L
  ringtrue level rig.toml --recording tone.wav --calibrator 114
  ringtrue level rig.toml --virtual room.toml --meter)";

enum class Way { read, calibrator, meter };

Way way_of(const CLI::App& command) {
  if (command.count("--calibrator") > 0) return Way::calibrator;
  return command.count("--meter") > 0 ? Way::meter : Way::read;
}

std::size_t speaker_of(const Rig& rig, const std::string& label) {
  for (const std::size_t s : by_output(rig)) {
    if (label.empty() ? rig.speakers[s].kind == SpeakerKind::main : rig.speakers[s].label == label) return s;
  }
  throw InvalidInput{"--speaker", label.empty() ? "the rig has no main" : "the rig has no speaker " + label,
                     "give a label of the rig"};
}

constexpr double quiet_s = 1.2;         // before the noise
constexpr double surely_quiet_s = 0.5;  // of it: a virtual recorder may start half a second late

/// What the microphone heard, and what a meter beside it showed, where that is known without asking.
struct Heard {
  Recording recording;
  std::optional<double> meter_db;
};

Stimulus noise_of(const Rig& rig, const LevelOptions& options) {
  return plan_pink_noise(rig, speaker_of(rig, options.speaker), Decibels{options.level_dbfs}, Seconds{quiet_s},
                         Seconds{std::max(5.0, options.seconds)});
}

/// Peak of a sine that has the noise's rms.
double sine_peak_dbfs(const Stimulus& noise) {
  double sum = 0.0;
  const auto& samples = noise.shapes.front().samples;
  for (const double sample : samples) sum += sample * sample;
  return 10.0 * std::log10(2.0 * sum / static_cast<double>(samples.size()));
}

Heard through_device(const Rig& rig, const LevelOptions& options, Way way) {
  const StopRequest stop;
  const Decibels limit{options.level_dbfs};
  const Stimulus take = way == Way::meter ? noise_of(rig, options) : plan_silence(rig, Seconds{options.seconds});
  DeviceCardOptions wanted;
  wanted.device = options.device;
  wanted.input_channel = options.input_channel;
  wanted.ceiling = limit;
  wanted.program = running_program();
  make_room_for(take, wanted);
  if (way == Way::meter) make_room_for(longest_level_check(rig, limit), wanted);
  DeviceCard card{rig, wanted};
  if (way == Way::meter) {
    Conversation{options.yes}.caution_before_sound();
    const CheckedLevel level = check_level(card, rig, limit);
    consent_to_loudness(rig, level.check, sine_peak_dbfs(take), options.loud, "the noise");
    Conversation::say("Read the meter (C, slow) while the noise plays: the middle of what it shows near the end.");
  }
  Recording recording = card.play(take, {}).recording;
  recording.name = card.name();
  return {std::move(recording), {}};
}

/// The simulated calibrator and meter are exact.
Heard in_virtual_room(const Rig& rig, const LevelOptions& options, Way way) {
  const VirtualRoom room = read_virtual_room(options.virtual_room, rig);
  const double full_scale_spl_db = room.full_scale_spl_db - room.microphone_gain_db;
  const Stimulus take = way == Way::meter ? noise_of(rig, options) : plan_silence(rig, Seconds{options.seconds});
  Heard heard{capture(room, rig, take, 0), {}};
  const Hertz rate{heard.recording.sample_rate_hz};
  auto& samples = heard.recording.microphone;
  if (way == Way::calibrator) {
    const double amplitude = std::sqrt(2.0) * amplitude_ratio(Decibels{options.calibrator_db - full_scale_spl_db});
    const double step = 2.0 * std::numbers::pi * 1'000.0 / rate.value();
    for (std::size_t n = 0; n < samples.size(); ++n) {
      const double sum = static_cast<double>(samples[n]) + amplitude * std::sin(step * static_cast<double>(n));
      samples[n] = static_cast<float>(std::clamp(sum, -1.0, 1.0));
    }
  } else if (way == Way::meter) {  // slow, in the noise's last second, as a display of a tenth shows it
    const auto slow = time_weighted_db(weighted(samples, FrequencyWeighting::c, rate), TimeWeighting::slow, rate);
    const double middle_s = quiet_s + std::max(5.0, options.seconds) - 0.5 - 1e-3 * room.start_offset_ms;
    const auto at = static_cast<std::size_t>(std::max(0.0, middle_s) * rate.value());
    heard.meter_db = std::round(10.0 * (slow[std::min(at, slow.size() - 1)] + full_scale_spl_db)) / 10.0;
  }
  return heard;
}

Heard hear(const Rig& rig, const LevelOptions& options, Way way) {
  if (!options.recording.empty()) return {read_recording(options.recording, 0, options.input_channel), {}};
  return options.device.empty() ? in_virtual_room(rig, options, way) : through_device(rig, options, way);
}

double ask_for_reading() {
  const std::string answer = Conversation::ask("What does the meter show, in dB?", {}).value_or("");
  double reading_db = 0.0;
  const char* const end = answer.data() + answer.size();
  const auto [stopped, error] = std::from_chars(answer.data(), end, reading_db);
  if (error == std::errc{} && stopped == end && reading_db >= 20.0 && reading_db <= 130.0) return reading_db;
  throw InvalidInput{"--meter", "there is no reading of 20 to 130 dB", "give the number that the meter shows"};
}

std::optional<double> full_scale(const LevelOptions& options, Way way, const Heard& heard) {
  if (way == Way::read) return {};
  if (way == Way::calibrator) return full_scale_by_calibrator(heard.recording, options.calibrator_db);
  auto reading_db = options.meter_db ? options.meter_db : heard.meter_db;
  if (!reading_db && !options.recording.empty()) {
    throw InvalidInput{"--meter", "a recording does not say what the meter showed",
                       "give the number, e.g. --meter 76.5"};
  }
  const double before_s = options.recording.empty() ? surely_quiet_s : 0.0;
  const double of_zero_db = full_scale_by_meter(heard.recording, 0.0, before_s);  // refuses before anything is asked
  if (!reading_db) reading_db = ask_for_reading();
  return of_zero_db + *reading_db;
}

void require_possible(double full_scale_spl_db) {
  if (full_scale_spl_db >= 20.0 && full_scale_spl_db <= 200.0) return;
  throw InvalidInput{"level",
                     fmt::format("full scale would be {:.0f} dB SPL, which no microphone has", full_scale_spl_db),
                     "check the input channel, the gain, and the number given"};
}

int run(const CLI::App& command, LevelOptions options) {
  const Way way = way_of(command);
  if (static_cast<int>(options.device.empty()) + static_cast<int>(options.recording.empty()) +
          static_cast<int>(options.virtual_room.empty()) !=
      2) {
    throw CLI::ValidationError{"give one source: --device NAME, --recording WAV or --virtual ROOM.toml"};
  }
  if (command.count("--calibrator") > 0 && command.count("--meter") > 0) {
    throw CLI::ValidationError{"--calibrator and --meter are two ways: give one of them"};
  }
  const bool plays = way == Way::meter && options.recording.empty();
  if (!plays && command.count("--speaker") > 0) throw CLI::ValidationError{"--speaker is for the noise of --meter"};
  LevelReport report{options.rig, read_rig(options.rig), {}, {}};
  const Heard heard = hear(report.rig, options, way);
  report.found_full_scale_spl_db = full_scale(options, way, heard);
  report.reading = read_meter(heard.recording.microphone, heard.recording.sample_rate_hz);
  if (report.found_full_scale_spl_db) {
    require_possible(*report.found_full_scale_spl_db);
    const std::string text = read_text_file(options.rig, std::size_t{1} << 22U);
    write_text_atomically(options.rig, with_full_scale_spl(text, options.rig, *report.found_full_scale_spl_db));
  }
  print_result(options.json ? level_json(report) : level_text(report));
  return done;
}

void add_options(CLI::App& command, LevelOptions& options) {
  command.add_option("rig", options.rig, "the rig; the result is written into it")->option_text("RIG.toml")->required();
  command.add_option("--device", options.device, "record with this device")->option_text("NAME");
  command.add_option("--recording", options.recording, "or take a recording")->option_text("WAV");
  command.add_option("--virtual", options.virtual_room, "or this simulated room")->option_text("ROOM.toml");
  command.add_option("--input-channel", options.input_channel, "input or channel of the microphone")
      ->check(CLI::Range(1, 1024))
      ->option_text("N")
      ->capture_default_str();
  command.add_option("--calibrator", options.calibrator_db, "level of the calibrator on the microphone, 94 or 114")
      ->check(CLI::Range(60.0, 130.0))
      ->option_text("DB");
  command.add_option("--meter", options.meter_db, "what a hand-held meter shows, C weighted, slow")
      ->expected(0, 1)
      ->check(CLI::Range(20.0, 130.0))
      ->option_text("[DB]");
  command.add_option("--speaker", options.speaker, "which one plays the noise for --meter; else the first main")
      ->option_text("LABEL");
  command.add_option("--level-dbfs", options.level_dbfs, "peak level of the noise in dB, 0 = full scale")
      ->check(CLI::Range(-80.0, -6.0))
      ->option_text("DB")
      ->capture_default_str();
  command.add_flag("--loud", options.loud, "allow more than 85 dB(A) at the microphone");
  command.add_option("--seconds", options.seconds, "how long to record")
      ->check(CLI::Range(2.0, 60.0))
      ->option_text("S")
      ->capture_default_str();
  command.add_flag("--yes", options.yes, "leave the caution before the first sound out");
  command.add_flag("--json", options.json, "print the result as JSON");
}

}  // namespace

Command add_level_command(CLI::App& program) {
  const auto options = std::make_shared<LevelOptions>();
  CLI::App& command = *program.add_subcommand("level", "make levels dB SPL, by a calibrator or a meter");
  add_options(command, *options);
  command.footer(level_footer);
  return {&command, [options, &command] { return run(command, *options); }};
}

}  // namespace ringtrue::app
