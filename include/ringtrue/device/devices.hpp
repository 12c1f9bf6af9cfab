#pragma once

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace ringtrue {

/// An audio device as the audio library lists it.
struct DeviceInfo {
  std::string name;   // as the library has it; bytes that are no UTF-8 are written \xNN
  std::string api;    // short word for its host API: "jack", "alsa", "coreaudio", "wasapi", "asio" ...
  std::string title;  // the library's own name for that API
  int outputs = 0;
  int inputs = 0;
  double default_rate_hz = 0.0;
  std::vector<double> rates_hz;  // of 44.1 to 192 kHz, which it takes with all its channels
  std::string caution;           // why it may not do for measuring; empty: nothing known against it
};

/// "jack:room", which names one device whatever else there is.
[[nodiscard]] std::string full_name(const DeviceInfo& device);

/// The device of that name: a full name, or a plain one that only one device has.
/// @returns index into `devices`
/// @throws DeviceError   when there is none
/// @throws InvalidInput  when several are called so, or when the library may take another one's channels for its own
[[nodiscard]] std::size_t find_device(const std::vector<DeviceInfo>& devices, std::string_view name);

/// Bytes from the audio library as printable UTF-8.
[[nodiscard]] std::string readable_name(std::string_view bytes);

/// Why a device of that name and rate may not do for measuring: shared mixers and converters, wireless links.
[[nodiscard]] std::string caution_about(std::string_view api, std::string_view name, double default_rate_hz);

/// @throws DeviceError  for a wireless link, by its caution: nothing measured through it holds
void refuse_wireless(const DeviceInfo& device);

/// Lists all devices, asked for in a process of its own. @param program  see DeviceProcess  @throws DeviceError
[[nodiscard]] std::vector<DeviceInfo> list_devices(const std::filesystem::path& program);

}  // namespace ringtrue
