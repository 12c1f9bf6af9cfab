#include "ringtrue/response/fellows.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <numeric>
#include <span>

#include "crossed_bass.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/core/statistics.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "shared_bass.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t fewest_fellows = 3;
// Speakers of one ring lie within some 6 dB of each other in level and in the balance of treble and bass, with room and
// distance; a dead driver or a wrong gain makes more (common practice: some 10 dB).
constexpr double quiet_db = -8.0;
constexpr double unbalanced_db = 12.0;
constexpr double topless_db = 14.0;  // of the 8 kHz octave alone: a dead tweeter behind a gentle crossover

/// Each octave's median level over the mains that are heard, keyed by its whole centre in Hz.
std::map<long, double> usual_octaves(const Rig& rig, const PositionMeasurement& measurement) {
  std::map<long, std::vector<double>> levels;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (!is_main(rig.speakers[s]) || !measurement.speakers[s].heard) continue;
    for (const OctaveReading& octave : measurement.speakers[s].octaves) {
      levels[std::lround(octave.centre_hz)].push_back(octave.level_db);
    }
  }
  std::map<long, double> usual;
  for (auto& [centre, values] : levels) {
    if (values.size() >= fewest_fellows) usual[centre] = median(std::move(values));
  }
  return usual;
}

/// What is asked of an octave's level: the most or the least it may be, by two standard uncertainties.
enum class Bound { most, least };

constexpr double lost_db = -30.0;  // against the fellows; what is further down counts as this

double bound_db(const OctaveReading& octave, Bound bound) {
  if (!std::isfinite(octave.uncertainty_db)) return bound == Bound::most ? octave.level_db : -1e3;
  const double off = 2.0 * octave.uncertainty_db * std::numbers::ln10 / 10.0;  // as a share of the power
  const double share = bound == Bound::most ? 1.0 + off : 1.0 - off;
  return share > 0.0 ? octave.level_db + 10.0 * std::log10(share) : -1e3;
}

/// Mean difference to the usual over the octaves from `low_hz` to `high_hz`; an octave that is lost in noise counts as
/// its noise allows.
std::optional<double> difference_db(const SpeakerMeasurement& speaker, const std::map<long, double>& usual,
                                    double low_hz, double high_hz, Bound bound) {
  double sum = 0.0;
  double count = 0.0;
  for (const auto& [key, level_db] : usual) {
    const long centre = key;  // clang 14 does not capture a structured binding
    if (static_cast<double>(centre) < low_hz || static_cast<double>(centre) > high_hz) continue;
    const auto own = std::ranges::find_if(
        speaker.octaves, [&](const OctaveReading& octave) { return std::lround(octave.centre_hz) == centre; });
    sum += own != speaker.octaves.end() ? std::max(lost_db, bound_db(*own, bound) - level_db) : lost_db;
    count += 1.0;
  }
  if (count == 0.0) return {};
  return sum / count;
}

// IEC 61260-1: an octave reaches 10^0.15 to each side of its exact centre.
double octave_begin_hz(double centre_hz) { return centre_hz * std::pow(10.0, -0.15); }
double octave_end_hz(double centre_hz) { return centre_hz * std::pow(10.0, 0.15); }

/// True when a main's band holds the octaves that are compared: a narrow one is not dull, only narrow.
bool holds(const Speaker& speaker, double low_hz, double high_hz) {
  const Band flat = flat_band(speaker.band);  // beyond, no octave is read
  return flat.low.value() <= low_hz && flat.high.value() >= high_hz;
}

void add(PositionMeasurement& measurement, Severity severity, const char* code, const Speaker& speaker,
         std::string message) {
  measurement.findings.push_back({severity, code, speaker.label, std::move(message)});
}

void compare_levels(const Rig& rig, PositionMeasurement& measurement) {
  const auto usual = usual_octaves(rig, measurement);
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    SpeakerMeasurement& measured = measurement.speakers[s];
    const Speaker& speaker = rig.speakers[s];
    if (!is_main(rig.speakers[s]) || !measured.heard) continue;
    if (!holds(speaker, 300.0, octave_end_hz(7'943.3)) || !holds(speaker, octave_begin_hz(251.2), 1'000.0)) continue;
    const auto over = [&](double low_hz, double high_hz, Bound bound) {
      return difference_db(measured, usual, low_hz, high_hz, bound);
    };
    const auto treble = over(3'000.0, 9'000.0, Bound::most);
    const auto bass = over(200.0, 600.0, Bound::most);
    if (!treble || !bass) continue;
    // Noise may hide what is there, and be what is not: missing is what is so at the least.
    const double sure_bass = over(200.0, 600.0, Bound::least).value_or(lost_db);
    const double sure_treble = over(3'000.0, 9'000.0, Bound::least).value_or(lost_db);
    const double missing_db = sure_bass - *treble;
    const double missing_bass_db = sure_treble - *bass;
    const double missing_top_db = sure_bass - over(7'000.0, 9'000.0, Bound::most).value_or(sure_bass);
    if (missing_db > unbalanced_db || missing_top_db > topless_db) {
      measured.trusted = false;
      add(measurement, Severity::stop, "dull-speaker", speaker,
          fmt::format("{} (output {}) has {:.0f} dB less treble than its fellows: its tweeter may be dead or covered. "
                      "Listen to it closely, then measure again.",
                      speaker.label, speaker.output, std::max(missing_db, missing_top_db)));
    } else if (missing_bass_db > unbalanced_db) {
      measured.trusted = false;
      measured.sign = WooferSign::unsure;  // what still sounds is not the woofer
      add(measurement, Severity::stop, "thin-speaker", speaker,
          fmt::format(
              "{} (output {}) has {:.0f} dB less bass and middle than its fellows: its woofer may be dead, or a "
              "filter is on. Listen to it closely, then measure again.",
              speaker.label, speaker.output, missing_bass_db));
    } else if (std::max(*treble, *bass) < quiet_db) {
      measured.trusted = false;
      add(measurement, Severity::warn, "quiet-speaker", speaker,
          fmt::format(
              "{} (output {}) is {:.0f} dB quieter than its fellows: turn up its input gain, or check its cable, "
              "then measure again.",
              speaker.label, speaker.output, -0.5 * (*treble + *bass)));
    }
  }
}

/// Not heard is not silent where the noise would have hidden the fellows as well.
void doubt_silence(const Rig& rig, PositionMeasurement& measurement) {
  constexpr double plain_db = 10.0;  // the limit must lie this far under the fellows to call one silent
  std::vector<double> heights;
  std::vector<double> levels;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    const SpeakerMeasurement& measured = measurement.speakers[s];
    if (!is_main(rig.speakers[s]) || !measured.heard) continue;
    heights.push_back(measured.direct_db);
    if (measured.level_db) levels.push_back(measured.level_db->value);
  }
  if (heights.empty() || levels.empty()) return;
  const double usual_height_db = median(std::move(heights));
  const double usual_level_db = median(std::move(levels));
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    SpeakerMeasurement& measured = measurement.speakers[s];
    if (measured.heard || measured.bass_only || !measured.trusted) continue;
    if (measured.direct_db < (is_main(rig.speakers[s]) ? usual_height_db : usual_level_db) - plain_db) continue;
    measured.trusted = false;
    add(measurement, Severity::warn, "low-signal-to-noise", rig.speakers[s],
        fmt::format("{}: {} (output {}) cannot be told from the noise, silent or not. Measure louder, or when it is "
                    "quieter.",
                    measurement.name, rig.speakers[s].label, rig.speakers[s].output));
  }
}

/// Projection of one response on another over a stretch: how much of b is in a, and how alike they are.
struct Overlap {
  double share = 0.0;     // <a, b> / <b, b>
  double likeness = 0.0;  // <a, b> / |a| |b|
  double loudness = 0.0;  // <a, a> / <b, b>
};

Overlap overlap(std::span<const float> a, std::span<const float> b) {
  constexpr std::size_t lanes = 8;  // partial sums side by side
  std::array<float, lanes> abs{};
  std::array<float, lanes> aas{};
  std::array<float, lanes> bbs{};
  const std::size_t size = std::min(a.size(), b.size());
  for (std::size_t n = 1; n + lanes <= size; n += lanes) {
    for (std::size_t i = 0; i < lanes; ++i) {  // room modes are common, treble is not
      const float x = a[n + i] - a[n + i - 1];
      const float y = b[n + i] - b[n + i - 1];
      abs[i] += x * y;
      aas[i] += x * x;
      bbs[i] += y * y;
    }
  }
  const auto sum = [](const std::array<float, lanes>& parts) {
    return std::accumulate(parts.begin(), parts.end(), 0.0);
  };
  const double ab = sum(abs);
  const double aa = sum(aas);
  const double bb = sum(bbs);
  if (aa <= 0.0 || bb <= 0.0) return {};
  return {ab / bb, ab / std::sqrt(aa * bb), aa / bb};
}

constexpr double louder_by = 1.2;  // an output that plays two speakers than the one of them

/// Energy of the first differences, summed as in `overlap`.
double treble_energy(std::span<const float> a) {
  constexpr std::size_t lanes = 8;
  std::array<float, lanes> sums{};
  for (std::size_t n = 1; n + lanes <= a.size(); n += lanes) {
    for (std::size_t i = 0; i < lanes; ++i) {
      const float x = a[n + i] - a[n + i - 1];
      sums[i] += x * x;
    }
  }
  return std::accumulate(sums.begin(), sums.end(), 0.0);
}

/// True when main `a` plays what main `b` does, and its own.
bool plays_both_mains(const SpeakerMeasurement& a, const SpeakerMeasurement& b) {
  // An output that plays its own speaker and another one's holds that one's whole response, its reverberation too.
  constexpr double like_at_least = 0.35;
  constexpr double late_s = 0.09;  // after the window's start: past the direct sounds of any ring
  // What the direct sounds have in common counts less: two that arrive together add up or cancel by chance.
  constexpr double whole_off = 0.6;
  constexpr double close_off = 0.15;
  constexpr double twins = 0.9;  // one response at two levels: two speakers at mirrored places
  const Overlap whole = overlap(a.response.samples, b.response.samples);
  const double off = std::abs(whole.share - 1.0);
  if (whole.likeness < like_at_least || off > whole_off || whole.loudness < louder_by) return false;
  const auto late = static_cast<std::size_t>(late_s * a.response.sample_rate_hz);
  const std::size_t size = std::min(a.response.samples.size(), b.response.samples.size());
  if (size <= late) return false;
  const Overlap tail = overlap(std::span{a.response.samples}.subspan(late, size - late),
                               std::span{b.response.samples}.subspan(late, size - late));
  if (std::abs(tail.share - 1.0) > (off < close_off ? 0.2 : 0.1)) return false;
  return tail.likeness >= like_at_least && tail.likeness <= twins;
}

void find_shared_outputs(const Rig& rig, PositionMeasurement& measurement, unsigned threads) {
  const std::size_t count = rig.speakers.size();
  const auto is_heard_main = [&](std::size_t s) { return is_main(rig.speakers[s]) && measurement.speakers[s].heard; };
  const auto treble = parallel_map(count, threads, [&](std::size_t s) {  // so that most pairs need no look
    return is_heard_main(s) ? treble_energy(measurement.speakers[s].response.samples) : 0.0;
  });
  const auto played_by = parallel_map(count, threads, [&](std::size_t i) {
    std::vector<std::size_t> others;
    for (std::size_t j = 0; j < count; ++j) {
      if (i == j || !is_heard_main(i) || !is_heard_main(j) || treble[i] < louder_by * treble[j]) continue;
      if (plays_both_mains(measurement.speakers[i], measurement.speakers[j])) others.push_back(j);
    }
    return others;
  });
  for (std::size_t i = 0; i < count; ++i) {
    for (const std::size_t j : played_by[i]) {
      measurement.speakers[i].trusted = false;
      measurement.findings.push_back(shared_output(rig.speakers[i], rig.speakers[j]));
    }
  }
}

}  // namespace

void widen_for_dispersion(const Rig& rig, PositionMeasurement& measurement) {
  constexpr double share_in_arrival = 0.35;
  constexpr double unseen_ms = 0.0005;  // what unlike crossovers of like dispersion still do (mixed simulated rings)
  std::vector<double> dispersions;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (is_main(rig.speakers[s]) && measurement.speakers[s].heard)
      dispersions.push_back(measurement.speakers[s].dispersion_ms);
  }
  if (dispersions.empty()) return;
  // Against the mean, not the median: where half the ring has another crossover neither half is the odd one.
  double usual_ms = 0.0;
  for (const double dispersion : dispersions) usual_ms += dispersion / static_cast<double>(dispersions.size());
  double sum = 0.0;
  for (const double dispersion : dispersions) sum += (dispersion - usual_ms) * (dispersion - usual_ms);
  const double spread_ms = std::sqrt(sum / static_cast<double>(dispersions.size()));
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    SpeakerMeasurement& measured = measurement.speakers[s];
    if (!is_main(rig.speakers[s]) || !measured.arrival_ms) continue;
    const double unlike_ms = share_in_arrival * (measured.dispersion_ms - usual_ms);
    // The fellows it is aligned with are off by their own share, whatever its own is.
    measured.arrival_ms->uncertainty = std::hypot(measured.arrival_ms->uncertainty, unlike_ms,
                                                  std::hypot(0.5 * share_in_arrival * spread_ms, unseen_ms));
  }
}

void compare_fellows(const Rig& rig, PositionMeasurement& measurement, unsigned threads) {
  doubt_silence(rig, measurement);
  compare_levels(rig, measurement);
  find_crossed_bass(rig, measurement);
  find_shared_outputs(rig, measurement, threads);
  find_shared_bass(rig, measurement, threads);
}

}  // namespace ringtrue
