#include "conversation.hpp"

#include <poll.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <cstdio>
#include <thread>

#include "ringtrue/device/stop_request.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::app {
namespace {

constexpr int look_ms = 100;

void wait(std::chrono::milliseconds time) {
  const auto until = std::chrono::steady_clock::now() + time;
  while (std::chrono::steady_clock::now() < until) {
    StopRequest::check();
    std::this_thread::sleep_for(std::chrono::milliseconds{20});
  }
}

}  // namespace

void Conversation::say(const std::string& line) {
  std::fputs((text::printable(line) + '\n').c_str(), stderr);
  std::fflush(stderr);
}

bool Conversation::somebody_is_there() { return isatty(STDIN_FILENO) == 1; }

std::optional<std::string> Conversation::ask(const std::string& question, const std::function<void()>& idle) {
  std::fputs((text::printable(question) + ' ').c_str(), stderr);
  std::fflush(stderr);
  std::string line;
  while (true) {
    StopRequest::check();
    if (idle) idle();
    pollfd keyboard{STDIN_FILENO, POLLIN, 0};
    if (::poll(&keyboard, 1, look_ms) <= 0) continue;
    char letter = 0;
    const ssize_t got = ::read(STDIN_FILENO, &letter, 1);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) {
      std::fputc('\n', stderr);
      return {};
    }
    if (letter == '\n') return line;
    line += letter;
  }
}

void Conversation::caution_before_sound() const {
  if (assume_yes_) return;
  say("Before the first sound: turn the monitors right down. Quiet bursts come first and");
  say("rise until the microphone hears them; sweeps follow, one speaker at a time. Loud");
  say("sweeps hurt ears and tweeters: stay out of the ring, turn the volume up slowly.");
  say("ctrl-C stops the sound at once. (--yes leaves this out.)");
  if (somebody_is_there()) {
    (void)ask("Press Enter to begin.", {});
  } else {
    wait(std::chrono::seconds{3});
  }
}

}  // namespace ringtrue::app
