#include "ringtrue/device/devices.hpp"

#include <doctest/doctest.h>

#include <string>
#include <tuple>

#include "ringtrue/core/errors.hpp"

using namespace ringtrue;

namespace {

DeviceInfo device(const char* api, const char* name) {
  DeviceInfo result;
  result.api = api;
  result.name = name;
  return result;
}

}  // namespace

TEST_CASE("a device is found by its plain name where only one has it, else by its full name") {
  const std::vector<DeviceInfo> devices{device("alsa", "desk"), device("jack", "room"), device("jack", "desk")};
  CHECK(find_device(devices, "room") == 1);
  CHECK(find_device(devices, "jack:desk") == 2);
  CHECK(find_device(devices, "alsa:desk") == 0);
  CHECK_THROWS_WITH_AS(
      (void)find_device(devices, "desk"),
      "--device desk: several devices are called so (alsa:desk, jack:desk); give one of these names, or "
      "unplug one of two alike",
      InvalidInput);
  CHECK_THROWS_AS((void)find_device(devices, "rooms"), DeviceError);
  CHECK_THROWS_AS((void)find_device({}, "room"), DeviceError);
}

TEST_CASE("a name that ends another one's is refused where the library mixes up their channels") {
  // Measured with PortAudio 19.6.0 on JACK: `room` also counts the ports of `myroom`.
  CHECK_THROWS_AS((void)find_device({device("jack", "room"), device("jack", "myroom")}, "room"), InvalidInput);
  CHECK(find_device({device("jack", "room"), device("jack", "myroom")}, "myroom") == 1);
  CHECK(find_device({device("alsa", "room"), device("alsa", "myroom")}, "room") == 0);
}

TEST_CASE("names from the audio library come out as printable UTF-8") {
  CHECK(readable_name("Schr\xC3\xB6"
                      "der 8") ==
        "Schr\xC3\xB6"
        "der 8");
  CHECK(readable_name("caf\xE9") == "caf\\xE9");             // Latin-1
  CHECK(readable_name("cut \xE2\x82") == "cut \\xE2\\x82");  // a sequence cut at 31 bytes
  CHECK(readable_name("a\nb\x1b") == "a\\x0Ab\\x1B");
}

TEST_CASE("mixers and wireless links are told from devices") {
  CHECK(caution_about("alsa", "hw:1,0", 48e3).empty());
  CHECK(caution_about("jack", "room", 48e3).empty());
  CHECK(!caution_about("alsa", "default", 48e3).empty());
  CHECK(!caution_about("alsa", "pipewire", 48e3).empty());
  CHECK(!caution_about("coreaudio", "Headset", 16e3).empty());
  DeviceInfo device;
  for (const auto& [name, rate_hz, refused] :
       {std::tuple{"Bluetooth Headset", 48e3, true}, {"Headset", 16e3, true}, {"default", 48e3, false}}) {
    CAPTURE(name);
    device.caution = caution_about("alsa", name, rate_hz);
    if (refused) {
      CHECK_THROWS_AS(refuse_wireless(device), DeviceError);
    } else {
      CHECK_NOTHROW(refuse_wireless(device));
    }
  }
}
