#include "transform_count.hpp"

#include <fftw3.h>

#include <algorithm>
#include <atomic>
#include <map>
#include <mutex>

namespace {

using ringtrue::bench::Transform;

struct Count {
  std::mutex mutex;
  std::map<const void*, Transform> plans;  // of all that were made; a new plan at an old one's address replaces it
  std::vector<Transform> done;
  std::atomic<bool> on{false};
};

Count& count() {
  static Count the_one;
  return the_one;
}

template <class Plan>
Plan planned(Plan plan, int n, bool forward, bool single) {
  const std::scoped_lock lock{count().mutex};
  count().plans[plan] = {static_cast<std::size_t>(n), forward, single};
  return plan;
}

void executed(const void* plan) {
  if (!count().on) return;
  const std::scoped_lock lock{count().mutex};
  count().done.push_back(count().plans.at(plan));
}

}  // namespace

// The linker's names: it sends a call of fftw_... to __wrap_fftw_..., and __real_fftw_... is FFTW's own.
// NOLINTBEGIN
#define RINGTRUE_COUNT(library, number, single)                                                              \
  extern "C" {                                                                                               \
  library##_plan __real_##library##_plan_dft_r2c_1d(int n, number* in, library##_complex* out, unsigned);    \
  library##_plan __real_##library##_plan_dft_c2r_1d(int n, library##_complex* in, number* out, unsigned);    \
  void __real_##library##_execute_dft_r2c(library##_plan plan, number* in, library##_complex* out);          \
  void __real_##library##_execute_dft_c2r(library##_plan plan, library##_complex* in, number* out);          \
                                                                                                             \
  library##_plan __wrap_##library##_plan_dft_r2c_1d(int n, number* in, library##_complex* out, unsigned f) { \
    return planned(__real_##library##_plan_dft_r2c_1d(n, in, out, f), n, true, single);                      \
  }                                                                                                          \
  library##_plan __wrap_##library##_plan_dft_c2r_1d(int n, library##_complex* in, number* out, unsigned f) { \
    return planned(__real_##library##_plan_dft_c2r_1d(n, in, out, f), n, false, single);                     \
  }                                                                                                          \
  void __wrap_##library##_execute_dft_r2c(library##_plan plan, number* in, library##_complex* out) {         \
    executed(plan);                                                                                          \
    __real_##library##_execute_dft_r2c(plan, in, out);                                                       \
  }                                                                                                          \
  void __wrap_##library##_execute_dft_c2r(library##_plan plan, library##_complex* in, number* out) {         \
    executed(plan);                                                                                          \
    __real_##library##_execute_dft_c2r(plan, in, out);                                                       \
  }                                                                                                          \
  }
RINGTRUE_COUNT(fftw, double, false)
RINGTRUE_COUNT(fftwf, float, true)
#undef RINGTRUE_COUNT
// NOLINTEND

namespace ringtrue::bench {

std::vector<Transform> transforms_done_by(const std::function<void()>& work) {
  count().done.clear();
  count().on = true;
  work();
  count().on = false;
  std::vector<Transform> done = std::move(count().done);
  std::ranges::sort(done, std::ranges::greater{});  // in the order of threads' chances until here
  return done;
}

}  // namespace ringtrue::bench
