#pragma once

#include <cstddef>
#include <functional>
#include <vector>

namespace ringtrue::bench {

/// One real transform of n samples.
struct Transform {
  std::size_t n = 0;
  bool forward = true;
  bool single = false;  // in single precision
  friend auto operator<=>(const Transform&, const Transform&) = default;
};

/// Every transform that the library has FFTW do while `work` runs, the largest first. The library knows nothing of it:
/// this program is linked so that the library's calls of FFTW come by here (CMakeLists.txt, --wrap).
[[nodiscard]] std::vector<Transform> transforms_done_by(const std::function<void()>& work);

}  // namespace ringtrue::bench
