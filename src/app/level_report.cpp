#include "level_report.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "ringtrue/alignment/reference_level.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::app {
namespace {

std::optional<double> full_scale(const LevelReport& report) {
  return report.found_full_scale_spl_db ? report.found_full_scale_spl_db : report.rig.microphone.full_scale_spl_db;
}

const char* unit(const LevelReport& report) { return full_scale(report) ? "dB SPL" : "dB re full scale (rms 1.0)"; }

std::string readings(const LevelReport& report) {
  const MeterReading& at = report.reading;
  const double offset = full_scale(report).value_or(0.0);
  return fmt::format("Meter, {}          A        C        Z\n", unit(report)) +
         fmt::format("{:<26}{:7.1f}  {:7.1f}  {:7.1f}\n", "slow, at the end", at.a_slow + offset, at.c_slow + offset,
                     at.z_slow + offset) +
         fmt::format("{:<26}{:7.1f}  {:7.1f}\n", "fast, highest", at.a_fast_highest + offset,
                     at.c_fast_highest + offset) +
         fmt::format("{:<26}{:7.1f}  {:7.1f}\n", "mean over the whole", at.a_equivalent + offset,
                     at.c_equivalent + offset);
}

std::string result(const LevelReport& report) {
  if (!report.found_full_scale_spl_db) return {};
  std::string text = fmt::format(
      "Full scale of this microphone and its input (rms 1.0) is {:.1f} dB SPL. It was written into {}; levels are dB "
      "SPL from now on, as long as nobody turns the gain.",
      *report.found_full_scale_spl_db, text::printable(report.rig_path));
  const auto& before = report.rig.microphone.full_scale_spl_db;
  if (before && std::abs(*before - *report.found_full_scale_spl_db) >= 0.05) {
    text += fmt::format(" It was {:.1f} before.", *before);
  }
  return text::wrapped(text) + '\n';
}

std::string suggestion(const LevelReport& report) {
  const auto volume = volume_m3(report.rig.room);
  if (!volume)
    return '\n' + text::wrapped("Give the room's size_m in the rig for the reference level suggested there.");
  const ReferenceLevel reference = reference_level(*volume);
  return '\n' + text::wrapped(fmt::format(
                    "Suggested reference level for a room of {:.0f} m3: {:.0f} dB(C) from one speaker, pink noise of "
                    "500-2000 Hz at {:g} dBFS rms, meter slow. Source: {} ({}). 'ringtrue calibrate' says how far the "
                    "monitor volume is from it.",
                    *volume, reference.spl_db, reference_noise_dbfs, reference.source, reference.certainty));
}

double rounded(double value) { return std::round(value * 100.0) / 100.0 + 0.0; }

}  // namespace

std::string level_text(const LevelReport& report) { return result(report) + readings(report) + suggestion(report); }

std::string level_json(const LevelReport& report) {
  using Json = nlohmann::ordered_json;
  const auto known = full_scale(report);
  const auto level = [&](double reading) { return rounded(reading + known.value_or(0.0)); };
  const MeterReading& at = report.reading;
  Json json{{"schema", "ringtrue.level/1"},
            {"full_scale_spl_db", known ? Json(rounded(*known)) : Json{}},
            {"written", report.found_full_scale_spl_db.has_value()},
            {"unit", unit(report)},
            {"a_slow_db", level(at.a_slow)},
            {"c_slow_db", level(at.c_slow)},
            {"z_slow_db", level(at.z_slow)},
            {"a_fast_highest_db", level(at.a_fast_highest)},
            {"c_fast_highest_db", level(at.c_fast_highest)},
            {"a_mean_db", level(at.a_equivalent)},
            {"c_mean_db", level(at.c_equivalent)},
            {"reference_level", Json{}}};
  if (const auto volume = volume_m3(report.rig.room)) {
    const ReferenceLevel reference = reference_level(*volume);
    json["reference_level"] = {{"spl_db", reference.spl_db},
                               {"noise_dbfs_rms", reference_noise_dbfs},
                               {"source", reference.source},
                               {"certainty", reference.certainty}};
  }
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

}  // namespace ringtrue::app
