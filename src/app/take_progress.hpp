#pragma once

#include <cstdint>
#include <cstdio>
#include <string>

#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::app {

/// "Lss (output 5), 0:34 left": which speaker plays at that frame of a take, or comes next, and how long it all takes.
[[nodiscard]] std::string take_progress(const Stimulus& stimulus, const Rig& rig, std::int64_t frame);

/// One line on a terminal that follows a take while it plays, and is gone afterwards.
class TakeLine {
 public:
  /// @param shown  false: nothing is drawn (a pipe, a log)
  TakeLine(std::FILE* terminal, bool shown) : terminal_{terminal}, shown_{shown} {}
  ~TakeLine() { clear(); }
  TakeLine(const TakeLine&) = delete;
  TakeLine& operator=(const TakeLine&) = delete;

  void draw(const std::string& text);
  void clear();

 private:
  std::FILE* terminal_;
  bool shown_;
  std::string drawn_;
};

}  // namespace ringtrue::app
