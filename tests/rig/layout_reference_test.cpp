#include <doctest/doctest.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "ringtrue/rig/layout.hpp"

// Compares the layouts in the code with the reference tables they were copied from, where those are at hand.

namespace ringtrue {
namespace {

using Row = std::map<std::string, std::string>;

std::filesystem::path reference_folder() {
  const char* const shared = std::getenv("RINGTRUE_SHARED");
  return std::filesystem::path{shared != nullptr ? shared : RINGTRUE_SOURCE_DIR "/../shared"} / "reference";
}

/// Fields of a line up to the first quoted one; the quoted notes at the end of a line are not needed here.
std::vector<std::string> fields(const std::string& line) {
  std::vector<std::string> result;
  std::istringstream stream{line};
  for (std::string field; std::getline(stream, field, ',') && !field.starts_with('"');) result.push_back(field);
  return result;
}

std::vector<Row> read_rows(const std::filesystem::path& path) {
  std::ifstream file{path};
  std::vector<std::string> header;
  std::vector<Row> rows;
  for (std::string line; std::getline(file, line);) {
    if (line.starts_with('#')) continue;
    const auto values = fields(line);
    if (header.empty()) {
      header = values;
      continue;
    }
    Row row;
    for (std::size_t i = 0; i < std::min(values.size(), header.size()); ++i) row[header[i]] = values[i];
    rows.push_back(row);
  }
  return rows;
}

std::string text(double value) {
  std::ostringstream stream;
  stream << value;
  return stream.str();
}

/// A channel written as the reference writes it.
Row as_row(const LayoutChannel& channel) {
  Row row{{"bs2051_label", std::string{channel.bs2051_label}},
          {"is_lfe", channel.is_lfe ? "1" : "0"},
          {"az_nom", text(channel.nominal.azimuth_deg)},
          {"el_nom", text(channel.nominal.elevation_deg)},
          {"trade_label", std::string{channel.label}}};
  row["az_min"] = channel.range ? text(channel.range->az_min_deg) : "";
  row["az_max"] = channel.range ? text(channel.range->az_max_deg) : "";
  row["el_min"] = channel.range ? text(channel.range->el_min_deg) : "";
  row["el_max"] = channel.range ? text(channel.range->el_max_deg) : "";
  return row;
}

const Layout* by_code(const std::string& code) {
  const auto found = std::ranges::find(layouts(), code, &Layout::code);
  return found == layouts().end() ? nullptr : &*found;
}

void check_row(const Row& expected) {
  const Layout* const layout = by_code(expected.at("code"));
  REQUIRE(layout != nullptr);
  CHECK(layout == find_layout(expected.at("trade_format")));
  CHECK((layout->bs2051_name.empty() ? "-" : layout->bs2051_name) == expected.at("bs2051_name"));
  const auto place = static_cast<std::size_t>(std::stoi(expected.at("order"))) - 1;
  REQUIRE(place < layout->channels.size());
  for (const auto& [column, value] : as_row(layout->channels[place])) {
    CAPTURE(column);
    CHECK(value == expected.at(column));
  }
}

}  // namespace

TEST_CASE("every layout in the code equals its rows in the reference table, and none is missing") {
  const auto rows = read_rows(reference_folder() / "layouts.csv");
  if (rows.empty()) {
    MESSAGE("SKIPPED: no reference tables at ", reference_folder().string());
    return;
  }
  std::size_t channels = 0;
  for (const Layout& layout : layouts()) channels += layout.channels.size();
  CHECK(rows.size() == channels);
  for (const Row& row : rows) {
    CAPTURE(row.at("code"));
    CAPTURE(row.at("order"));
    check_row(row);
  }
}

TEST_CASE("channel names follow the reference table of labels") {
  const auto rows = read_rows(reference_folder() / "channel_labels.csv");
  if (rows.empty()) {
    MESSAGE("SKIPPED: no reference tables at ", reference_folder().string());
    return;
  }
  for (const Row& row : rows) {
    CAPTURE(row.at("trade_label"));
    std::string name = row.at("name");
    name.front() = static_cast<char>(name.front() - 'A' + 'a');
    CHECK(channel_name(row.at("trade_label")) == name);
  }
}

}  // namespace ringtrue
