#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>

#include "command.hpp"
#include "console.hpp"
#include "conversation.hpp"
#include "loudness.hpp"
#include "program.hpp"
#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/device/device_card.hpp"
#include "ringtrue/device/stop_request.hpp"
#include "ringtrue/live/line_check.hpp"
#include "ringtrue/live/session.hpp"
#include "ringtrue/live/take_monitor.hpp"
#include "ringtrue/live/virtual_card.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::app {
namespace {

struct LinecheckOptions {
  std::string rig;
  std::string device;
  std::string virtual_room;
  std::vector<std::string> speakers;
  double level_dbfs = LineOptions{}.peak.value();
  bool loud = false;
  int input_channel = 1;
  int loopback_channel = 0;
  unsigned threads = 0;
  bool yes = false;
  bool json = false;
};

constexpr const char* linecheck_footer =
    R"(Plays two short quiet bursts on each output of the rig, in order, and says what
the microphone hears of it: a minute that saves the hour in which a dead cable
is found at the end. Put the microphone at the ear point and leave the ring.

  heard      yes, no, bass only, or not sure (it is too noisy to tell)
  level      what a full-scale output gives at the microphone, dB, 500 Hz-2 kHz
             (a sub: 30-80 Hz)
  polarity   + or - : which way the woofer moves; ? : this burst does not tell

Walk to what is silent, put it right, and play it again with --speaker.

Examples:
  ringtrue linecheck rig.toml --device jack:room
  ringtrue linecheck rig.toml --virtual room.toml
  ringtrue linecheck rig.toml --device jack:room --speaker Lss)";

const char* heard_word(const SpeakerMeasurement& measured) {
  if (measured.heard) return "yes";
  if (measured.bass_only) return "bass only";
  return measured.trusted ? "no" : "not sure";
}

const char* sign_word(const SpeakerMeasurement& measured) {
  if (!measured.heard) return "";
  switch (measured.sign) {
    case WooferSign::positive: return "+";
    case WooferSign::negative: return "-";
    case WooferSign::unsure: return "?";
  }
  return "?";
}

constexpr std::size_t label_columns = 14;

std::string heading() {
  std::string text = fmt::format("{:>4}  {}  {:<9}  {:>8}  {:>10}  {}\n", "Out", text::padded("Speaker", label_columns),
                                 "Heard", "Level dB", "Over noise", "Polarity");
  return text + std::string(text.size() - 1, '-') + '\n';
}

std::string row(const Speaker& speaker, const SpeakerMeasurement& measured) {
  const std::string level = measured.level_db ? fmt::format("{:.1f}", measured.level_db->value + 0.0) : "";
  const std::string over = measured.heard ? fmt::format("{:.0f} dB", measured.signal_to_noise_db) : "";
  std::string text = fmt::format("{:>4}  {}  {:<9}  {:>8}  {:>10}  {}", speaker.output,
                                 text::padded(text::printable(speaker.label), label_columns), heard_word(measured),
                                 level, over, sign_word(measured));
  text.erase(text.find_last_not_of(' ') + 1);
  return text + '\n';
}

std::string findings_text(const Findings& findings) {
  if (findings.empty()) return "\nEvery output that was played is heard.\n";
  std::string text = "\n";
  for (const Finding& finding : findings) {
    text += text::wrapped(text::printable(fmt::format("{} [{}]", finding.message, finding.code)), "  * ");
  }
  return text;
}

std::string as_json(const Rig& rig, const LineCheck& lines, const PositionMeasurement& judged) {
  using Json = nlohmann::ordered_json;
  Json list = Json::array();
  for (const std::size_t s : by_output(rig)) {
    if (!lines.checked(s)) continue;
    const SpeakerMeasurement& measured = judged.speakers[s];
    const bool sure = measured.heard && measured.sign != WooferSign::unsure;
    const bool inverted = std::ranges::any_of(judged.findings, [&](const Finding& finding) {
      return finding.code == "inverted-polarity" && finding.speaker == rig.speakers[s].label;
    });
    list.push_back({{"output", rig.speakers[s].output},
                    {"label", rig.speakers[s].label},
                    {"heard", measured.heard},
                    {"status", measured.heard                              ? "ok"
                               : heard_word(measured) == std::string{"no"} ? "silent"
                                                                           : "unreliable"},
                    {"level_db", measured.level_db ? Json(measured.level_db->value) : Json{}},
                    {"signal_to_noise_db", measured.heard ? Json(measured.signal_to_noise_db) : Json{}},
                    {"polarity", inverted ? "inverted"
                                 : sure   ? "normal"
                                          : "unsure"}});
  }
  Json findings = Json::array();
  for (const Finding& finding : judged.findings) {
    findings.push_back({{"severity", name(finding.severity)},
                        {"code", finding.code},
                        {"speaker", finding.speaker ? Json(*finding.speaker) : Json{}},
                        {"message", finding.message}});
  }
  return Json{{"schema", "ringtrue.linecheck/1"}, {"lines", std::move(list)}, {"findings", std::move(findings)}}.dump(
             2, ' ', false, Json::error_handler_t::replace) +
         '\n';
}

std::vector<std::size_t> speakers_to_check(const Rig& rig, const LinecheckOptions& options) {
  std::vector<std::size_t> order = by_output(rig);
  if (options.speakers.empty()) return order;
  const auto wanted = [&](const std::string& name, std::size_t s) {
    return name == rig.speakers[s].label || name == fmt::format("{}", rig.speakers[s].output);
  };
  for (const std::string& name : options.speakers) {
    if (std::ranges::any_of(order, [&](std::size_t s) { return wanted(name, s); })) continue;
    throw InvalidInput{"--speaker", "the rig has no speaker or output " + name, "give a label or an output of the rig"};
  }
  std::erase_if(order, [&](std::size_t s) {
    return std::ranges::none_of(options.speakers, [&](const std::string& name) { return wanted(name, s); });
  });
  return order;
}

/// Plays, judges and prints output after output.
class Walk {
 public:
  Walk(const Rig& rig, const LinecheckOptions& options, Card& card)
      : rig_{rig}, options_{options}, card_{card}, lines_{rig, options.threads} {
    bursts_.peak = Decibels{options.level_dbfs};
    bursts_.allow_loud = options.loud;
    if (options.device.empty()) bursts_.lead_in = Seconds{0.7};  // a virtual recorder may start half a second late
  }

  [[nodiscard]] Stimulus burst(std::size_t speaker) const { return plan_line_burst(rig_, speaker, bursts_); }

  void check(const std::vector<std::size_t>& speakers, const LevelCheck* level) {
    for (const std::size_t s : speakers) {
      const Stimulus stimulus = burst(s);
      Take take;
      if (level != nullptr) {
        TakeMonitor monitor{stimulus, *level, card_.name()};
        take = card_.play(stimulus, [&monitor](const HeardSoFar& heard) { return monitor(heard); });
      } else {
        take = card_.play(stimulus, {});
      }
      const SpeakerMeasurement& heard = lines_.hear(s, stimulus, take.recording);
      if (!options_.json) print_result(row(rig_.speakers[s], heard));
    }
  }

  [[nodiscard]] const LineCheck& lines() const { return lines_; }

 private:
  const Rig& rig_;
  const LinecheckOptions& options_;
  Card& card_;
  LineOptions bursts_;
  LineCheck lines_;
};

void repeat_on_request(const Rig& rig, Walk& walk, const LevelCheck& level) {
  while (Conversation::somebody_is_there()) {
    const auto answer = Conversation::ask("Play which output again? Its label or number; Enter: done.", {});
    if (!answer || answer->empty()) return;
    LinecheckOptions asked;
    asked.speakers = {*answer};
    try {
      walk.check(speakers_to_check(rig, asked), &level);
    } catch (const InvalidInput& error) {
      Conversation::say(error.what());
    }
  }
}

int finish(const Rig& rig, const LinecheckOptions& options, const Walk& walk) {
  const PositionMeasurement judged = walk.lines().judged();
  print_result(options.json ? as_json(rig, walk.lines(), judged) : findings_text(judged.findings));
  return needs_attention(judged.findings) ? needs_eyes : done;
}

int run_virtual(const Rig& rig, const LinecheckOptions& options) {
  VirtualCard card{read_virtual_room(options.virtual_room, rig), rig, options.threads};
  Walk walk{rig, options, card};
  if (!options.json) print_result(heading());
  walk.check(speakers_to_check(rig, options), nullptr);
  return finish(rig, options, walk);
}

int run_live(const Rig& rig, const LinecheckOptions& options) {
  const StopRequest stop;
  const auto speakers = speakers_to_check(rig, options);
  const Decibels limit{options.level_dbfs};
  DeviceCardOptions wanted;
  wanted.device = options.device;
  wanted.input_channel = options.input_channel;
  wanted.loopback_channel = options.loopback_channel;
  wanted.ceiling = limit;
  wanted.program = running_program();
  LineOptions bursts;
  bursts.peak = limit;
  bursts.allow_loud = options.loud;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) make_room_for(plan_line_burst(rig, s, bursts), wanted);
  make_room_for(longest_level_check(rig, limit), wanted);
  DeviceCard card{rig, wanted};
  Conversation{options.yes}.caution_before_sound();
  const CheckedLevel level = check_level(card, rig, limit, false);
  consent_to_loudness(rig, level.check, options.level_dbfs, options.loud, "the bursts");
  Walk walk{rig, options, card};
  if (!options.json) print_result(heading());
  walk.check(speakers, &level.check);
  if (!options.json) repeat_on_request(rig, walk, level.check);
  return finish(rig, options, walk);
}

int run(const CLI::App& command, const LinecheckOptions& options) {
  if (options.device.empty() == options.virtual_room.empty()) {
    throw CLI::ValidationError{"give one source: --device NAME or --virtual ROOM.toml"};
  }
  if (!options.virtual_room.empty() && (command.count("--input-channel") + command.count("--loopback-channel") > 0)) {
    throw CLI::ValidationError{"--input-channel and --loopback-channel are for --device: a virtual room has its own"};
  }
  if (options.loopback_channel == options.input_channel) {
    throw CLI::ValidationError{"--loopback-channel and --input-channel are the same channel"};
  }
  const Rig rig = read_rig(options.rig);
  return options.device.empty() ? run_virtual(rig, options) : run_live(rig, options);
}

}  // namespace

Command add_linecheck_command(CLI::App& program) {
  const auto options = std::make_shared<LinecheckOptions>();
  CLI::App& command = *program.add_subcommand("linecheck", "a short quiet burst per output: which outputs speak");
  command.add_option("rig", options->rig, "the rig")->option_text("RIG.toml")->required();
  command.add_option("--device", options->device, "play and record with this device")->option_text("NAME");
  command.add_option("--virtual", options->virtual_room, "or in this simulated room")->option_text("ROOM.toml");
  command.add_option("--speaker", options->speakers, "only this one, by label or output number (repeat the option)")
      ->option_text("LABEL")
      ->allow_extra_args(false);
  command.add_option("--level-dbfs", options->level_dbfs, "peak level of the bursts in dB, 0 = full scale")
      ->check(CLI::Range(-80.0, 0.0))
      ->option_text("DB")
      ->capture_default_str();
  command.add_flag("--loud", options->loud,
                   "allow peak levels above -6 dBFS, and more than 85 dB(A) at the microphone");
  command.add_option("--input-channel", options->input_channel, "input of the microphone")
      ->check(CLI::Range(1, 1024))
      ->option_text("N")
      ->capture_default_str();
  command.add_option("--loopback-channel", options->loopback_channel, "input of the electrical loopback")
      ->check(CLI::Range(1, 1024))
      ->option_text("N");
  command.add_option("--threads", options->threads, "how many threads, 0: one per core")
      ->check(CLI::Range(0, 1024))
      ->option_text("N")
      ->capture_default_str();
  command.add_flag("--yes", options->yes, "leave the caution before the first sound out");
  command.add_flag("--json", options->json, "print the result as JSON");
  command.footer(linecheck_footer);
  return {&command, [options, &command] { return run(command, *options); }};
}

}  // namespace ringtrue::app
