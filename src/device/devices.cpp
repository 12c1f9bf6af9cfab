#include "ringtrue/device/devices.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr std::string_view wireless_caution = "wireless or telephone quality: not for measuring";

/// Length of the UTF-8 sequence at the start, 0 where there is none.
std::size_t sequence_length(std::string_view bytes) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(bytes[i]); };
  const unsigned char first = byte(0);
  if (first >= 0x20U && first < 0x7FU) return 1;
  const std::size_t length = first >= 0xC2U && first < 0xE0U   ? 2
                             : first >= 0xE0U && first < 0xF0U ? 3
                             : first >= 0xF0U && first < 0xF5U ? 4
                                                               : 0;
  if (length == 0 || bytes.size() < length) return 0;
  for (std::size_t i = 1; i < length; ++i) {
    if ((byte(i) & 0xC0U) != 0x80U) return 0;
  }
  const bool overlong = (first == 0xE0U && byte(1) < 0xA0U) || (first == 0xF0U && byte(1) < 0x90U);
  const bool surrogate = first == 0xEDU && byte(1) >= 0xA0U;
  return overlong || surrogate || (first == 0xF4U && byte(1) >= 0x90U) ? 0 : length;
}

std::string lower(std::string_view text) {
  std::string result{text};
  std::ranges::transform(result, result.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return result;
}

std::string list_of(const std::vector<DeviceInfo>& devices) {
  std::string text;
  for (const DeviceInfo& device : devices) text += (text.empty() ? "" : ", ") + full_name(device);
  return text.empty() ? "no audio device at all" : text;
}

/// The library counts the ports of every JACK client whose name ends in the one asked for.
void refuse_tails(const std::vector<DeviceInfo>& devices, const DeviceInfo& wanted) {
  if (wanted.api != "jack") return;
  for (const DeviceInfo& other : devices) {
    if (other.api != "jack" || other.name == wanted.name || !other.name.ends_with(wanted.name)) continue;
    throw InvalidInput{
        full_name(wanted),
        fmt::format("its channels cannot be told from those of {}, whose name ends alike", full_name(other)),
        "rename one of the two, or close the other program"};
  }
}

}  // namespace

std::string full_name(const DeviceInfo& device) { return device.api + ':' + device.name; }

std::size_t find_device(const std::vector<DeviceInfo>& devices, std::string_view name) {
  std::vector<std::size_t> found;
  for (std::size_t i = 0; i < devices.size(); ++i) {
    if (full_name(devices[i]) == name || devices[i].name == name) found.push_back(i);
  }
  if (found.empty()) {
    throw DeviceError{fmt::format("--device {}", name),
                      "there is no such audio device (there is " + list_of(devices) + ")",
                      "connect it and switch it on, or take a name from 'ringtrue devices'"};
  }
  if (found.size() > 1) {
    std::string names;
    for (const std::size_t i : found) names += (names.empty() ? "" : ", ") + full_name(devices[i]);
    throw InvalidInput{fmt::format("--device {}", name), "several devices are called so (" + names + ")",
                       "give one of these names, or unplug one of two alike"};
  }
  refuse_tails(devices, devices[found.front()]);
  return found.front();
}

std::string readable_name(std::string_view bytes) {
  std::string text;
  while (!bytes.empty()) {
    if (const std::size_t length = sequence_length(bytes); length > 0) {
      text += bytes.substr(0, length);
      bytes.remove_prefix(length);
    } else {
      text += fmt::format("\\x{:02X}", static_cast<unsigned char>(bytes.front()));
      bytes.remove_prefix(1);
    }
  }
  return text;
}

void refuse_wireless(const DeviceInfo& device) {
  if (device.caution != wireless_caution) return;
  throw DeviceError{full_name(device), "is a wireless link or of telephone quality: its delay jumps, its band is cut",
                    "choose a device that is connected by a cable"};
}

std::string caution_about(std::string_view api, std::string_view name, double default_rate_hz) {
  const std::string plain = lower(name);
  const auto holds = [&](std::string_view word) { return plain.find(word) != std::string::npos; };
  if (holds("bluetooth") || holds("hands-free") || (default_rate_hz > 0.0 && default_rate_hz < 32'000.0)) {
    return std::string{wireless_caution};
  }
  constexpr std::array<std::string_view, 8> mixers{"default", "sysdefault", "pulse",  "pipewire",
                                                   "dmix",    "plug",       "dsnoop", "aggregate"};
  const bool shared = api == "alsa" && std::ranges::any_of(mixers, holds);
  if (shared || api == "mme" || api == "directsound" || (api == "coreaudio" && holds("aggregate"))) {
    return "a mixer that may convert the rate and the channels: choose the device itself, JACK or ASIO";
  }
  return {};
}

}  // namespace ringtrue
