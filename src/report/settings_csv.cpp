#include <fmt/format.h>

#include <array>

#include "in_output_order.hpp"
#include "settings_rows.hpp"

namespace ringtrue {
namespace {

constexpr std::size_t column_count = 11;
using Row = std::array<std::string, column_count>;
enum Column : std::size_t { output, speaker, setting, delay, trim, polarity, filter, shape, frequency, gain, q };

/// A cell as RFC 4180 writes it. Words that a spreadsheet would take for a formula get an apostrophe.
std::string words_cell(std::string text, char separator) {
  if (!text.empty() && std::string_view{"=+-@\t\r"}.find(text.front()) != std::string_view::npos) text.insert(0, "'");
  if (text.find_first_of(std::string{"\"\r\n"} + separator) == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) quoted += c == '"' ? std::string{"\"\""} : std::string{c};
  return quoted + '"';
}

std::string line(const Row& row, char separator) {
  std::string text;
  for (std::size_t i = 0; i < row.size(); ++i) text += (i == 0 ? std::string{} : std::string{separator}) + row[i];
  return text + "\r\n";
}

}  // namespace

std::string format_settings_csv(const Calibration& calibration, const SettingsTableOptions& options) {
  const char separator = options.decimal_comma ? ';' : ',';
  const auto number = [&](double value) { return plain_number(value, options.decimal_comma); };
  Row header{"Output", "Speaker", "Setting",        "",          "Trim (dB)", "Polarity",
             "Filter", "Shape",   "Frequency (Hz)", "Gain (dB)", "Q"};
  header[delay] = fmt::format("Delay ({})", short_name(options.delay_unit));
  std::string text = line(header, separator);
  for (const SpeakerResult* one : in_output_order(calibration)) {
    const Settings& settings = one->settings;
    const auto row = [&](const char* what) {
      Row cells{};
      cells[output] = std::to_string(one->output);
      cells[speaker] = words_cell(one->label, separator);
      cells[setting] = what;
      return cells;
    };
    if (!settings.delay_ms || !settings.trim_db) continue;  // nothing to type in
    Row cells = row("delay");
    cells[delay] = number(shown_delay(*settings.delay_ms, options.delay_unit, calibration));
    text += line(cells, separator);
    cells = row("trim");
    cells[trim] = number(*settings.trim_db);
    text += line(cells, separator);
    cells = row("polarity");
    cells[polarity] = settings.invert ? "invert" : "normal";
    text += line(cells, separator);
    for (std::size_t k = 0; k < settings.equaliser.size(); ++k) {
      const Filter& one_filter = settings.equaliser[k];
      cells = row("filter");
      cells[filter] = std::to_string(k + 1);
      cells[shape] = in_words(one_filter.shape);
      cells[frequency] = number(one_filter.frequency_hz);
      cells[gain] = number(one_filter.gain_db);
      cells[q] = number(one_filter.q);
      text += line(cells, separator);
    }
  }
  return text;
}

}  // namespace ringtrue
