#include "ringtrue/calibration/sound_pressure.hpp"

#include "ringtrue/alignment/reference_level.hpp"

namespace ringtrue {

std::optional<double> spl_offset_db(const Rig& rig) {
  if (!rig.microphone.full_scale_spl_db) return {};
  return *rig.microphone.full_scale_spl_db + reference_noise_dbfs;
}

const char* level_unit(const Rig& rig) { return rig.microphone.full_scale_spl_db ? "dB SPL" : "dB"; }

}  // namespace ringtrue
