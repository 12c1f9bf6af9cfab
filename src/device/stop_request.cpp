#include "ringtrue/device/stop_request.hpp"

#include <array>
#include <csignal>

namespace ringtrue {
namespace {

// A signal handler can reach nothing but globals: the one place that has some.
std::atomic<bool> requested{false};
std::atomic<std::atomic<std::uint32_t>*> silencer{nullptr};
constexpr std::array signals{SIGINT, SIGTERM, SIGHUP};
std::array<struct sigaction, signals.size()> before{};

extern "C" void ask_to_stop(int /*signal*/) {
  requested.store(true);
  if (auto* const flag = silencer.load()) flag->store(1, std::memory_order_release);
}

}  // namespace

StopRequest::StopRequest() {
  requested.store(false);
  struct sigaction action {};
  action.sa_handler = ask_to_stop;  // without SA_RESTART: a prompt that waits for the user returns
  sigemptyset(&action.sa_mask);
  for (std::size_t i = 0; i < signals.size(); ++i) sigaction(signals[i], &action, &before[i]);
}

StopRequest::~StopRequest() {
  for (std::size_t i = 0; i < signals.size(); ++i) sigaction(signals[i], &before[i], nullptr);
  silencer.store(nullptr);
}

bool StopRequest::made() noexcept { return requested.load(); }

void StopRequest::silence_with(std::atomic<std::uint32_t>* flag) noexcept { silencer.store(flag); }

void StopRequest::check() {
  if (made()) throw Stopped{"stopped"};
}

}  // namespace ringtrue
