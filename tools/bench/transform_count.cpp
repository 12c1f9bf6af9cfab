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
  std::map<fftw_plan, Transform> plans;  // of all that were made; a new plan at an old one's address replaces it
  std::vector<Transform> done;
  std::atomic<bool> on{false};
};

Count& count() {
  static Count the_one;
  return the_one;
}

fftw_plan planned(fftw_plan plan, int n, bool forward) {
  const std::scoped_lock lock{count().mutex};
  count().plans[plan] = {static_cast<std::size_t>(n), forward};
  return plan;
}

void executed(fftw_plan plan) {
  if (!count().on) return;
  const std::scoped_lock lock{count().mutex};
  count().done.push_back(count().plans.at(plan));
}

}  // namespace

// The linker's names: it sends a call of fftw_... to __wrap_fftw_..., and __real_fftw_... is FFTW's own.
extern "C" {
// NOLINTBEGIN(readability-identifier-naming,bugprone-reserved-identifier)
fftw_plan __real_fftw_plan_dft_r2c_1d(int n, double* in, fftw_complex* out, unsigned flags);
fftw_plan __real_fftw_plan_dft_c2r_1d(int n, fftw_complex* in, double* out, unsigned flags);
void __real_fftw_execute_dft_r2c(fftw_plan plan, double* in, fftw_complex* out);
void __real_fftw_execute_dft_c2r(fftw_plan plan, fftw_complex* in, double* out);

fftw_plan __wrap_fftw_plan_dft_r2c_1d(int n, double* in, fftw_complex* out, unsigned flags) {
  return planned(__real_fftw_plan_dft_r2c_1d(n, in, out, flags), n, true);
}
fftw_plan __wrap_fftw_plan_dft_c2r_1d(int n, fftw_complex* in, double* out, unsigned flags) {
  return planned(__real_fftw_plan_dft_c2r_1d(n, in, out, flags), n, false);
}
void __wrap_fftw_execute_dft_r2c(fftw_plan plan, double* in, fftw_complex* out) {
  executed(plan);
  __real_fftw_execute_dft_r2c(plan, in, out);
}
void __wrap_fftw_execute_dft_c2r(fftw_plan plan, fftw_complex* in, double* out) {
  executed(plan);
  __real_fftw_execute_dft_c2r(plan, in, out);
}
// NOLINTEND(readability-identifier-naming,bugprone-reserved-identifier)
}

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
