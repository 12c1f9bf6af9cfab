#pragma once

#include <chrono>
#include <condition_variable>
#include <cstdio>
#include <mutex>
#include <string>
#include <thread>

namespace ringtrue::app {

/// One line that says what is being done, for people who wait: it appears after a while, counts the seconds, and is
/// gone at the end. Silent where `shown` is false (a pipe, a log), and until a step is named.
class Progress {
 public:
  Progress(std::FILE* terminal, bool shown, std::chrono::milliseconds patience = std::chrono::seconds{1});
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  /// Names what comes next: "position 2 of 5: measuring".
  void now(const std::string& step);

 private:
  void keep_drawing(const std::stop_token& stop, std::chrono::milliseconds patience);

  std::FILE* terminal_;
  std::mutex mutex_;
  std::condition_variable_any wake_;
  std::string step_;
  std::jthread painter_;  // last: it uses the others
};

/// Progress on stderr, shown when that is a terminal.
[[nodiscard]] Progress progress_on_stderr();

}  // namespace ringtrue::app
