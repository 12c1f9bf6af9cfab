#include "readers.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>

#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/capture/microphone_response_file.hpp"
#include "ringtrue/capture/virtual_room.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"
#include "sound_reader.hpp"

namespace ringtrue::fuzz {
namespace {

void promise(bool kept, const char* what) {
  if (!kept) throw BrokenPromise{what};
}

/// Runs `read`; true when it took its input, false when it refused it properly.
template <class Read>
bool takes(const Read& read) {
  try {
    read();
    return true;
  } catch (const InvalidInput& refusal) {
    const std::string_view words = refusal.what();
    promise(std::ranges::none_of(words, [](char c) { return c == '\n' || c == '\r' || c == '\0'; }),
            "a refusal is one line");
    return false;
  }
}

bool withstand_rig(std::string_view text) {
  Rig rig;
  if (!takes([&] { rig = parse_rig(text, "rig.toml"); })) return false;
  promise(parse_rig(format_rig(rig), "rig.toml") == rig, "a rig is read back equal from what its writer made of it");
  return true;
}

bool withstand_room(std::string_view text) {
  static const Rig rig = parse_rig(
      "layout = \"7.1.4\"\n[[speaker]]\nlabel = \"L\"\noutput = 1\n[[speaker]]\nlabel = \"R\"\noutput = 2\n"
      "[[speaker]]\nlabel = \"LFE\"\noutput = 3\n",
      "rig.toml");
  return takes([&] { (void)parse_virtual_room(text, "room.toml", rig); });
}

bool withstand_microphone(std::string_view bytes) {
  MicrophoneResponse microphone;
  if (!takes([&] { microphone = parse_microphone_response(bytes, "microphone.txt").response; })) return false;
  const auto& [frequencies_hz, gains_db, phases_deg, sensitivity] = microphone;
  const auto is_finite = [](double value) { return std::isfinite(value); };
  promise(frequencies_hz.size() >= 2 && frequencies_hz.front() > 0.0, "a curve has two points above 0 Hz");
  promise(std::ranges::adjacent_find(frequencies_hz, std::greater_equal{}) == frequencies_hz.end(), "in rising order");
  promise(gains_db.size() == frequencies_hz.size(), "as many levels as frequencies");
  promise(phases_deg.empty() || phases_deg.size() == frequencies_hz.size(), "no phases or as many");
  promise(std::ranges::all_of(frequencies_hz, is_finite) && std::ranges::all_of(gains_db, is_finite) &&
              std::ranges::all_of(phases_deg, is_finite) && (!sensitivity || is_finite(sensitivity->value)),
          "numbers are finite");
  return true;
}

bool withstand_calibration(std::string_view text) {
  std::string written;
  if (!takes([&] { written = format_calibration(parse_calibration(text, "calibration.json")); })) return false;
  // The writer rounds to the digits that carry meaning; what it has written once must never move again.
  promise(format_calibration(parse_calibration(written, "calibration.json")) == written,
          "a calibration is read back equal from what its writer made of it");
  return true;
}

bool withstand_sound(std::string_view bytes) {
  static SoundReaderInMemory reader;
  reader.hold(bytes);
  const bool taken =
      takes([&] { promise(reader.sound_is_whole(), "channels are equally long and every sample is finite"); });
  takes([&] { promise(reader.recording_is_whole(0), "a recording is finite"); });
  takes([&] { promise(reader.recording_is_whole(2), "a loopback is as long as its recording"); });
  takes([&] { reader.read_as_stimulus(); });
  return taken;
}

constexpr std::array all_readers{Reader{"rig", withstand_rig}, Reader{"room", withstand_room},
                                 Reader{"microphone", withstand_microphone},
                                 Reader{"calibration", withstand_calibration}, Reader{"sound", withstand_sound}};

}  // namespace

std::span<const Reader> readers() { return all_readers; }

}  // namespace ringtrue::fuzz
