#pragma once

#include <cstddef>
#include <filesystem>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/rig/rig.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::bench {

/// What is measured: a ring of mains and, from three speakers on, one sub, in a simulated room of 0.3 s.
struct WorkloadOptions {
  std::size_t speakers = 12;
  std::size_t positions = 1;
  double sample_rate_hz = 48'000.0;
  bool loopback = false;
};

struct Workload {
  Rig rig;
  Stimulus stimulus;
  std::vector<Recording> recordings;  // one a position
};

/// The rig of that workload alone.
[[nodiscard]] Rig workload_rig(const WorkloadOptions& options);

/// Writes rig.toml for more mic positions than there are recordings.
void write_rig_with_positions(WorkloadOptions options, std::size_t positions, const std::filesystem::path& folder);

[[nodiscard]] Workload make_workload(const WorkloadOptions& options);

/// Writes rig.toml, stimulus.wav and positionN.wav, for the program and for scripts.
void write_workload(const Workload& workload, const std::filesystem::path& folder);

}  // namespace ringtrue::bench
