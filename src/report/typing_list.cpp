#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "in_output_order.hpp"
#include "ringtrue/report/text_layout.hpp"
#include "settings_rows.hpp"

namespace ringtrue {
namespace {

using text::printable;
using text::wrapped;

struct Digits {
  int delay = 0;
  int trim = 0;
};

Digits digits_of(const Calibration& calibration, const SettingsTableOptions& options) {
  std::vector<double> delays;
  std::vector<double> trims{calibration.rig.interface.trim_step_db};
  if (options.delay_unit == DelayUnit::milliseconds) delays.push_back(calibration.rig.interface.delay_step_ms);
  for (const auto& speaker : calibration.speakers) {
    if (!speaker.settings.delay_ms || !speaker.settings.trim_db) continue;
    delays.push_back(shown_delay(*speaker.settings.delay_ms, options.delay_unit, calibration));
    trims.push_back(*speaker.settings.trim_db);
  }
  return {decimals_needed(delays), decimals_needed(trims)};
}

std::string fixed(double value, int decimals, bool decimal_comma) {
  const double scale = std::pow(10.0, decimals);
  std::string text = fmt::format("{:.{}f}", std::round(value * scale) / scale + 0.0, decimals);
  if (decimal_comma) std::ranges::replace(text, '.', ',');
  return text;
}

std::string line(const char* what, const std::string& value, const char* unit) {
  std::string text = fmt::format("    [ ]  {:<10} {:>10}  {}", what, value, unit);
  text.erase(text.find_last_not_of(' ') + 1);
  return text + '\n';
}

std::string filter_line(const Filter& filter, std::size_t number, bool comma) {
  const std::string value =
      fmt::format("{:<10} {:>8} Hz   {:>6} dB   Q {}", in_words(filter.shape), plain_number(filter.frequency_hz, comma),
                  fixed(filter.gain_db, 1, comma), plain_number(filter.q, comma));
  return fmt::format("    [ ]  filter {:<3} {}\n", number, value);
}

}  // namespace

std::string format_typing_list(const Calibration& calibration, const SettingsTableOptions& options) {
  const Digits digits = digits_of(calibration, options);
  const bool comma = options.decimal_comma;
  const Rig& rig = calibration.rig;
  std::string text = wrapped(printable(rig.name.empty() ? rig.layout : fmt::format("{} ({})", rig.name, rig.layout)));
  for (const SpeakerResult* speaker : in_output_order(calibration)) {
    const Settings& settings = speaker->settings;
    text += '\n' + wrapped(printable(fmt::format("OUTPUT {}   {}", speaker->output, speaker->label)));
    if (!settings.delay_ms || !settings.trim_db) {
      text += "         leave as it is: no settings, see the sheet\n";
      continue;
    }
    text += line("delay", fixed(shown_delay(*settings.delay_ms, options.delay_unit, calibration), digits.delay, comma),
                 short_name(options.delay_unit));
    text += line("trim", fixed(*settings.trim_db, digits.trim, comma), "dB");
    text += line("polarity", settings.invert ? "INVERT" : "normal", "");
    for (std::size_t k = 0; k < settings.equaliser.size(); ++k) {
      text += filter_line(settings.equaliser[k], k + 1, comma);
    }
  }
  return text;
}

}  // namespace ringtrue
