#include "date_option.hpp"

#include <charconv>
#include <chrono>

namespace ringtrue::app {
namespace {

/// The digits as a number; -1 where anything else stands there.
int whole_number(std::string_view digits) {
  int number = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  return error == std::errc{} && end == digits.data() + digits.size() && number >= 0 ? number : -1;
}

/// "2026-03-01": a day that the calendar has.
bool is_day(std::string_view text) {
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  const int year = whole_number(text.substr(0, 4));
  const int month = whole_number(text.substr(5, 2));
  const int day = whole_number(text.substr(8, 2));
  return year >= 0 && month >= 0 && day >= 0 &&
         std::chrono::year_month_day{std::chrono::year{year}, std::chrono::month{static_cast<unsigned>(month)},
                                     std::chrono::day{static_cast<unsigned>(day)}}
             .ok();
}

/// "18:30"
bool is_time(std::string_view text) {
  if (text.size() != 5 || text[2] != ':') return false;
  const int hour = whole_number(text.substr(0, 2));
  const int minute = whole_number(text.substr(3));
  return hour >= 0 && hour < 24 && minute >= 0 && minute < 60;
}

std::string refusal_of_date(const std::string& text) {
  const std::string_view all{text};
  const bool good = is_day(all.substr(0, 10)) &&
                    (all.size() == 10 || ((all[10] == ' ' || all[10] == 'T') && is_time(all.substr(11))));
  return good ? "" : "is not a date; write it like 2026-03-01 or 2026-03-01T18:30";
}

}  // namespace

void add_date_option(CLI::App& command, std::string& date) {
  command.add_option("--date", date, "when it was measured, to stand in the results: 2026-03-01 or 2026-03-01T18:30")
      ->option_text("DATE")
      ->check(refusal_of_date);
}

}  // namespace ringtrue::app
