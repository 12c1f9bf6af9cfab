#include "child.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <sstream>
#include <stdexcept>

extern char** environ;

namespace ringtrue::bench {
namespace {

struct Ended {
  std::string output;
  int status = -1;
  double seconds = 0.0;
  double cpu_seconds = 0.0;
  double peak_mb = 0.0;
};

pid_t spawn(const std::vector<std::string>& command, int output) {
  std::vector<std::string> words = command;
  std::vector<char*> arguments;
  for (std::string& word : words) arguments.push_back(word.data());
  arguments.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_adddup2(&actions, output, STDOUT_FILENO);
  pid_t child = 0;
  const int error = posix_spawnp(&child, arguments.front(), &actions, nullptr, arguments.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (error != 0) throw std::runtime_error{"cannot run " + command.front()};
  return child;
}

std::string read_all(int pipe) {
  std::string text;
  std::array<char, 4'096> buffer{};
  for (ssize_t n = 0; (n = read(pipe, buffer.data(), buffer.size())) > 0;) {
    text.append(buffer.data(), static_cast<std::size_t>(n));
  }
  return text;
}

Ended run(const std::vector<std::string>& command) {
  std::array<int, 2> ends{};
  if (pipe2(ends.data(), O_CLOEXEC) != 0) throw std::runtime_error{"no pipe"};
  const auto begin = std::chrono::steady_clock::now();
  const pid_t child = spawn(command, ends[1]);
  close(ends[1]);
  Ended ended;
  ended.output = read_all(ends[0]);
  close(ends[0]);
  rusage usage{};
  int status = 0;
  wait4(child, &status, 0, &usage);
  ended.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  const auto in_seconds = [](const timeval& t) {
    return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
  };
  ended.cpu_seconds = in_seconds(usage.ru_utime) + in_seconds(usage.ru_stime);
  ended.status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  ended.peak_mb = static_cast<double>(usage.ru_maxrss) * 1024.0 / 1e6;
  return ended;
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : " ") + word;
  return text;
}

}  // namespace

Timing ask_child(const std::vector<std::string>& command) {
  const Ended ended = run(command);
  Timing timing;
  std::istringstream lines{ended.output};
  for (std::string line; std::getline(lines, line);) {
    std::istringstream words{line};
    std::string key;
    double value = 0.0;
    double cpu = 0.0;
    words >> key >> value >> cpu;
    if (key == "peak_mb") timing.peak_mb = value;
    if (key != "time") continue;
    timing.seconds.push_back(value);
    timing.cpu_seconds.push_back(cpu);
  }
  if (ended.status != 0 || timing.seconds.empty()) throw std::runtime_error{"failed: " + joined(command)};
  return timing;
}

Timing time_command(const std::vector<std::string>& command, int accepted_status) {
  const Ended ended = run(command);
  if (ended.status < 0 || ended.status > accepted_status) throw std::runtime_error{"failed: " + joined(command)};
  return {{ended.seconds}, {ended.cpu_seconds}, ended.peak_mb};
}

void answer(const Timing& timing) {
  for (std::size_t i = 0; i < timing.seconds.size(); ++i) {
    fmt::print("time {:.6f} {:.6f}\n", timing.seconds[i], timing.cpu_seconds[i]);
  }
  fmt::print("peak_mb {:.1f}\n", timing.peak_mb);
}

void pool(Timing& all, const Timing& round) {
  const std::ptrdiff_t first = round.seconds.size() > 1 ? 1 : 0;
  all.seconds.insert(all.seconds.end(), round.seconds.begin() + first, round.seconds.end());
  all.cpu_seconds.insert(all.cpu_seconds.end(), round.cpu_seconds.begin() + first, round.cpu_seconds.end());
  all.peak_mb = std::max(all.peak_mb, round.peak_mb);
}

}  // namespace ringtrue::bench
