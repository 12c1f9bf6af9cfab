#include "ringtrue/correction/target.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <span>

#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

constexpr const char* remedy = "write flat, tilt=-0.8 (dB per octave), shelf=120:+4 (Hz:dB), or a file of Hz and dB";

double points_db(const TargetPoints& points, double frequency_hz) {
  const auto& f = points.frequency_hz;
  const auto above = std::ranges::upper_bound(f, frequency_hz) - f.begin();
  if (above == 0) return points.gain_db.front();
  if (above == std::ssize(f)) return points.gain_db.back();
  const auto i = static_cast<std::size_t>(above);
  const double share = std::log(frequency_hz / f[i - 1]) / std::log(f[i] / f[i - 1]);
  return (1.0 - share) * points.gain_db[i - 1] + share * points.gain_db[i];
}

/// |H|^2 of a first-order low shelf with half its gain in dB at the frequency: (x^2 + G) / (x^2 + 1/G), x = f / f0.
double shelf_db(const TargetShelf& shelf, double frequency_hz) {
  const double gain = std::pow(10.0, shelf.gain_db / 20.0);
  const double square = std::pow(frequency_hz / shelf.frequency_hz, 2.0);
  return 10.0 * std::log10((square + gain) / (square + 1.0 / gain));
}

double butterworth_db(double ratio, double order) { return -10.0 * std::log10(1.0 + std::pow(ratio, 2.0 * order)); }

bool take(std::string_view& text, std::string_view word) {
  if (!text.starts_with(word)) return false;
  text.remove_prefix(word.size());
  return true;
}

/// A number within [low, high] from the front of the text.
double take_number(std::string_view whole, std::string_view& text, double low, double high, const char* unit) {
  if (text.starts_with('+')) text.remove_prefix(1);
  double value = 0.0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || !(value >= low && value <= high)) {
    throw InvalidInput{fmt::format("target {}", whole),
                       fmt::format("expected a number from {} to {} {} before \"{}\"", low, high, unit, text), remedy};
  }
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  return value;
}

void take_part(std::string_view whole, std::string_view& text, TargetCurve& curve) {
  if (take(text, "flat")) return;
  if (take(text, "tilt=")) {
    curve.tilt = TargetTilt{take_number(whole, text, -6.0, 6.0, "dB per octave")};
  } else if (take(text, "shelf=")) {
    curve.shelf = TargetShelf{take_number(whole, text, 20.0, 2'000.0, "Hz"), 0.0};
    if (!take(text, ":")) throw InvalidInput{fmt::format("target {}", whole), "the shelf has no dB", remedy};
    curve.shelf->gain_db = take_number(whole, text, -20.0, 20.0, "dB");
  } else {
    throw InvalidInput{fmt::format("target {}", whole), fmt::format("\"{}\" is not known", text), remedy};
  }
}

}  // namespace

double target_db(const TargetCurve& curve, double frequency_hz) {
  double gain = 0.0;
  if (curve.tilt) gain += curve.tilt->db_per_octave * std::log2(frequency_hz / 1'000.0);
  if (curve.shelf) gain += shelf_db(*curve.shelf, frequency_hz);
  if (curve.points) gain += points_db(*curve.points, frequency_hz);
  return gain;
}

std::optional<TargetCurve> parse_target(std::string_view text) {
  constexpr std::array<std::string_view, 4> words{"flat", "flat,", "tilt=", "shelf="};
  const bool ours = text == words[0] ||
                    std::ranges::any_of(std::span{words}.subspan(1), [&](auto word) { return text.starts_with(word); });
  if (!ours) return std::nullopt;
  TargetCurve curve;
  curve.name = std::string{text};
  std::string_view rest = text;
  take_part(text, rest, curve);
  while (take(rest, ",")) take_part(text, rest, curve);
  if (!rest.empty())
    throw InvalidInput{fmt::format("target {}", text), fmt::format("\"{}\" is left over", rest), remedy};
  return curve;
}

double low_end_db(const NaturalEnds& ends, double frequency_hz) {
  return ends.low_hz > 0.0 ? butterworth_db(ends.low_hz / frequency_hz, ends.low_order) : 0.0;
}

double natural_ends_db(const NaturalEnds& ends, double frequency_hz) {
  double level = low_end_db(ends, frequency_hz);
  if (ends.high_hz > 0.0) level += butterworth_db(frequency_hz / ends.high_hz, ends.high_order);
  if (frequency_hz > ends.treble_from_hz) {
    level += ends.treble_db_per_octave * std::log2(frequency_hz / ends.treble_from_hz);
  }
  return level;
}

}  // namespace ringtrue
