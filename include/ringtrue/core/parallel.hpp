#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

namespace ringtrue {

/// Calls work(i) once for every i in [0, count), on up to `threads` threads (0: one per core).
/// Each i must write only to its own slot, so the result does not depend on the number of threads.
/// The exception of the lowest failing i is rethrown after all threads have ended.
template <class Work>
void parallel_for(std::size_t count, unsigned threads, const Work& work) {
  if (threads == 0) threads = std::max(1U, std::thread::hardware_concurrency());
  const std::size_t workers = std::min<std::size_t>(threads, count);
  std::vector<std::exception_ptr> errors(count);
  std::atomic<std::size_t> next{0};
  const auto run = [&] {
    for (std::size_t i = next.fetch_add(1); i < count; i = next.fetch_add(1)) {
      try {
        work(i);
      } catch (...) {
        errors[i] = std::current_exception();
      }
    }
  };
  std::vector<std::jthread> crew;
  for (std::size_t w = 1; w < workers; ++w) crew.emplace_back(run);
  run();
  crew.clear();
  for (const auto& error : errors) {
    if (error) std::rethrow_exception(error);
  }
}

/// make(i) for every i in [0, count), in order, on up to `threads` threads as above.
template <class Make>
[[nodiscard]] auto parallel_map(std::size_t count, unsigned threads, const Make& make) {
  std::vector<std::optional<decltype(make(count))>> made(count);
  parallel_for(count, threads, [&](std::size_t i) { made[i].emplace(make(i)); });
  std::vector<decltype(make(count))> all;
  for (auto& one : made) all.push_back(*std::move(one));
  return all;
}

}  // namespace ringtrue
