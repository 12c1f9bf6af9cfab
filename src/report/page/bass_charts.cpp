#include "bass_charts.hpp"

#include <fmt/format.h>

namespace ringtrue::page {
namespace {

Series line(const char* name, Look look, const std::vector<double>& x, const std::vector<double>& y) {
  return {name, look, x, {y.begin(), y.end()}};
}

}  // namespace

std::vector<Chart> bass_charts(const BassPicture& picture) {
  std::vector<Chart> charts;
  const auto& x = picture.frequency_hz;
  if (x.empty()) return charts;
  for (const auto& main : picture.mains) {
    Chart chart{fmt::format("bass-{}", charts.size()),
                fmt::format("{} with the sub, crossover {:g} Hz: {:.0f} degrees apart by arrival, {:.0f} as set",
                            main.label, main.crossover_hz, main.phase_before_deg, main.phase_after_deg),
                fmt::format("{} and the sub together over frequency. At the crossover the sub's phase against the main "
                            "is {:.0f} degrees by arrival alone, {:.0f} degrees with these settings; 0 adds up in "
                            "full, 180 cancels.",
                            main.label, main.phase_before_deg, main.phase_after_deg),
                {"Frequency in Hz", "Hz", true, {{x.front(), x.back()}}},
                {"dB against the mains", "dB", false, {{-30.0, 15.0}}},
                {},
                {},
                1};
    chart.series = {line("main alone", Look::position, x, main.main_db),
                    line("sub alone", Look::second, x, main.sub_db),
                    line("together, by arrival alone", Look::target, x, main.before_db),
                    line("together, as set", Look::average, x, main.after_db)};
    charts.push_back(std::move(chart));
  }
  return charts;
}

}  // namespace ringtrue::page
