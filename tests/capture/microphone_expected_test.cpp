#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <map>

#include "microphone_texts.hpp"

// Real files and replicas of real shapes, kept outside the repository (../shared/data/README.md). `expected.csv` there
// says what each must read as, or that it must be refused.

namespace ringtrue {
namespace {

using namespace test;

std::filesystem::path microphone_files() {
  const char* const shared = std::getenv("RINGTRUE_SHARED");
  return std::filesystem::path{shared != nullptr ? shared : RINGTRUE_SOURCE_DIR "/../shared"} / "data" / "mic_response";
}

/// Cells of one line of CSV (RFC 4180).
std::vector<std::string> csv_cells(const std::string& line) {
  std::vector<std::string> cells(1);
  bool inside = false;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (line[i] == '"' && inside && i + 1 < line.size() && line[i + 1] == '"') {
      cells.back() += line[i++];
    } else if (line[i] == '"') {
      inside = !inside;
    } else if (line[i] == ',' && !inside) {
      cells.emplace_back();
    } else if (line[i] != '\r') {
      cells.back() += line[i];
    }
  }
  return cells;
}

using Row = std::map<std::string, std::string>;

std::vector<Row> csv_rows(const std::filesystem::path& path) {
  std::ifstream file{path};
  std::vector<Row> rows;
  std::string line;
  std::getline(file, line);
  const auto names = csv_cells(line);
  while (std::getline(file, line)) {
    const auto cells = csv_cells(line);
    REQUIRE(cells.size() == names.size());
    for (std::size_t i = 0; i < names.size(); ++i) {
      if (i == 0) rows.emplace_back();
      rows.back()[names[i]] = cells[i];
    }
  }
  return rows;
}

bool must_be_refused(const Row& row) { return row.at("first_hz").empty() || has(row.at("note"), "must be refused"); }

void check_refused(const Row& row, const Reading& reading) {
  CHECK_FALSE(reading.file);
  CHECK(reading.refusal.starts_with(row.at("file") + ":"));
  CHECK(reading.refusal.find('\n') == std::string::npos);
  if (has(row.at("note"), "line 3 must be reported")) CHECK(reading.refusal.starts_with(row.at("file") + ":3: "));
  if (has(row.at("note"), "in lines 11-14")) CHECK(reading.refusal.starts_with(row.at("file") + ":11: "));
  if (has(row.at("note"), "first row has frequency -20")) CHECK(has(reading.refusal, ":1: -20 Hz"));
  if (has(row.at("note"), "20 good rows then")) CHECK(has(reading.refusal, ":21: "));
}

void check_sensitivity(const Row& row, const MicrophoneResponse& response) {
  const std::string& text = row.at("sensitivity_text");
  CHECK(response.sensitivity.has_value() == !text.empty());
  if (!response.sensitivity) return;
  CHECK(text.starts_with(fmt::format("{} {}", response.sensitivity->value, response.sensitivity->unit)));
}

/// Every point against the curve behind the replicas, where the file has as many.
void check_curve(const Row& row, const MicrophoneResponse& response, const std::vector<Row>& curve) {
  if (response.gains_db.size() != curve.size()) return;
  const double tolerance_db = has(row.at("note"), "tolerance 0.05 dB") ? 0.051 : 0.0051;  // half of the last digit
  for (std::size_t i = 0; i < curve.size(); ++i) {
    CAPTURE(i);
    CHECK(std::abs(response.frequencies_hz[i] - std::stod(curve[i].at("frequency_hz"))) < 0.0051);
    CHECK(std::abs(response.gains_db[i] - std::stod(curve[i].at("level_db"))) < tolerance_db);
  }
}

void check_accepted(const Row& row, const Reading& reading, const std::vector<Row>& curve) {
  CHECK(reading.refusal == "");
  if (!reading.file) return;
  const MicrophoneResponse& response = reading.file->response;
  CHECK(response.frequencies_hz.size() == std::stoul(row.at("data_rows")));
  CHECK(response.gains_db.size() == response.frequencies_hz.size());
  CHECK(std::abs(response.frequencies_hz.front() - std::stod(row.at("first_hz"))) < 0.0051);
  CHECK(std::abs(response.frequencies_hz.back() - std::stod(row.at("last_hz"))) < 0.0051);
  CHECK(std::abs(response.gains_db.front() - std::stod(row.at("first_db"))) < 0.051);
  CHECK(std::abs(response.gains_db.back() - std::stod(row.at("last_db"))) < 0.051);
  CHECK(response.phases_deg.size() == (row.at("phase_column") == "yes" ? response.frequencies_hz.size() : 0));
  check_sensitivity(row, response);
  check_curve(row, response, curve);
  if (!has(row.at("note"), "phase column = -3*log2(f/1000) deg")) return;
  for (std::size_t i = 0; i < response.phases_deg.size(); ++i) {
    CHECK(std::abs(response.phases_deg[i] + 3.0 * std::log2(response.frequencies_hz[i] / 1e3)) < 0.006);
  }
}

}  // namespace

TEST_SUITE_BEGIN("microphone file");

TEST_CASE("files of real microphones and their shapes read as their owner says, or are refused") {
  const auto folder = microphone_files();
  if (!std::filesystem::exists(folder / "expected.csv")) {
    MESSAGE("SKIPPED: " << folder.string() << " is not here");
    return;
  }
  const auto curve = csv_rows(folder / "base_curve.csv");
  REQUIRE(curve.size() == 63);
  std::size_t refused = 0;
  const auto rows = csv_rows(folder / "expected.csv");
  for (const Row& row : rows) {
    const std::string& name = row.at("file");
    CAPTURE(name);
    Reading reading;
    const std::string bytes = read_bytes(folder / name);
    reading.refusal = refusal_of([&] { reading.file = parse_microphone_response(bytes, name); });
    if (must_be_refused(row)) {
      check_refused(row, reading);
      ++refused;
    } else {
      check_accepted(row, reading, curve);
    }
  }
  CHECK(rows.size() == 26);
  CHECK(refused == 10);  // nine defective ones, and the one in kHz
}

TEST_SUITE_END();

}  // namespace ringtrue
