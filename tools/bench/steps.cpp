#include "steps.hpp"

#include <fftw3.h>
#include <fmt/format.h>
#include <malloc.h>

#include <algorithm>
#include <chrono>
#include <ctime>
#include <fstream>
#include <map>
#include <memory>
#include <string>
#include <type_traits>

#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/calibration/calibration_json.hpp"
#include "ringtrue/core/parallel.hpp"
#include "ringtrue/dsp/real_fft.hpp"
#include "ringtrue/report/report_page.hpp"
#include "ringtrue/report/sheet.hpp"
#include "ringtrue/response/deconvolution.hpp"
#include "ringtrue/response/measurement.hpp"
#include "transform_count.hpp"

namespace ringtrue::bench {
namespace {

/// Forgets the peak so far, so that making the workload does not count (Linux, /proc/self/clear_refs).
void forget_peak() {
  malloc_trim(0);
  std::ofstream{"/proc/self/clear_refs"} << "5\n";
}

double peak_mb() {
  std::ifstream status{"/proc/self/status"};
  for (std::string line; std::getline(status, line);) {
    if (line.starts_with("VmHWM:")) return std::stod(line.substr(6)) * 1024.0 / 1e6;
  }
  return 0.0;
}

double cpu_seconds() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) + 1e-9 * static_cast<double>(now.tv_nsec);
}

template <class Work>
Timing time_of(std::size_t repetitions, const Work& work) {
  forget_peak();
  Timing timing;
  for (std::size_t i = 0; i < repetitions; ++i) {
    const auto begin = std::chrono::steady_clock::now();
    const double cpu_begin = cpu_seconds();
    work();
    timing.cpu_seconds.push_back(cpu_seconds() - cpu_begin);
    timing.seconds.push_back(std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count());
  }
  timing.peak_mb = peak_mb();
  return timing;
}

/// A transform planned beforehand, on its own buffers of FFTW's own alignment.
class BareTransform {
 public:
  virtual ~BareTransform() = default;
  virtual void run() const = 0;
};

/// By the functions of one of FFTW's libraries.
template <auto allocate_real, auto allocate_complex, auto plan_forward, auto plan_inverse, auto execute, auto destroy,
          auto release>
class PlannedTransform : public BareTransform {
 public:
  explicit PlannedTransform(Transform of) : time_{allocate_real(of.n)}, bins_{allocate_complex(of.n / 2 + 1)} {
    using Number = std::remove_pointer_t<decltype(time_)>;
    const int size = static_cast<int>(of.n);
    plan_ =
        of.forward ? plan_forward(size, time_, bins_, FFTW_ESTIMATE) : plan_inverse(size, bins_, time_, FFTW_ESTIMATE);
    for (std::size_t i = 0; i < of.n; ++i) time_[i] = Number{1} / static_cast<Number>(i % 1'000 + 1);
    for (std::size_t k = 0; k <= of.n / 2; ++k) bins_[k][0] = bins_[k][1] = Number{1} / static_cast<Number>(k + 1);
  }
  ~PlannedTransform() override {
    destroy(plan_);
    release(time_);
    release(bins_);
  }
  PlannedTransform(const PlannedTransform&) = delete;
  PlannedTransform& operator=(const PlannedTransform&) = delete;

  void run() const override { execute(plan_); }

 private:
  decltype(allocate_real(0)) time_;
  decltype(allocate_complex(0)) bins_;
  decltype(plan_forward(0, nullptr, nullptr, 0)) plan_;
};

using DoubleTransform = PlannedTransform<fftw_alloc_real, fftw_alloc_complex, fftw_plan_dft_r2c_1d,
                                         fftw_plan_dft_c2r_1d, fftw_execute, fftw_destroy_plan, fftw_free>;
using SingleTransform = PlannedTransform<fftwf_alloc_real, fftwf_alloc_complex, fftwf_plan_dft_r2c_1d,
                                         fftwf_plan_dft_c2r_1d, fftwf_execute, fftwf_destroy_plan, fftwf_free>;

std::unique_ptr<BareTransform> bare(Transform transform) {
  if (transform.single) return std::make_unique<SingleTransform>(transform);
  return std::make_unique<DoubleTransform>(transform);
}

/// One forward and one inverse transform for each sweep on each channel. The window is hearing.cpp's, without the
/// subwoofer's longer response: 60 ms before and the stimulus' silence after.
std::vector<Transform> deconvolution_alone(const Workload& workload) {
  const double after_s = workload.stimulus.decay.value() - 0.08;
  const double rate_hz = workload.stimulus.sample_rate_hz;
  std::vector<std::size_t> by_shape;
  for (const SweepShape& shape : workload.stimulus.shapes) {
    const Deconvolver deconvolver{shape, rate_hz, rate_hz, {0.06, after_s}};
    by_shape.push_back(good_fft_size(deconvolver.frames_needed()));
  }
  std::vector<Transform> transforms;
  for (const Recording& recording : workload.recordings) {
    for (const ScheduledSweep& sweep : workload.stimulus.sweeps) {
      const std::size_t channels = recording.loopback.empty() ? 1 : 2;
      for (const bool forward : {true, false}) {
        transforms.insert(transforms.end(), channels, {by_shape[sweep.shape], forward, true});
      }
    }
  }
  std::ranges::sort(transforms, std::ranges::greater{});
  return transforms;
}

std::vector<PositionMeasurement> measure_all(const Workload& workload) {
  std::vector<PositionMeasurement> measured;
  for (const Recording& recording : workload.recordings) {
    measured.push_back(measure(workload.rig, workload.stimulus, recording));
  }
  return measured;
}

std::vector<Transform> all_of_measure(const Workload& workload) {
  return transforms_done_by([&] {
    for (const Recording& recording : workload.recordings) {
      static_cast<void>(measure(workload.rig, workload.stimulus, recording, {1}));
    }
  });
}

std::vector<Transform> transforms_of(const Workload& workload, WhichTransforms which) {
  return which == WhichTransforms::deconvolution ? deconvolution_alone(workload) : all_of_measure(workload);
}

}  // namespace

Timing time_measure(const Workload& workload, unsigned threads, std::size_t repetitions) {
  std::size_t heard = 0;
  const Timing timing = time_of(repetitions, [&] {
    for (const Recording& recording : workload.recordings) {
      const auto measured = measure(workload.rig, workload.stimulus, recording, {threads});
      for (const SpeakerMeasurement& speaker : measured.speakers) heard += speaker.heard;
    }
  });
  const std::size_t wanted = repetitions * workload.recordings.size() * workload.rig.speakers.size();
  if (heard != wanted) throw std::runtime_error{"the workload's speakers were not all heard: the timing means nothing"};
  return timing;
}

Timing time_calibrate(const Workload& workload, bool equaliser, std::size_t repetitions) {
  const std::vector<PositionMeasurement> measured = measure_all(workload);
  CalibrateOptions options;
  options.correction.equaliser = equaliser;
  return time_of(repetitions, [&] { static_cast<void>(calibrate(workload.rig, measured, options)); });
}

Timing time_report(const Workload& workload, std::size_t repetitions) {
  const std::vector<PositionMeasurement> measured = measure_all(workload);
  const Calibration calibration = calibrate(workload.rig, measured);
  return time_of(repetitions, [&] {
    static_cast<void>(format_report_page(calibration, measured));
    static_cast<void>(format_sheet(calibration));
    static_cast<void>(format_calibration(calibration));
  });
}

Timing time_transforms(const Workload& workload, WhichTransforms which, unsigned threads, std::size_t repetitions) {
  const std::vector<Transform> transforms = transforms_of(workload, which);
  // Each thread has one set of buffers per size, as one that works through its share would.
  std::vector<std::map<Transform, std::unique_ptr<BareTransform>>> by_thread(threads);
  for (auto& own : by_thread) {
    for (const Transform& transform : transforms) {
      if (!own.contains(transform)) own[transform] = bare(transform);
    }
  }
  return time_of(repetitions, [&] {
    parallel_for(threads, threads, [&](std::size_t thread) {
      for (std::size_t i = thread; i < transforms.size(); i += threads) by_thread[thread].at(transforms[i])->run();
    });
  });
}

std::string transform_sizes(const Workload& workload, WhichTransforms which) {
  std::map<std::size_t, std::size_t, std::greater<>> counts;
  for (const Transform& transform : transforms_of(workload, which)) ++counts[transform.n];
  std::string text;
  for (const auto& [n, times] : counts) text += fmt::format("{}{} x {}", text.empty() ? "" : ", ", times, n);
  return text;
}

}  // namespace ringtrue::bench
