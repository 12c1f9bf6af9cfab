#include "room.hpp"

#include <algorithm>
#include <cmath>

namespace ringtrue {
namespace {

/// Mean of what is there, and how many that are.
class Mean {
 public:
  void add(const std::optional<double>& value) {
    if (!value) return;
    sum_ += *value;
    squares_ += *value * *value;
    ++count_;
  }
  [[nodiscard]] int count() const { return count_; }
  [[nodiscard]] std::optional<double> value() const { return count_ > 0 ? std::optional{sum_ / count_} : std::nullopt; }
  /// Standard deviation of the mean from the scatter; empty with fewer than three.
  [[nodiscard]] std::optional<double> uncertainty() const {
    if (count_ < 3) return {};
    const double variance = std::max(0.0, squares_ - sum_ * sum_ / count_) / (count_ - 1);
    return std::sqrt(variance / count_);
  }

 private:
  double sum_ = 0.0;
  double squares_ = 0.0;
  int count_ = 0;
};

struct BandMeans {
  double centre_hz = 0.0;
  Mean early, late, curvature, clarity_50, clarity_80, centre_time;
};

/// One standard deviation of a T30 of one response in the diffuse field: 0.59 T / sqrt(B T), the 0.55 sqrt(1.52 / n +
/// 1) of ISO 3382-2 with n = 10 for an integrated response (from memory; decaying noise scatters a little less).
double expected_deviation_s(double T_s, double centre_hz, double width_share, int responses) {
  return 0.59 * std::sqrt(T_s / (centre_hz * width_share * responses));
}

class DecayMeans {
 public:
  explicit DecayMeans(double width_share) : width_share_{width_share} {}

  void add(std::span<const BandDecay> bands) {
    for (const BandDecay& band : bands) {
      auto at = std::ranges::find_if(means_, [&](const BandMeans& m) { return m.centre_hz >= 0.99 * band.centre_hz; });
      if (at == means_.end() || at->centre_hz > 1.01 * band.centre_hz)
        at = means_.insert(at, BandMeans{band.centre_hz, {}, {}, {}, {}, {}, {}});
      at->early.add(band.early_s);
      at->late.add(ringtrue::reverberation_s(band));
      at->curvature.add(ringtrue::curvature_percent(band));
      at->clarity_50.add(band.clarity_50_db);
      at->clarity_80.add(band.clarity_80_db);
      at->centre_time.add(band.centre_time_s);
    }
  }

  [[nodiscard]] std::vector<DecayBand> bands() const {
    std::vector<DecayBand> result;
    for (const BandMeans& m : means_) {
      DecayBand band{.centre_hz = m.centre_hz,
                     .early_s = m.early.value(),
                     .reverberation_s = m.late.value(),
                     .uncertainty_s = m.late.uncertainty(),
                     .curvature_percent = m.curvature.value(),
                     .clarity_50_db = m.clarity_50.value(),
                     .clarity_80_db = m.clarity_80.value(),
                     .centre_time_ms = m.centre_time.value(),
                     .responses = m.late.count()};
      if (band.centre_time_ms) *band.centre_time_ms *= 1e3;
      if (band.reverberation_s && !band.uncertainty_s) {
        band.uncertainty_s = expected_deviation_s(*band.reverberation_s, m.centre_hz, width_share_, band.responses);
      }
      result.push_back(band);
    }
    return result;
  }

 private:
  double width_share_;
  std::vector<BandMeans> means_;  // ascending
};

constexpr double octave_share = 0.7048;  // of the centre: G^(1/2) - G^(-1/2)
constexpr double third_share = 0.2308;

void set_decay(std::span<const PositionMeasurement> positions, Calibration& calibration) {
  DecayMeans octaves{octave_share};
  DecayMeans thirds{third_share};
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    DecayMeans own{octave_share};
    for (const PositionMeasurement& position : positions) {
      const SpeakerMeasurement& measured = position.speakers[s];
      if (!measured.heard || !measured.trusted) continue;
      own.add(measured.decays.octaves);
      octaves.add(measured.decays.octaves);
      thirds.add(measured.decays.third_octaves);
    }
    calibration.speakers[s].measured.room.octaves = own.bands();
  }
  calibration.room.octaves = octaves.bands();
  calibration.room.third_octaves = thirds.bands();
}

}  // namespace

std::optional<double> mid_reverberation_s(std::span<const DecayBand> octaves) {
  Mean mean;
  for (const DecayBand& band : octaves) {
    if (band.centre_hz > 450.0 && band.centre_hz < 1'100.0) mean.add(band.reverberation_s);
  }
  return mean.count() == 2 ? mean.value() : std::nullopt;
}

void set_room(const Rig& rig, std::span<const PositionMeasurement> positions, std::optional<double> full_scale_db_spl,
              Calibration& calibration) {
  const double c = speed_of_sound(Celsius{rig.room.temperature_c}).value();
  set_decay(positions, calibration);
  for (std::size_t s = 0; s < calibration.speakers.size(); ++s) {
    const SpeakerMeasurement& here = positions.front().speakers[s];
    if (!here.heard || !here.trusted) continue;
    SpeakerRoom& room = calibration.speakers[s].measured.room;
    room.harmonics = here.harmonics;
    for (const Reflection& reflection : here.reflections) {
      room.reflections.push_back({reflection.delay_ms, 1e-3 * reflection.delay_ms * c, reflection.level_db, {}});
    }
  }
  if (rig.room.size_m) {
    name_surfaces(rig, calibration);
    const auto& [length, width, height] = *rig.room.size_m;
    if (const auto T = mid_reverberation_s(calibration.room.octaves)) {
      calibration.room.schroeder_hz = 2'000.0 * std::sqrt(*T / (length * width * height));
    }
  }
  calibration.room.noise = positions.front().noise;
  if (full_scale_db_spl) calibration.room.noise_rating = noise_rating(calibration.room.noise, *full_scale_db_spl);
}

}  // namespace ringtrue
