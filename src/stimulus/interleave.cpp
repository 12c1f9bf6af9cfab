#include "ringtrue/stimulus/interleave.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <optional>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/stimulus/overlap.hpp"
#include "ringtrue/stimulus/sweep.hpp"

namespace ringtrue {
namespace {

// What loudspeakers distort at most, by order, dB re the sweep: 3 % and 1 %, then 10 dB less each (common practice).
constexpr std::array<double, 5> harmonic_db{0.0, -30.0, -40.0, -50.0, -60.0};
constexpr double arrivals_differ_s = 0.015;  // between speakers of one ring: 5 m
constexpr double kept_share = 0.8;           // of the decay, in a window: -48 dB; what is cut off is 1e-4 dB of level
constexpr double main_before_s = 0.03;       // of a window before its response: what is needed to see it begin
constexpr double sub_before_s = 0.06;
constexpr double bass_is_longer = 1.15;        // rooms keep their bass longer than the octaves that name their decay
constexpr double sub_decay_is_longer = 1.8;    // once more, below 100 Hz, of what comes before a subwoofer
constexpr double band_edge_ringing_s = 0.005;  // of a harmonic's band edges before it begins
constexpr double own_output_rest_s = 0.3;      // between two sweeps of one output
constexpr std::size_t mains_heard_twice = 3;
constexpr double overlap_early_stop_s = 0.6;  // a recorder that started 0.5 s early stops 0.5 s early too
constexpr double longest_over_wanted = 1.5;
constexpr int lengths_tried = 40;
constexpr double whole_octaves_ratio = 1'000.0;  // StimulusOptions::main_sweep is over 20 Hz-20 kHz
constexpr double most_over_one = 2.0;            // amplitude of all sweeps together against one of peak_level

/// One sweep to be placed.
struct Item {
  std::size_t speaker = 0;
  Band band{Hertz{20.0}, Hertz{20'000.0}};
  bool is_sub = false;

  [[nodiscard]] double length_s(double L) const { return L * std::log(band.high / band.low); }
  /// When a sweep that starts at 0 would have passed 1 Hz: sweeps of one L keep the distance of these.
  [[nodiscard]] double ridge_s(double L) const { return -L * std::log(band.low.value()); }
};

struct Placed {
  Item item;
  double start_s = 0.0;
};

/// Seconds by which a sweep must be put later so that harmonic `order` of `loud` is not heard in the window of `quiet`;
/// `later` is the one that is put off. 0: they do not meet.
double put_off(const Item& loud, double loud_ridge_s, const Item& quiet, double quiet_ridge_s, int order, double L,
               const InterleaveRoom& room, bool loud_is_later) {
  const double k = order;
  if (k * loud.band.low.value() >= quiet.band.high.value() || k * loud.band.high.value() <= quiet.band.low.value()) {
    return 0.0;
  }
  const double begins = loud_ridge_s - L * std::log(k) - (order > 1 ? band_edge_ringing_s : 0.0);
  const double longer = quiet.is_sub && order == 1 ? sub_decay_is_longer : 1.0;
  const double ends = loud_ridge_s - L * std::log(k) + longer * room.heard_for(order).value();
  const double window_from = quiet_ridge_s - (quiet.is_sub ? sub_before_s : main_before_s);
  const double window_to = quiet_ridge_s + room.kept_for().value();
  if (begins >= window_to || ends <= window_from) return 0.0;
  return loud_is_later ? window_to - begins : ends - window_from;
}

/// Earliest start of `item` at which it gets along with all that are placed.
double earliest_start(const Item& item, const std::vector<Placed>& placed, double L, const InterleaveRoom& room) {
  constexpr double step_s = 1e-5;  // half a frame: past the end of what was in the way
  double start = 0.0;
  for (bool moved = true; moved;) {
    moved = false;
    for (const Placed& other : placed) {
      double later = 0.0;
      const double ridge = start + item.ridge_s(L);
      const double other_ridge = other.start_s + other.item.ridge_s(L);
      for (int order = 1; order <= room.harmonics && later == 0.0; ++order) {
        later = std::max(put_off(item, ridge, other.item, other_ridge, order, L, room, true),
                         put_off(other.item, other_ridge, item, ridge, order, L, room, false));
      }
      const double rest_until = other.start_s + other.item.length_s(L) + own_output_rest_s;
      if (other.item.speaker == item.speaker && start < rest_until) later = std::max(later, rest_until - start);
      if (later == 0.0) continue;
      start += later + step_s;
      moved = true;
    }
  }
  return start;
}

std::vector<Placed> place(const std::vector<Item>& order, double L, const InterleaveRoom& room) {
  std::vector<Placed> placed;
  for (const Item& item : order) placed.push_back({item, earliest_start(item, placed, L, room)});
  return placed;
}

/// When the last sound has died away; the treble, with which a main's sweep ends, dies twice as fast.
double end_of(const std::vector<Placed>& placed, double L, const InterleaveRoom& room) {
  double end = 0.0;
  for (const Placed& sweep : placed) {
    const double decay = room.decay.value() * (sweep.item.band.high.value() < 2'000.0 ? 1.0 : 0.5);
    end = std::max(end, sweep.start_s + sweep.item.length_s(L) + decay);
  }
  return end;
}

/// The orders of playing that are tried: subwoofers first, or after the other speakers.
std::vector<std::vector<Item>> playing_orders(const Rig& rig) {
  std::vector<Item> subs;
  std::vector<Item> mains;
  for (const std::size_t s : by_output(rig)) {
    const Speaker& speaker = rig.speakers[s];
    const bool is_sub = speaker.kind == SpeakerKind::sub;
    (is_sub ? subs : mains).push_back({s, speaker.band, is_sub});
  }
  // Once more, in another order: spans of unlike length tell a clock that is off from samples that were lost.
  std::vector<Item> again;
  const std::size_t wanted = subs.size() > 1 ? mains_heard_twice - 1 : mains_heard_twice;  // subs tell the clock too
  const std::size_t twice = std::min(wanted, mains.size());
  for (std::size_t i = 1; i < twice; i += 2) again.push_back(mains[i]);
  for (std::size_t i = 0; i < twice; i += 2) again.push_back(mains[i]);

  std::vector<std::vector<Item>> orders(2);
  for (const auto* part : {&subs, &mains, &again, &subs}) orders[0].insert(orders[0].end(), part->begin(), part->end());
  for (const auto* part : {&mains, &subs, &again, &subs}) orders[1].insert(orders[1].end(), part->begin(), part->end());
  return orders;
}

struct Schedule {
  std::vector<Placed> sweeps;
  double L = 0.0;
  double end_s = std::numeric_limits<double>::infinity();
};

Schedule shortest_schedule(const Rig& rig, double least_L, const InterleaveRoom& room) {
  Schedule best;
  for (const auto& order : playing_orders(rig)) {
    for (int i = 0; i <= lengths_tried; ++i) {
      const double L = least_L * (1.0 + (longest_over_wanted - 1.0) * i / lengths_tried);
      auto sweeps = place(order, L, room);
      const double end = end_of(sweeps, L, room);
      if (end < best.end_s) best = {std::move(sweeps), L, end};
    }
  }
  return best;
}

void scale_to_headroom(Stimulus& stimulus) {
  const double gain = std::min(1.0, most_over_one / static_cast<double>(most_at_once(stimulus)));
  for (SweepShape& shape : stimulus.shapes) {
    for (double& sample : shape.samples) sample *= gain;
  }
}

}  // namespace

Seconds InterleaveRoom::heard_for(int order) const {
  const double above_db = harmonic_db[static_cast<std::size_t>(order - 1)] - crosstalk_db + unequal_speakers_db;
  return Seconds{bass_is_longer * decay.value() * std::max(0.0, above_db) / 60.0 + arrivals_differ_s};
}

Seconds interleaved_decay(const Stimulus& stimulus) {
  double after_s = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < stimulus.sweeps.size(); ++i) {
    after_s = std::min(after_s, clear_window(stimulus, i, harmonics_kept_out).after.value());
  }
  return Seconds{std::max(0.0, (after_s - band_edge_ringing_s - arrivals_differ_s) / kept_share)};
}

Seconds InterleaveRoom::kept_for() const { return Seconds{kept_share * decay.value() + arrivals_differ_s}; }

Stimulus plan_interleaved(const Rig& rig, const StimulusOptions& options) {
  const InterleaveRoom room{options.decay, options.harmonics};
  const double fs = rig.interface.sample_rate_hz;
  Schedule schedule = shortest_schedule(rig, options.main_sweep.value() / std::log(whole_octaves_ratio), room);
  Stimulus stimulus;
  stimulus.sample_rate_hz = fs;
  stimulus.channels = channel_count(rig);
  stimulus.decay = options.decay;
  std::ranges::stable_sort(schedule.sweeps, {}, &Placed::start_s);
  for (const Placed& sweep : schedule.sweeps) {
    const auto same = std::ranges::find(stimulus.shapes, sweep.item.band, &SweepShape::band);
    const auto shape = static_cast<std::size_t>(same - stimulus.shapes.begin());
    if (same == stimulus.shapes.end()) {
      stimulus.shapes.push_back(
          sweep_at_rate(sweep.item.band, Seconds{schedule.L}, amplitude_ratio(options.peak_level), Hertz{fs}));
    }
    const double start_s = options.lead_in.value() + sweep.start_s;
    stimulus.sweeps.push_back({sweep.item.speaker, shape, static_cast<std::int64_t>(std::ceil(start_s * fs))});
  }
  stimulus.frames =
      static_cast<std::int64_t>(std::ceil((options.lead_in.value() + schedule.end_s + overlap_early_stop_s) * fs));
  scale_to_headroom(stimulus);
  return stimulus;
}

}  // namespace ringtrue
