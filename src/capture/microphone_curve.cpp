#include "microphone_curve.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::mic_file {
namespace {

using Rows = std::vector<MicrophoneRow>;

constexpr double highest_frequency_hz = 1e6;
constexpr double largest_gain_db = 40.0;
constexpr double largest_phase_deg = 36'000.0;
constexpr double lowest_top_hz = 100.0;  // measured microphones end at 10 to 100 kHz: below, it is a column in kHz

/// Throws for one line of one file.
struct Refuse {
  const std::string& name;
  [[noreturn]] void operator()(std::size_t line, const std::string& what, const std::string& remedy) const {
    throw InvalidInput{fmt::format("{}:{}", name, line), what, remedy};
  }
};

void check_values(const MicrophoneRow& row, const Refuse& refuse) {
  constexpr const char* remedy = "correct this line or remove it";
  if (!(row.frequency_hz > 0.0)) {
    refuse(row.line, fmt::format("{} Hz is not a frequency above zero", row.frequency_hz), remedy);
  }
  if (!(row.frequency_hz <= highest_frequency_hz)) {
    refuse(row.line, fmt::format("{} Hz is no frequency of sound", row.frequency_hz), remedy);
  }
  if (!(std::abs(row.gain_db) <= largest_gain_db)) {
    refuse(row.line, fmt::format("{} dB at {} Hz is beyond +-40 dB", row.gain_db, row.frequency_hz),
           "give the response relative to 1 kHz, frequency first, level in dB second");
  }
  if (row.phase_deg && !(std::abs(*row.phase_deg) <= largest_phase_deg)) {
    refuse(row.line, fmt::format("{} degrees at {} Hz is beyond 100 turns", *row.phase_deg, row.frequency_hz), remedy);
  }
}

template <class Order, class Value>
bool is_in_order(const Rows& rows, Order order, Value value) {
  return std::ranges::is_sorted(rows, order, value);
}

/// How many digits follow the decimal mark of a frequency; 0: it has none.
std::size_t decimals(const MicrophoneRow& row) {
  const auto mark = row.frequency_text.find_first_of(".,");
  if (mark == std::string_view::npos) return 0;
  const auto fraction = row.frequency_text.substr(mark + 1);
  return static_cast<std::size_t>(std::ranges::find_if_not(fraction, is_digit) - fraction.begin());
}

/// "800 1.000 1.250" or "800 1,000": frequencies out of order, all below 1 kHz, some whole, the others with three
/// decimals. There the mark sets thousands apart.
void refuse_thousands(const Rows& rows, const Refuse& refuse) {
  const auto fits = [](const auto& row) {
    return row.frequency_hz < 1'000.0 && (decimals(row) == 0 || decimals(row) == 3);
  };
  const auto marked = std::ranges::find(rows, 3U, decimals);
  if (!std::ranges::all_of(rows, fits) || marked == rows.end() || std::ranges::find(rows, 0U, decimals) == rows.end()) {
    return;
  }
  refuse(marked->line, fmt::format("{} seems to have a thousands separator", shown_text(marked->frequency_text)),
         fmt::format("write {:.0f} without it", 1'000.0 * marked->frequency_hz));
}

/// The row before the only step in one direction, among rows that otherwise go the other way; end: no such row.
template <class Step>
Rows::const_iterator only_step(const Rows& rows, const Step& is_step) {
  const auto step = std::ranges::adjacent_find(rows, is_step);
  if (step == rows.end()) return step;
  return std::ranges::adjacent_find(step + 1, rows.end(), is_step) == rows.end() ? step : rows.end();
}

/// One step of a decade or more against the direction of all other rows: a second curve, or kHz after Hz.
void refuse_restart(const Rows& rows, const Refuse& refuse) {
  constexpr double decade = 10.0;
  constexpr std::ptrdiff_t least = 3;  // rows on either side; fewer are rows out of place
  auto last = only_step(rows, [](const auto& a, const auto& b) { return b.frequency_hz < a.frequency_hz; });
  if (last == rows.end()) {
    last = only_step(rows, [](const auto& a, const auto& b) { return b.frequency_hz > a.frequency_hz; });
  }
  if (rows.end() - last <= least || last - rows.begin() + 1 < least) return;
  const MicrophoneRow& before = *last;
  const MicrophoneRow& after = *(last + 1);
  const auto [low, high] = std::minmax({before.frequency_hz, after.frequency_hz});
  if (high < decade * low) return;
  refuse(after.line,
         fmt::format("the frequencies begin again at {} Hz after {} Hz", after.frequency_hz, before.frequency_hz),
         "give a file with one curve, all frequencies in Hz");
}

void refuse_kilohertz(const Rows& rows, const std::optional<ColumnHeading>& heading, const Refuse& refuse) {
  const auto top = std::ranges::max_element(rows, {}, &MicrophoneRow::frequency_hz);
  if (top->frequency_hz >= lowest_top_hz) return;
  constexpr const char* remedy = "write the frequencies in Hz";
  if (heading && contains(heading->text, "khz")) refuse(heading->line, "the frequencies are in kHz", remedy);
  refuse(top->line, fmt::format("the highest frequency is {} Hz, so they seem to be in kHz", top->frequency_hz),
         remedy);
}

void refuse_heading(const ColumnHeading& heading, bool three_columns, const Refuse& refuse) {
  if (const std::string unit = foreign_level_unit(heading); !unit.empty()) {
    refuse(heading.line, fmt::format("the levels are in {}", shown_text(unit)), "write them in dB");
  }
  if (contains(heading.text, "rad/s")) refuse(heading.line, "the frequencies are in rad/s", "write them in Hz");
  if (three_columns && third_column(heading) == ThirdColumn::radians) {
    refuse(heading.line, "the phases are in radians", "write them in degrees");
  }
}

/// "20,-1,1": three columns of whole numbers between commas are more likely two columns with decimal commas.
void refuse_ambiguous_commas(const MicrophoneTable& table, const std::optional<ColumnHeading>& heading,
                             const Refuse& refuse) {
  const auto whole = [](const MicrophoneRow& row) { return row.decimal_mark == '\0'; };
  const bool named = heading && third_column(*heading) == ThirdColumn::phase;
  if (table.dialect.comma_is_decimal || named || !std::ranges::all_of(table.rows, whole)) return;
  refuse(table.rows.front().line, "commas seem to separate both columns and decimals",
         "separate the columns by semicolons or tabs");
}

void refuse_duplicates(const Rows& sorted, const Refuse& refuse) {
  const auto twice = std::ranges::adjacent_find(sorted, {}, &MicrophoneRow::frequency_hz);
  if (twice == sorted.end()) return;
  refuse((twice + 1)->line, fmt::format("{} Hz is in line {} already", twice->frequency_hz, twice->line),
         "keep one of the two lines");
}

void refuse_too_few(const Rows& rows, const std::string& name) {
  constexpr const char* remedy = "give a text file with one line per frequency: Hz, then dB";
  if (rows.empty()) throw InvalidInput{name, "no line with a frequency and a level", remedy};
  if (rows.size() == 1) {
    throw InvalidInput{fmt::format("{}:{}", name, rows[0].line),
                       fmt::format("only one point, at {} Hz", rows[0].frequency_hz), remedy};
  }
}

MicrophoneResponse response_of(const Rows& sorted, bool with_phase) {
  MicrophoneResponse response;
  for (const MicrophoneRow& row : sorted) {
    response.frequencies_hz.push_back(row.frequency_hz);
    response.gains_db.push_back(row.gain_db);
    if (with_phase) response.phases_deg.push_back(*row.phase_deg);
  }
  return response;
}

}  // namespace

bool is_shuffled(const std::vector<MicrophoneRow>& rows) {
  return !is_in_order(rows, std::ranges::less{}, &MicrophoneRow::frequency_hz) &&
         !is_in_order(rows, std::ranges::greater{}, &MicrophoneRow::frequency_hz);
}

MicrophoneResponse microphone_curve(const MicrophoneTable& table, const std::optional<ColumnHeading>& heading,
                                    const std::string& name) {
  const Refuse refuse{name};
  refuse_too_few(table.rows, name);
  for (const MicrophoneRow& row : table.rows) check_values(row, refuse);
  if (is_shuffled(table.rows)) {
    refuse_thousands(table.rows, refuse);
    refuse_restart(table.rows, refuse);
  }
  refuse_kilohertz(table.rows, heading, refuse);
  const bool three_columns = table.rows.front().phase_deg.has_value();
  if (heading) refuse_heading(*heading, three_columns, refuse);
  if (three_columns) refuse_ambiguous_commas(table, heading, refuse);
  Rows sorted = table.rows;
  std::ranges::stable_sort(sorted, {}, &MicrophoneRow::frequency_hz);
  refuse_duplicates(sorted, refuse);
  return response_of(sorted, three_columns && !(heading && third_column(*heading) == ThirdColumn::other));
}

}  // namespace ringtrue::mic_file
