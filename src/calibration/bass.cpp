#include "bass.hpp"

#include <algorithm>
#include <cmath>

#include "bass_curves.hpp"
#include "bass_notes.hpp"
#include "equalise.hpp"
#include "importance.hpp"
#include "ringtrue/dsp/crossover.hpp"
#include "ringtrue/response/deconvolution.hpp"

namespace ringtrue {
namespace {

constexpr double most_periods = 1.5;                  // of the crossover, either way
constexpr double worth_telling_db = 0.3;              // what the sub's own switch would win
constexpr double loss_allowed_db = 0.2;               // of a group's sum against its best; 0.3 is what may be

bool has_trim(const SpeakerResult& speaker) { return speaker.settings.trim_db.has_value(); }

double arrival_ms(const SpeakerResult& speaker) { return *speaker.measured.positions.front().arrival_ms; }

/// Twice the standard uncertainty: the sub may really arrive that much earlier or later.
double arrival_doubt_ms(const SpeakerResult& sub) {
  return 2.0 * sub.measured.positions.front().arrival_uncertainty_ms.value_or(0.0);
}

/// Where the variation over positions is judged: 20-80 Hz, as far as the sweeps of all members are flat.
Band spread_band(const Rig& rig, std::span<const std::size_t> members) {
  Band band{Hertz{20.0}, Hertz{80.0}};
  for (const std::size_t s : members) {
    const Band flat = flat_band(rig.speakers[s].band);
    band = {std::max(band.low, flat.low), std::min(band.high, flat.high)};
  }
  return band;
}

/// One speaker's responses in a part of the grid, each multiplied with the same factor.
BassResponses part_of(const BassResponses& responses, GridRange range, double factor) {
  BassResponses result;
  for (const auto& position : responses) {
    const auto begin = position.begin() + static_cast<std::ptrdiff_t>(range.first);
    std::vector<std::complex<double>> part(begin, begin + static_cast<std::ptrdiff_t>(range.count));
    for (auto& h : part) h *= factor;
    result.push_back(std::move(part));
  }
  return result;
}

void filter(BassResponses& responses, const Cascade& cascade, std::span<const double> frequency_hz, Hertz rate) {
  for (std::size_t k = 0; k < frequency_hz.size(); ++k) {
    const auto h = frequency_response(cascade, Hertz{frequency_hz[k]}, rate);
    for (auto& position : responses) position[k] *= h;
  }
}

/// Members at equal level at the listening position, in their measured polarity.
std::vector<BassResponses> equal_members(const Rig& rig, const BassMeasurement& bass,
                                         std::span<const std::size_t> members, std::span<const SpeakerResult> speakers,
                                         GridRange range) {
  std::vector<BassResponses> result;
  for (const std::size_t s : members) {
    const double level_db = equalised_level_db(speakers[s]);
    result.push_back(
        part_of(*bass.speakers[s], range, arrival_sign(rig, speakers[s]) * std::pow(10.0, -level_db / 20.0)));
  }
  return result;
}

/// Pink-weighted level of a sum whose parts have 0 dB each.
double pink_level_db(std::span<const std::complex<double>> sum, std::span<const double> frequency_hz) {
  double power = 0.0;
  double weights = 0.0;
  for (std::size_t k = 0; k < sum.size(); ++k) {
    power += std::norm(sum[k]) / frequency_hz[k];
    weights += 1.0 / frequency_hz[k];
  }
  return weights > 0.0 && power > 0.0 ? 10.0 * std::log10(power / weights) : 0.0;
}

/// The group's sum in a part of the grid, with trims. @param offsets  of each member; their gains are in the trims
BassResponses group_sum(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                        std::vector<SubwooferOffset> offsets, std::span<const SpeakerResult> speakers,
                        GridRange range) {
  std::vector<BassResponses> members;
  for (const std::size_t s : group.members) {
    const double gain = std::pow(10.0, *speakers[s].settings.trim_db / 20.0);
    members.push_back(part_of(*bass.speakers[s], range, arrival_sign(rig, speakers[s]) * gain));
  }
  for (SubwooferOffset& offset : offsets) offset.gain_db = 0.0;
  return sum_of(members, offsets, std::span{bass.frequency_hz}.subspan(range.first, range.count));
}

double balance(const BassLevel& level) { return 0.5 * (level.power_db + level.mean_db); }

double lesser(const BassLevel& change) { return std::min(change.power_db, change.mean_db); }

/// What the worst main wins (or loses) against arrival alone.
double least_change_db(const BassAlignment& alignment) {
  return lesser(*std::ranges::min_element(alignment.change, {}, lesser));
}

BassAlignmentResult result_of(const Rig& rig, const SubwooferGroup& group, const BassPairs& mains,
                              const BassAlignment& alignment) {
  BassAlignmentResult result;
  const double crossover_hz = rig.bass_management->crossover_hz;
  result.band_hz = {0.5 * crossover_hz, 2.0 * crossover_hz};
  result.spatial_variance_db2 = group.spatial_variance_db2;
  result.gain_db = alignment.gain.mean_db;
  result.power_gain_db = alignment.gain.power_db;
  for (std::size_t k = 0; k < group.members.size(); ++k) {
    const SubwooferOffset& offset = group.offsets[k];
    result.subs.push_back({rig.speakers[group.members[k]].label, alignment.shift_ms + offset.shift_ms, offset.gain_db});
  }
  const auto worst = std::ranges::min_element(alignment.change, {}, lesser);
  result.worst_main = rig.speakers[mains.mains[static_cast<std::size_t>(worst - alignment.change.begin())]].label;
  result.worst_main_change_db = lesser(*worst);
  return result;
}

}  // namespace

double arrival_sign(const Rig& rig, const SpeakerResult& sub) {
  return rig.interface.polarity_switch && sub.measured.polarity == Polarity::inverted ? -1.0 : 1.0;
}

std::vector<std::size_t> redirected_subs(const Rig& rig, const BassMeasurement& bass) {
  std::vector<std::size_t> subs;
  for (std::size_t s = 0; s < rig.speakers.size(); ++s) {
    if (plays_lows_of_mains(rig, s) && bass.speakers[s]) subs.push_back(s);
  }
  return subs;
}

SubwooferGroup group_subwoofers(const Rig& rig, const BassMeasurement& bass, std::vector<std::size_t> members,
                                std::span<const SpeakerResult> speakers, std::optional<double> free_loss_db) {
  SubwooferGroup group;
  group.members = std::move(members);
  group.offsets.resize(group.members.size());
  if (group.members.size() < 2) return group;
  const std::span frequency_hz{bass.frequency_hz};
  const GridRange spread = grid_range(frequency_hz, spread_band(rig, group.members));
  const auto spread_hz = frequency_hz.subspan(spread.first, spread.count);
  const auto equal = equal_members(rig, bass, group.members, speakers, spread);
  const double together_db2 = mean_spatial_variance_db2(sum_of(equal, group.offsets, spread_hz));
  if (free_loss_db) group.offsets = even_out_subwoofers(equal, spread_hz, rig.interface.polarity_switch, *free_loss_db);
  if (equal.front().size() > 1) {
    group.spatial_variance_db2 = {together_db2, mean_spatial_variance_db2(sum_of(equal, group.offsets, spread_hz))};
  }
  const GridRange level = grid_range(frequency_hz, level_band_of(SpeakerKind::sub));
  const auto in_band = frequency_hz.subspan(level.first, level.count);
  group.sum_over_one_db = pink_level_db(
      sum_of(equal_members(rig, bass, group.members, speakers, level), group.offsets, in_band).front(), in_band);
  return group;
}

CrossoverChoice crossover_of(const Rig& rig) {
  CrossoverChoice choice{rig.bass_management->slope, {}};
  for (const Speaker& speaker : rig.speakers) {
    choice.frequency_hz.push_back(speaker.crossover_hz.value_or(rig.bass_management->crossover_hz));
  }
  return choice;
}

BassPairs pair_mains(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                     const CrossoverChoice& crossover, std::span<const SpeakerResult> speakers,
                     const std::optional<Band>& judged) {
  const Hertz rate{rig.interface.sample_rate_hz};
  BassPairs result;
  for (std::size_t s = 0; s < speakers.size(); ++s) {
    if (speakers[s].kind != SpeakerKind::main || !bass.speakers[s] || !has_trim(speakers[s])) continue;
    const double at_hz = crossover.frequency_hz[s];
    const Crossover filters = crossover_filters(crossover.slope, Hertz{at_hz}, rate);
    const GridRange range =
        grid_range(bass.frequency_hz, judged.value_or(Band{Hertz{0.5 * at_hz}, Hertz{2.0 * at_hz}}));
    const auto frequency_hz = std::span{bass.frequency_hz}.subspan(range.first, range.count);
    const double gain = std::pow(10.0, *speakers[s].settings.trim_db / 20.0) * (speakers[s].settings.invert ? -1 : 1);
    BassPair pair{importance_of(rig, s),
                  {frequency_hz.begin(), frequency_hz.end()},
                  part_of(*bass.speakers[s], range, gain),
                  group_sum(rig, bass, group, group.offsets, speakers, range),
                  {}};
    if (group.members.size() > 1) {
      pair.sub_by_arrival =
          group_sum(rig, bass, group, std::vector<SubwooferOffset>(group.members.size()), speakers, range);
      filter(pair.sub_by_arrival, filters.low, frequency_hz, rate);
    }
    filter(pair.main, filters.high, frequency_hz, rate);
    filter(pair.sub, filters.low, frequency_hz, rate);
    result.mains.push_back(s);
    result.pairs.push_back(std::move(pair));
  }
  return result;
}

BassSearch allowed_shifts(const Rig& rig, const SubwooferGroup& group, std::span<const SpeakerResult> speakers,
                          double lowest_crossover_hz) {
  // A sub that is to come later counts as one that arrives earlier; all arrivals have to lie within the delay range.
  double first_main = 1e9, last_main = -1e9, first_sub = 1e9, last_sub = -1e9, doubt_ms = 0.0;
  for (const SpeakerResult& speaker : speakers) {
    if (speaker.kind != SpeakerKind::main || speaker.status != Status::ok || !has_trim(speaker)) continue;
    first_main = std::min(first_main, arrival_ms(speaker));
    last_main = std::max(last_main, arrival_ms(speaker));
  }
  for (std::size_t k = 0; k < group.members.size(); ++k) {
    const double counts_as = arrival_ms(speakers[group.members[k]]) - group.offsets[k].shift_ms;
    first_sub = std::min(first_sub, counts_as);
    last_sub = std::max(last_sub, counts_as);
    doubt_ms = std::max(doubt_ms, arrival_doubt_ms(speakers[group.members[k]]));
  }
  const double range_ms = rig.interface.delay_range_ms[1] - rig.interface.delay_range_ms[0];
  const double sensible_ms = most_periods * 1e3 / lowest_crossover_hz + doubt_ms;
  return {.earliest_ms = std::min(0.0, std::max(-sensible_ms, last_sub - first_main - range_ms)),
          .latest_ms = std::max(0.0, std::min(sensible_ms, first_sub - last_main + range_ms)),
          .inverted = false,  // the group's sum has its measured polarity already
          .may_invert = rig.interface.polarity_switch};
}

double strain_of_group(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                       std::span<const SpeakerResult> speakers) {
  const CrossoverChoice crossover = crossover_of(rig);
  const BassPairs mains = pair_mains(rig, bass, group, crossover, speakers);
  if (mains.pairs.empty()) return 0.0;
  const BassAlignment alignment =
      align_bass(mains.pairs, allowed_shifts(rig, group, speakers, *std::ranges::min_element(crossover.frequency_hz)));
  const double too_much_db = -least_change_db(alignment) - most_a_main_loses_db;
  return std::max({0.0, too_much_db, alignment.loss_db - loss_allowed_db});
}

std::vector<double> align_group(const Rig& rig, const BassMeasurement& bass, const SubwooferGroup& group,
                                Calibration& calibration) {
  std::vector<double> later_ms(rig.speakers.size());
  if (group.members.empty()) return later_ms;
  const CrossoverChoice crossover = crossover_of(rig);
  const BassPairs mains = pair_mains(rig, bass, group, crossover, calibration.speakers);
  if (mains.pairs.empty()) return later_ms;
  BassSearch search =
      allowed_shifts(rig, group, calibration.speakers, *std::ranges::min_element(crossover.frequency_hz));
  const BassAlignment alignment = align_bass(mains.pairs, search);
  calibration.bass_alignment = result_of(rig, group, mains, alignment);
  calibration.bass_picture = picture_bass(rig, bass, group, alignment, calibration.speakers);
  for (std::size_t k = 0; k < group.members.size(); ++k) {
    const std::size_t s = group.members[k];
    later_ms[s] = alignment.shift_ms + group.offsets[k].shift_ms;
    SpeakerResult& sub = calibration.speakers[s];
    sub.settings.invert = (arrival_sign(rig, sub) < 0.0) != (alignment.invert != group.offsets[k].flip);
  }
  add_subwoofer_note(group, calibration);
  if (!search.may_invert) {
    search.may_invert = true;
    const double wins_db = balance(align_bass(mains.pairs, search).gain) - balance(alignment.gain);
    if (wins_db > worth_telling_db) add_phase_switch_note(wins_db, calibration);
  }
  return later_ms;
}

}  // namespace ringtrue
