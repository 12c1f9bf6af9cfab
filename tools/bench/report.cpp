#include "report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <thread>

namespace ringtrue::bench {
namespace {

std::string against(const Timing& timing, const Timing* other) {
  return other == nullptr ? "" : fmt::format("{:.2f}", median(timing.seconds) / median(other->seconds));
}

}  // namespace

double median(std::vector<double> values) {
  std::ranges::sort(values);
  const std::size_t middle = values.size() / 2;
  return values.size() % 2 == 1 ? values[middle] : 0.5 * (values[middle - 1] + values[middle]);
}

std::string machine() {
  std::string model = "unknown processor";
  std::ifstream cpus{"/proc/cpuinfo"};
  for (std::string line; std::getline(cpus, line);) {
    if (!line.starts_with("model name")) continue;
    model = line.substr(line.find(':') + 2);
    break;
  }
  std::string load;
  std::ifstream{"/proc/loadavg"} >> load;
  return fmt::format("{}, {} cores, load average {}", model, std::thread::hardware_concurrency(), load);
}

void print_heading(const std::string& title) {
  fmt::print("\n{}\n{:<36}{:>9}{:>9}{:>9}{:>9}{:>8}{:>9}\n", title, "", "median s", "least s", "CPU s", "peak MB",
             "x FFTW", "x scipy");
}

void print_row(const std::string& name, const Timing& timing, const Timing* transforms, const Timing* scipy) {
  fmt::print("{:<36}{:>9.3f}{:>9.3f}{:>9.3f}{:>9.0f}{:>8}{:>9}\n", name, median(timing.seconds),
             std::ranges::min(timing.seconds), median(timing.cpu_seconds), timing.peak_mb, against(timing, transforms),
             against(timing, scipy));
  std::fflush(stdout);
}

}  // namespace ringtrue::bench
