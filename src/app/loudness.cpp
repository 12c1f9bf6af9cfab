#include "loudness.hpp"

#include <fmt/format.h>

#include <cmath>

#include "conversation.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/live/session.hpp"

namespace ringtrue::app {

void consent_to_loudness(const Rig& rig, const LevelCheck& check, double peak_dbfs, bool loud,
                         const std::string& what) {
  const auto predicted = predicted_dba(rig, check, peak_dbfs);
  if (!predicted || *predicted <= loud_dba || loud) return;
  const std::string how_loud = fmt::format("{} would reach {:.0f} dB(A) at the microphone", what, *predicted);
  if (Conversation::somebody_is_there()) {
    const auto answer = Conversation::ask(
        fmt::format("Careful: {}; {:.0f} is the limit for a day's work. Leave the room, or type yes to play them:",
                    how_loud, loud_dba),
        {});
    if (answer == "yes") return;
  }
  const double quieter_dbfs = std::floor(peak_dbfs - (*predicted - loud_dba));
  throw InvalidInput{
      "--level-dbfs", fmt::format("{}, more than {:.0f}", how_loud, loud_dba),
      fmt::format("turn the monitors down, give --level-dbfs {:.0f}, or allow it with --loud", quieter_dbfs)};
}

}  // namespace ringtrue::app
