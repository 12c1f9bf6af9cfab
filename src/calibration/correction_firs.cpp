#include "ringtrue/calibration/correction_firs.hpp"

#include <algorithm>
#include <cmath>

#include "heard_responses.hpp"

namespace ringtrue {
namespace {

constexpr double target_points_per_octave = 96.0;
constexpr double target_from_hz = 5.0;

GainCurve curve_of(const Calibration& calibration, const SpeakerResult& speaker) {
  GainCurve curve;
  if (speaker.correction && !speaker.correction->fir_gain_db.empty()) {
    return {calibration.correction->fir_frequency_hz, speaker.correction->fir_gain_db};
  }
  const double rate_hz = calibration.rig.interface.sample_rate_hz;
  for (double f = target_from_hz; f < 0.5 * rate_hz; f *= std::exp2(1.0 / target_points_per_octave))
    curve.frequency_hz.push_back(f);
  curve.gain_db = gain_db(speaker.settings.equaliser, curve.frequency_hz, Hertz{rate_hz});
  return curve;
}

/// Mixed phase cuts a little off the response's start: the sum must stay below the limit all the same.
void keep_below(Fir& fir, double most_db) {
  const double excess_db = largest_gain_db(fir) - most_db;
  if (excess_db <= 0.0) return;
  for (double& tap : fir.taps) tap *= std::pow(10.0, -excess_db / 20.0);
}

}  // namespace

std::vector<Fir> correction_firs(const Calibration& calibration, std::size_t taps,
                                 std::span<const PositionMeasurement> positions) {
  const auto& common = calibration.correction;
  if (common && common->fir_taps > 0) taps = static_cast<std::size_t>(common->fir_taps);
  const bool mixed = common && common->fir_mixed_phase && !positions.empty();
  const Hertz rate{calibration.rig.interface.sample_rate_hz};
  std::vector<Fir> firs;
  std::size_t delay = 0;
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerResult& speaker = calibration.speakers[s];
    const GainCurve curve = curve_of(calibration, speaker);
    const auto heard = mixed ? heard_responses(calibration.rig, positions, s) : std::vector<HeardResponse>{};
    const bool as_main = speaker.kind == SpeakerKind::main && speaker.correction && !heard.empty();
    firs.push_back(as_main ? mixed_phase_fir(curve, heard.front(), {}, taps, rate)
                           : minimum_phase_fir(curve, taps, rate));
    if (as_main) keep_below(firs.back(), std::max(0.0, calibration.rig.interface.eq_gain_range_db[1]));
    delay = std::max(delay, firs.back().delay);
  }
  for (Fir& fir : firs) {  // all with the delay of the mixed-phase ones
    const auto by = static_cast<std::ptrdiff_t>(delay - fir.delay);
    std::shift_right(fir.taps.begin(), fir.taps.end(), by);
    std::fill_n(fir.taps.begin(), by, 0.0);
    fir.delay = delay;
  }
  return firs;
}

}  // namespace ringtrue
