#include "ringtrue/capture/microphone_response_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "descriptor.hpp"
#include "microphone_curve.hpp"
#include "microphone_heading.hpp"
#include "microphone_table.hpp"
#include "plain_text.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/core/units.hpp"

namespace ringtrue {
namespace {

using namespace mic_file;

constexpr std::size_t largest_file = 4U << 20U;

// What a curve should cover so that nothing must be guessed: the third-octave bands of 20 Hz to 16 kHz.
constexpr double covered_from_hz = 22.4;    // IEC 61260-1:2014, upper edge of the 20 Hz band
constexpr double covered_to_hz = 17'780.0;  // upper edge of the 16 kHz band
constexpr double wide_gap = 2.0;            // an octave between neighbouring points
constexpr double far_from_zero_db = 6.0;    // at 1 kHz, where responses are normally given as 0 dB

/// Gathers what the user should know, as findings.
class Notes {
 public:
  void add(std::string message) {
    findings_.push_back({Severity::note, "mic-response", std::nullopt, std::move(message)});
  }
  [[nodiscard]] Findings take() && { return std::move(findings_); }

 private:
  Findings findings_;
};

/// "1000Hz -38.5" above rows that have no units is a sensitivity, not a point of the curve.
void set_sensitivity_row_apart(MicrophoneTable& table) {
  auto& rows = table.rows;
  if (rows.size() < 3 || !rows[0].frequency_has_unit || rows[1].frequency_has_unit) return;
  table.before.push_back({rows[0].line, rows[0].text});
  rows.erase(rows.begin());
}

void read_sensitivity(const MicrophoneTable& table, const std::optional<ColumnHeading>& heading,
                      MicrophoneResponse& response, Notes& notes) {
  std::optional<TextLine> ignored;
  for (const TextLine& line : table.before) {
    if (response.sensitivity || !mentions_sensitivity(line.text)) continue;
    response.sensitivity = sensitivity_in(line.text);
    if (!response.sensitivity && !(heading && heading->line == line.line) && !ignored) ignored = line;
  }
  if (response.sensitivity || !ignored) return;
  notes.add(
      fmt::format("Line {} of the microphone's response speaks of a sensitivity, {}, but gives no number with a "
                  "unit: it was ignored.",
                  ignored->line, shown_text(ignored->text)));
}

void note_summary(const MicrophoneResponse& response, Notes& notes) {
  const auto& sensitivity = response.sensitivity;
  notes.add(
      fmt::format("The microphone's response ({} points, {:.6g} Hz to {:.6g} Hz, {} phase) was taken out of every "
                  "response and level.{}",
                  response.frequencies_hz.size(), response.frequencies_hz.front(), response.frequencies_hz.back(),
                  response.phases_deg.empty() ? "without" : "with",
                  sensitivity ? fmt::format(" Its sensitivity of {} {} is not applied: levels stay relative.",
                                            sensitivity->value, sensitivity->unit)
                              : ""));
}

void note_third_column(const MicrophoneTable& table, const std::optional<ColumnHeading>& heading,
                       const MicrophoneResponse& response, Notes& notes) {
  if (!table.rows.front().phase_deg) return;
  if (response.phases_deg.empty()) {
    notes.add(
        fmt::format("Line {} of the microphone's response does not name its third column as a phase: it was "
                    "ignored.",
                    heading->line));
  } else if (!heading) {
    notes.add("The third column of the microphone's response was taken as phase in degrees.");
  }
}

void note_text(const MicrophoneTable& table, Notes& notes) {
  if (!table.after.empty()) {
    notes.add(
        fmt::format("Line {} of the microphone's response and what follows it is text below the table: it was "
                    "ignored.",
                    table.after.front().line));
  }
  const auto heading = std::ranges::find_if(table.before, [](const TextLine& line) {
    return begins_like_number(line.text) && !mentions_sensitivity(line.text);
  });
  if (heading == table.before.end()) return;
  notes.add(fmt::format("Line {} of the microphone's response, {}, was taken as a heading and ignored.", heading->line,
                        shown_text(heading->text)));
}

void note_ends(const MicrophoneResponse& response, Notes& notes) {
  const double first_hz = response.frequencies_hz.front();
  const double last_hz = response.frequencies_hz.back();
  if (first_hz <= covered_from_hz && last_hz >= covered_to_hz) return;
  notes.add(fmt::format("The microphone's response covers only {:.6g} Hz to {:.6g} Hz: beyond, its last value is held.",
                        first_hz, last_hz));
}

void note_gap(const MicrophoneResponse& response, Notes& notes) {
  const auto& f = response.frequencies_hz;
  const auto gap = std::ranges::adjacent_find(f, [](double low, double high) { return high > wide_gap * low; });
  if (gap == f.end()) return;
  notes.add(
      fmt::format("The microphone's response has no point between {:.6g} Hz and {:.6g} Hz: a straight line is "
                  "drawn there.",
                  *gap, *(gap + 1)));
}

void note_level(const MicrophoneResponse& response, Notes& notes) {
  const double at_1_khz_db = decibels_of_amplitude(std::abs(transfer_at(response, 1'000.0))).value();
  if (std::abs(at_1_khz_db) <= far_from_zero_db) return;
  notes.add(
      fmt::format("The microphone's response is {:.1f} dB at 1 kHz, not 0 dB: all levels shift by that.", at_1_khz_db));
}

void refuse_web_page(std::string_view text, const std::string& name) {
  const auto first = text.find_first_not_of(" \t\r\n");
  if (first == std::string_view::npos) throw InvalidInput{name, "is empty", "copy or download the file again"};
  if (text[first] != '<') return;
  const auto line = lines_of(text.substr(0, first + 1)).size();
  throw InvalidInput{fmt::format("{}:{}", name, line), "this is a web page or XML, not a table of numbers",
                     "download the text file itself"};
}

}  // namespace

MicrophoneFile parse_microphone_response(std::string_view bytes, const std::string& name) {
  if (bytes.size() > largest_file) {
    throw InvalidInput{name, "is larger than 4 MiB", "give the text file that came with the microphone"};
  }
  const std::string text = plain_text(bytes, name);
  refuse_web_page(text, name);
  MicrophoneTable table = read_microphone_table(text, name);
  set_sensitivity_row_apart(table);
  const auto heading = column_heading(table.before);
  MicrophoneResponse response = microphone_curve(table, heading, name);
  Notes notes;
  read_sensitivity(table, heading, response, notes);
  note_summary(response, notes);
  note_third_column(table, heading, response, notes);
  note_text(table, notes);
  note_ends(response, notes);
  note_gap(response, notes);
  note_level(response, notes);
  if (is_shuffled(table.rows)) notes.add("The lines of the microphone's response were in no order and were sorted.");
  return {std::move(response), std::move(notes).take()};
}

MicrophoneFile read_microphone_response(const std::filesystem::path& path) {
  const auto [file, size] = open_regular_file(path);
  std::string bytes(std::min<std::size_t>(static_cast<std::size_t>(size), largest_file) + 1, '\0');
  std::size_t done = 0;
  for (ssize_t count = 1; count > 0 && done < bytes.size(); done += static_cast<std::size_t>(count)) {
    count = ::read(file.number(), bytes.data() + done, bytes.size() - done);
    if (count < 0) throw InvalidInput{shown_path(path), "cannot be read", "copy it to another disk and try again"};
  }
  bytes.resize(done);
  return parse_microphone_response(bytes, shown_path(path));
}

}  // namespace ringtrue
