#include "take_progress.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace ringtrue::app {

std::string take_progress(const Stimulus& stimulus, const Rig& rig, std::int64_t frame) {
  const double left_s =
      static_cast<double>(std::max<std::int64_t>(stimulus.frames - frame, 0)) / stimulus.sample_rate_hz;
  const auto whole_s = static_cast<long>(std::ceil(left_s));
  const std::string left = fmt::format("{}:{:02} left", whole_s / 60, whole_s % 60);
  const auto next = std::ranges::find_if(stimulus.sweeps, [&](const ScheduledSweep& sweep) {
    return frame < sweep.first_frame + std::ssize(stimulus.shapes[sweep.shape].samples);
  });
  if (next == stimulus.sweeps.end()) return left;
  const Speaker& speaker = rig.speakers[next->speaker];
  return fmt::format("{} (output {}), {}", speaker.label, speaker.output, left);
}

void TakeLine::draw(const std::string& text) {
  if (!shown_ || text == drawn_) return;
  std::fprintf(terminal_, "\r\x1b[K%s", text.c_str());  // \x1b[K: erase line
  std::fflush(terminal_);
  drawn_ = text;
}

void TakeLine::clear() {
  if (drawn_.empty()) return;
  std::fputs("\r\x1b[K", terminal_);
  std::fflush(terminal_);
  drawn_.clear();
}

}  // namespace ringtrue::app
