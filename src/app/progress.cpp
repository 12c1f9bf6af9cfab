#include "progress.hpp"

#include <unistd.h>

namespace ringtrue::app {

using std::chrono::duration_cast;
using std::chrono::milliseconds;
using std::chrono::seconds;
using std::chrono::steady_clock;

Progress::Progress(std::FILE* terminal, bool shown, milliseconds patience) : terminal_{terminal} {
  if (!shown) return;
  painter_ = std::jthread{[this, patience](const std::stop_token& stop) { keep_drawing(stop, patience); }};
}

Progress::~Progress() {
  if (!painter_.joinable()) return;
  painter_.request_stop();
  painter_.join();
}

void Progress::now(const std::string& step) {
  const std::scoped_lock lock{mutex_};
  step_ = step;
}

void Progress::keep_drawing(const std::stop_token& stop, milliseconds patience) {
  constexpr milliseconds between_drawings{250};
  const auto start = steady_clock::now();
  bool drawn = false;
  std::unique_lock lock{mutex_};
  wake_.wait_for(lock, stop, patience, [] { return false; });
  while (!stop.stop_requested()) {
    if (step_.empty()) {
      wake_.wait_for(lock, stop, between_drawings, [] { return false; });
      continue;
    }
    const auto waited = duration_cast<seconds>(steady_clock::now() - start).count();
    std::fprintf(terminal_, "\r\x1b[K%s, %lld s", step_.c_str(), static_cast<long long>(waited));  // \x1b[K: erase line
    std::fflush(terminal_);
    drawn = true;
    wake_.wait_for(lock, stop, between_drawings, [] { return false; });
  }
  if (!drawn) return;
  std::fputs("\r\x1b[K", terminal_);
  std::fflush(terminal_);
}

Progress progress_on_stderr() { return {stderr, isatty(STDERR_FILENO) == 1}; }

}  // namespace ringtrue::app
