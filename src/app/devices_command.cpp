#include <fmt/format.h>

#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>

#include "command.hpp"
#include "console.hpp"
#include "program.hpp"
#include "ringtrue/device/device_card.hpp"
#include "ringtrue/device/devices.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::app {
namespace {

struct DevicesOptions {
  std::string rig;
  bool json = false;
};

constexpr const char* devices_footer =
    R"(Give the name in the first column to --device. A plain name without the word
before the colon does where only one device has it.

Examples:
  ringtrue devices
  ringtrue devices --rig rig.toml      which of them can play this rig)";

/// Why a device cannot play the rig; empty: it can.
std::string obstacle(const DeviceInfo& device, const Rig& rig) {
  if (device.outputs < channel_count(rig)) return fmt::format("too few outputs, {} needed", channel_count(rig));
  if (device.inputs < 1) return "no input for the microphone";
  const double rate = rig.interface.sample_rate_hz;
  if (std::ranges::count(device.rates_hz, rate) == 0) return fmt::format("not at {:.0f} Hz", rate);
  return {};
}

std::string rates_in_words(const DeviceInfo& device) {
  std::string text;
  for (const double rate : device.rates_hz) text += (text.empty() ? "" : " ") + fmt::format("{:.4g}", rate / 1e3);
  return text.empty() ? "none" : text + " kHz";
}

std::string describe(const DeviceInfo& device, const std::optional<Rig>& rig) {
  std::string text = fmt::format("{}\n    {} out, {} in, {}\n", text::printable(full_name(device)), device.outputs,
                                 device.inputs, rates_in_words(device));
  if (!device.caution.empty()) text += text::wrapped(device.caution, "    ");
  if (!rig) return text;
  const std::string why_not = obstacle(device, *rig);
  return text + (why_not.empty() ? "    can play this rig\n" : "    cannot play this rig: " + why_not + '\n');
}

std::string as_text(const std::vector<DeviceInfo>& devices, const std::optional<Rig>& rig) {
  if (devices.empty()) {
    return text::wrapped(
        "No audio device was found. Connect the interface and switch it on; on Linux, start the JACK server if it is "
        "used through JACK.");
  }
  std::string text;
  for (const DeviceInfo& device : devices) text += describe(device, rig);
  return text;
}

std::string as_json(const std::vector<DeviceInfo>& devices, const std::optional<Rig>& rig) {
  using Json = nlohmann::ordered_json;
  Json list = Json::array();
  for (const DeviceInfo& device : devices) {
    Json entry{{"device", full_name(device)},
               {"name", device.name},
               {"host_api", device.title},
               {"outputs", device.outputs},
               {"inputs", device.inputs},
               {"default_sample_rate_hz", device.default_rate_hz},
               {"sample_rates_hz", device.rates_hz},
               {"caution", device.caution.empty() ? Json{} : Json(device.caution)}};
    if (rig) {
      const std::string why_not = obstacle(device, *rig);
      entry["can_play_rig"] = why_not.empty();
      entry["obstacle"] = why_not.empty() ? Json{} : Json(why_not);
    }
    list.push_back(std::move(entry));
  }
  return Json{{"devices", std::move(list)}}.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

int run(const DevicesOptions& options) {
  std::optional<Rig> rig;
  if (!options.rig.empty()) rig = read_rig(options.rig);
  const std::vector<DeviceInfo> devices = list_devices(running_program());
  print_result(options.json ? as_json(devices, rig) : as_text(devices, rig));
  return done;
}

}  // namespace

Command add_devices_command(CLI::App& program) {
  const auto options = std::make_shared<DevicesOptions>();
  CLI::App& command = *program.add_subcommand("devices", "list the audio devices, their channels and rates");
  command.add_option("--rig", options->rig, "say which devices can play this rig")->option_text("RIG.toml");
  command.add_flag("--json", options->json, "print the list as JSON");
  command.footer(devices_footer);
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
