#include "equaliser_slip.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "decimals.hpp"
#include "filters.hpp"
#include "ringtrue/calibration/mistypes.hpp"

namespace ringtrue {
namespace {

constexpr double floor_db = 0.03;  // of a band's uncertainty: no filter model is better

/// How well a change of the equaliser explains the bands.
struct Fit {
  double louder_db = 0.0;
  double misfit = 0.0;  // sum of squares in standard deviations
  double left_db = 0.0;
};

double weight_of(const BandDifference& band) {
  return 1.0 / (floor_db * floor_db + band.uncertainty_db * band.uncertainty_db);
}

Fit fit_of(std::span<const BandDifference> bands, std::span<const double> change_db) {
  double sum = 0.0;
  double weights = 0.0;
  for (std::size_t b = 0; b < bands.size(); ++b) {
    sum += weight_of(bands[b]) * (bands[b].level_db - change_db[b]);
    weights += weight_of(bands[b]);
  }
  Fit fit{weights > 0.0 ? sum / weights : 0.0, 0.0, 0.0};
  for (std::size_t b = 0; b < bands.size(); ++b) {
    const double rest = bands[b].level_db - change_db[b] - fit.louder_db;
    fit.misfit += weight_of(bands[b]) * rest * rest;
  }
  fit.left_db = weights > 0.0 ? std::sqrt(fit.misfit / weights) : 0.0;
  return fit;
}

std::vector<double> gains_db(const Filter& filter, std::span<const BandDifference> bands, double rate_hz) {
  const Biquad section = section_of(filter, rate_hz);
  std::vector<double> gains;
  for (const auto& band : bands) {
    gains.push_back(20.0 * std::log10(std::abs(frequency_response(section, Hertz{band.frequency_hz}, Hertz{rate_hz}))));
  }
  return gains;
}

std::vector<double> gains_db(const std::vector<Filter>& filters, std::span<const BandDifference> bands,
                             double rate_hz) {
  std::vector<double> sum(bands.size());
  for (const Filter& filter : filters) {
    const auto gains = gains_db(filter, bands, rate_hz);
    for (std::size_t b = 0; b < sum.size(); ++b) sum[b] += gains[b];
  }
  return sum;
}

std::vector<double> difference(std::vector<double> a, std::span<const double> b) {
  for (std::size_t i = 0; i < a.size(); ++i) a[i] -= b[i];
  return a;
}

/// One number of a filter: how it is called, shown and scanned.
struct Field {
  const char* key;
  double Filter::*member;
  int decimals;
  bool by_ratio;                // scanned by ratio, or by difference
  std::array<double, 2> range;  // of the interface
};

struct SlipTrial {
  Suspicion suspicion;
  Fit fit;
  double rarity = 0.0;    // in standard deviations squared: what a commoner slip is given
  bool doubtful = false;  // has to explain clearly better than others
};

class Search {
 public:
  Search(const std::vector<Filter>& wanted, std::span<const BandDifference> bands, const Rig& rig)
      : wanted_{wanted}, bands_{bands}, rig_{rig}, rate_hz_{rig.interface.sample_rate_hz} {}

  void try_filter(std::size_t k) {
    const auto now = gains_db(wanted_[k], bands_, rate_hz_);
    const Interface& interface = rig_.interface;
    const Field fields[]{
        {"gain_db", &Filter::gain_db, decimals_of_step(interface.eq_gain_step_db), false, interface.eq_gain_range_db},
        {"frequency_hz", &Filter::frequency_hz, decimals_of_value(wanted_[k].frequency_hz), true,
         interface.eq_frequency_range_hz},
        {"q", &Filter::q, std::max(1, decimals_of_value(wanted_[k].q)), true, interface.eq_q_range}};
    for (const Field& field : fields) scan(k, field, now);
    for (const FilterShape shape : {FilterShape::peak, FilterShape::low_shelf, FilterShape::high_shelf}) {
      if (shape == wanted_[k].shape) continue;
      Filter other = wanted_[k];
      other.shape = shape;
      add({fmt::format("equaliser[{}].shape", k + 1), 0.0, 0.0, std::nullopt,
           fmt::format("{} chosen instead of {}", in_words(shape), in_words(wanted_[k].shape))},
          difference(gains_db(other, bands_, rate_hz_), now), 2.0);
    }
    std::vector<double> out(bands_.size());
    for (std::size_t b = 0; b < out.size(); ++b) out[b] = -now[b];
    // One that acts below or above everything that was played looks the same.
    add({fmt::format("equaliser[{}]", k + 1), 0.0, 0.0, std::nullopt,
         fmt::format("left out, or its frequency of {:.{}f} Hz typed far off", wanted_[k].frequency_hz,
                     decimals_of_value(wanted_[k].frequency_hz))},
        out, 1.0);
  }

  void try_all(const std::vector<Filter>& instead, const std::string& how, double rarity) {
    add({"equaliser", 0.0, 0.0, std::nullopt, how},
        difference(gains_db(instead, bands_, rate_hz_), gains_db(wanted_, bands_, rate_hz_)), rarity);
  }

  /// The trial with the least misfit, a slip of the hand before a number that no slip explains: that has to be better
  /// by more than two recordings of one room ever differ.
  /// @param plain_misfit  of nothing but a level
  [[nodiscard]] const SlipTrial* best(double plain_misfit) const {
    constexpr double of_chance = 0.005;  // of what is to be explained, 7 % of its size in dB; a judgement
    const auto score = [&](const SlipTrial& trial) {
      return trial.fit.misfit + trial.rarity + (trial.doubtful ? of_chance * plain_misfit : 0.0);
    };
    const auto least = std::ranges::min_element(trials_, {}, score);
    return least == trials_.end() ? nullptr : &*least;
  }

 private:
  void add(Suspicion suspicion, std::span<const double> change_db, double rarity, bool doubtful = false) {
    trials_.push_back({std::move(suspicion), fit_of(bands_, change_db), rarity, doubtful});
  }

  [[nodiscard]] double misfit_at(std::size_t k, const Field& field, double value, std::span<const double> now) const {
    Filter filter = wanted_[k];
    filter.*field.member = value;
    return fit_of(bands_, difference(gains_db(filter, bands_, rate_hz_), now)).misfit;
  }

  /// The value of one field that fits best, and the slip that may have made it.
  void scan(std::size_t k, const Field& field, std::span<const double> now) {
    const double wanted = wanted_[k].*field.member;
    double best = wanted;
    double least = misfit_at(k, field, wanted, now);
    const auto look = [&](double value) {
      const double misfit = misfit_at(k, field, value, now);
      if (misfit < least) {
        least = misfit;
        best = value;
      }
    };
    if (field.by_ratio) {
      for (int i = -84; i <= 84; ++i) look(wanted * std::exp2(i / 12.0));
      for (double step = 1.0 / 24.0; step > 0.002; step *= 0.5) {
        const double centre = best;
        look(centre * std::exp2(step));
        look(centre * std::exp2(-step));
      }
    } else {
      for (int i = -60; i <= 60; ++i) look(wanted + 0.5 * i);
      for (double step = 0.25; step > 0.01; step *= 0.5) {
        const double centre = best;
        look(centre + step);
        look(centre - step);
      }
    }
    add_value(k, field, best, now);
  }

  void add_value(std::size_t k, const Field& field, double found, std::span<const double> now) {
    const double wanted = wanted_[k].*field.member;
    MistypeQuestion question{.wanted = wanted, .found = found, .decimals = field.decimals};
    question.tolerance = field.by_ratio ? 0.08 * std::abs(found) + 1e-9 : 0.3 + 0.05 * std::abs(found);
    const auto slip = guess_mistype(question);
    Filter filter = wanted_[k];
    filter.*field.member = slip ? slip->typed : found;
    const bool valid = field.by_ratio ? filter.*field.member > 0.0 : true;
    if (!valid) return;
    const std::string key = fmt::format("equaliser[{}].{}", k + 1, field.key);
    const auto inside = [&](double value) { return value >= field.range[0] && value <= field.range[1]; };
    // A filter without effect looks like one of boundless Q, which nobody can type in; gains may be typed too high.
    const double out_of_range = inside(found) ? 0.0 : 100.0;
    const bool doubtful = !slip || (field.member == &Filter::q && !inside(slip->typed));
    add({key, wanted, found, slip ? std::optional{slip->typed} : std::nullopt, slip ? slip->how : ""},
        difference(gains_db(filter, bands_, rate_hz_), now), slip ? 2.0 : 10.0 + out_of_range, doubtful);
    if (!slip) return;  // where the slip does not fit as well, the number as found is worth more
    filter.*field.member = found;
    add({key, wanted, found, std::nullopt, ""}, difference(gains_db(filter, bands_, rate_hz_), now),
        12.0 + out_of_range, true);
  }

  const std::vector<Filter>& wanted_;
  std::span<const BandDifference> bands_;
  const Rig& rig_;
  double rate_hz_;
  std::vector<SlipTrial> trials_;
};

}  // namespace

std::optional<EqualiserSlip> find_equaliser_slip(const std::vector<Filter>& wanted,
                                                 std::span<const BandDifference> bands,
                                                 std::span<const OtherEqualiser> others, const Rig& rig) {
  Search search{wanted, bands, rig};
  for (std::size_t k = 0; k < wanted.size(); ++k) search.try_filter(k);
  if (wanted.size() > 1) search.try_all({}, "all filters left out", 1.0);
  for (const OtherEqualiser& other : others) {
    if (*other.filters != wanted && !other.filters->empty()) {
      search.try_all(*other.filters, "the filters of " + other.label, 2.0);
    }
  }
  const Fit plain = fit_of(bands, std::vector<double>(bands.size()));
  const SlipTrial* const best = search.best(plain.misfit);
  if (best == nullptr) return std::nullopt;
  constexpr double explains = 0.35;  // of what a plain level leaves unexplained, at most this may be left
  if (best->fit.misfit > explains * plain.misfit) return std::nullopt;
  return EqualiserSlip{best->suspicion, best->fit.louder_db, best->fit.left_db};
}

}  // namespace ringtrue
