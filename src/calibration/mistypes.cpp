#include "ringtrue/calibration/mistypes.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <utility>
#include <vector>

namespace ringtrue {
namespace {

constexpr double metres_per_foot = 0.3048;  // exact (international foot)

struct Candidate {
  double typed = 0.0;
  double rarity = 1.0;  // a judgement: smaller is commoner
  std::string how;
};

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Places of the digits in a number as text.
std::vector<std::size_t> digit_places(const std::string& text) {
  std::vector<std::size_t> places;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (is_digit(text[i])) places.push_back(i);
  }
  return places;
}

void add_digit_slips(const std::string& text, std::vector<Candidate>& all) {
  const auto add = [&](const std::string& typed, double rarity, const char* how) {
    if (!typed.empty() && typed != text) all.push_back({std::strtod(typed.c_str(), nullptr), rarity, how});
  };
  const auto places = digit_places(text);
  for (std::size_t i = 0; i < places.size(); ++i) {
    if (i + 1 < places.size()) {
      std::string exchanged = text;
      std::swap(exchanged[places[i]], exchanged[places[i + 1]]);
      add(exchanged, 1.3, "two digits exchanged");
    }
    for (char digit = '0'; digit <= '9'; ++digit) {
      std::string wrong = text;
      wrong[places[i]] = digit;
      add(wrong, 1.6, "one digit wrong");
    }
    std::string dropped = text;
    dropped.erase(places[i], 1);
    add(dropped, 1.8, "one digit left out");
    std::string doubled = text;
    doubled.insert(places[i], 1, text[places[i]]);
    add(doubled, 1.9, "one digit typed twice");
  }
}

void add_unit_slips(const MistypeQuestion& question, std::vector<Candidate>& all) {
  const auto add = [&](double per_unit, const char* unit) {
    if (per_unit <= 0.0) return;
    all.push_back({question.wanted * per_unit, 1.5, fmt::format("typed in {}", unit)});
    all.push_back({question.wanted / per_unit, 1.5, fmt::format("typed into a field for {}", unit)});
  };
  add(question.samples_per_unit, "samples");
  add(question.metres_per_unit, "metres");
  add(question.metres_per_unit / metres_per_foot, "feet");
}

std::vector<Candidate> candidates(const MistypeQuestion& question) {
  std::vector<Candidate> all{{0.0, 1.0, "left out"}, {-question.wanted, 1.0, "typed with the wrong sign"}};
  for (const double factor : {10.0, 0.1}) all.push_back({question.wanted * factor, 1.2, "decimal point moved"});
  for (const double factor : {100.0, 0.01}) all.push_back({question.wanted * factor, 1.5, "decimal point moved"});
  for (std::size_t i = 0; i < question.others.size(); ++i) {
    const OtherValue& other = question.others[i];
    all.push_back({other.value, i == 0 ? 1.1 : 1.7, "the value of " + other.label});
  }
  add_unit_slips(question, all);
  add_digit_slips(fmt::format("{:.{}f}", question.wanted, question.decimals), all);
  return all;
}

}  // namespace

std::optional<Mistype> guess_mistype(const MistypeQuestion& question) {
  std::optional<Mistype> best;
  double best_score = 0.0;
  for (const Candidate& candidate : candidates(question)) {
    const double off = std::abs(candidate.typed - question.found) / question.tolerance;
    const bool is_another_value =
        std::abs(candidate.typed - question.wanted) > 0.5 * std::pow(10.0, -question.decimals);
    if (off > 1.0 || !is_another_value) continue;
    const double score = candidate.rarity + 0.5 * off * off;
    if (best && score >= best_score) continue;
    best = Mistype{candidate.typed, candidate.how};
    best_score = score;
  }
  return best;
}

}  // namespace ringtrue
