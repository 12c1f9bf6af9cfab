#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>
#include <system_error>

#include "calibration_folder.hpp"
#include "command.hpp"
#include "console.hpp"
#include "program.hpp"
#include "ringtrue/calibration/history.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::app {
namespace {

namespace fs = std::filesystem;

struct HistoryOptions {
  std::string folder;
  bool by_name = false;
  bool json = false;
};

constexpr const char* history_footer =
    R"(Keep the calibrations of a rig side by side in one folder (calibrate --out
room/2026-03-01, recheck --out room/2026-03-08): nothing is overwritten. history
lists them from the oldest to the newest with their verdict and which settings
each has otherwise than the one before. The date is the one given with --date,
else that of calibration.json's last change. With --by-name the folders' names
give the order and only dates that were given are shown, so that the same folder
gives the same list on any machine.

Example:
  ringtrue history room)";

struct Found {
  fs::path folder;
  fs::file_time_type time;
};

std::vector<Found> find_calibrations(const fs::path& folder) {
  std::error_code error;
  if (!fs::is_directory(folder, error)) {
    throw InvalidInput{folder.string(), "is no folder", "give the folder that holds the calibrations' folders"};
  }
  std::vector<Found> found;
  for (const auto& entry : fs::directory_iterator{folder, error}) {
    const fs::path file = entry.path() / "calibration.json";
    if (fs::is_regular_file(file, error)) found.push_back({entry.path(), fs::last_write_time(file, error)});
  }
  if (found.empty()) {
    throw InvalidInput{folder.string(), "holds no folder with a calibration.json",
                       "give the folder above those that --out named"};
  }
  return found;
}

std::string date_of(fs::file_time_type time) {
  const auto system = std::chrono::file_clock::to_sys(time);
  return fmt::format("{:%Y-%m-%d %H:%M}",
                     fmt::gmtime(std::chrono::system_clock::to_time_t(
                         std::chrono::time_point_cast<std::chrono::system_clock::duration>(system))));
}

/// Dates as ISO 8601 writes them order like their letters; a "T" before the time counts as the space it may be.
std::string order_of_date(const HistoryEntry& entry) {
  std::string date = entry.date;
  std::ranges::replace(date, 'T', ' ');
  return date;
}

std::vector<HistoryEntry> read_history(const HistoryOptions& options) {
  std::vector<HistoryEntry> history;
  for (const Found& one : find_calibrations(options.folder)) {
    Calibration calibration = read_calibration(one.folder);
    const std::string of_file = options.by_name ? "" : date_of(one.time);
    history.push_back({one.folder.filename().string(), calibration.date.empty() ? of_file : calibration.date,
                       std::move(calibration)});
  }
  std::ranges::sort(history, {}, &HistoryEntry::name);
  if (!options.by_name) std::ranges::stable_sort(history, {}, order_of_date);
  return history;
}

std::string as_text(const std::vector<HistoryEntry>& history) {
  std::string all;
  for (std::size_t i = 0; i < history.size(); ++i) {
    const HistoryEntry& entry = history[i];
    all += text::wrapped(text::printable(fmt::format("{}{}{}: {}", entry.date, entry.date.empty() ? "" : "  ",
                                                     entry.name, verdict_of(entry.calibration))));
    if (i == 0) continue;
    const auto changes = changes_between(history[i - 1].calibration, entry.calibration);
    if (changes.empty()) all += "    no setting changed\n";
    for (const HistoryChange& change : changes) {
      all += text::wrapped(text::printable(change.label + ": " + change.words), "    ");
    }
  }
  return all;
}

std::string as_json(const std::vector<HistoryEntry>& history) {
  using Json = nlohmann::ordered_json;
  Json list = Json::array();
  for (std::size_t i = 0; i < history.size(); ++i) {
    const HistoryEntry& entry = history[i];
    Json changes = Json::array();
    if (i > 0) {
      for (const HistoryChange& change : changes_between(history[i - 1].calibration, entry.calibration)) {
        changes.push_back({{"speaker", change.label}, {"change", change.words}});
      }
    }
    const std::string& given = entry.calibration.date;
    list.push_back({{"name", entry.name},
                    {"date", given.empty() ? Json{} : Json(given)},
                    {"date_utc", entry.date.empty() || !given.empty() ? Json{} : Json(entry.date)},
                    {"verdict", verdict_of(entry.calibration)},
                    {"changes", std::move(changes)}});
  }
  const Json all{{"schema", "ringtrue.history/1"}, {"calibrations", std::move(list)}};
  return all.dump(2, ' ', false, Json::error_handler_t::replace) + '\n';
}

int run(const HistoryOptions& options) {
  const auto history = read_history(options);
  print_result(options.json ? as_json(history) : as_text(history));
  return done;
}

}  // namespace

Command add_history_command(CLI::App& program) {
  const auto options = std::make_shared<HistoryOptions>();
  CLI::App& command = *program.add_subcommand("history", "a rig's calibrations: verdicts, and what changed");
  command.add_option("folder", options->folder, "the folder that holds the calibrations' folders")
      ->option_text("FOLDER")
      ->required();
  command.add_flag("--by-name", options->by_name, "order by the folders' names; only dates that were given");
  command.add_flag("--json", options->json, "print JSON instead of text");
  command.footer(history_footer);
  return {&command, [options] { return run(*options); }};
}

}  // namespace ringtrue::app
