// Prints how long the analysis takes, from one run: against the bare FFTW transforms it needs, against the same steps
// in scipy, how time grows with outputs, positions and sample rate, what the filters and the report take, and how long
// a measurement is in the room. Every case runs in a process of its own, so that its memory is its own; the cases take
// turns in rounds, so that a busy machine disturbs all of them alike.

#include <fmt/format.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <array>
#include <filesystem>
#include <string>

#include "child.hpp"
#include "report.hpp"
#include "ringtrue/stimulus/interleave.hpp"
#include "ringtrue/stimulus/overlap.hpp"
#include "steps.hpp"
#include "workload.hpp"

namespace ringtrue::bench {
namespace {

struct Options {
  std::string task = "all";  // of this process: all, or one task of a child
  WorkloadOptions workload;
  unsigned threads = 2;
  std::size_t repetitions = 4;  // of each case in each round; the first does not count
  std::size_t rounds = 5;
  std::string program;  // ringtrue itself, for the whole program; empty: left out
  std::string python = "/usr/bin/python3";
  std::string script;  // scipy_steps.py; empty: left out
  std::string folder;
};

/// A child's command line: this program again, with one task.
std::vector<std::string> task(const std::string& name, const Options& options, const WorkloadOptions& workload,
                              unsigned threads) {
  std::vector<std::string> command{std::filesystem::read_symlink("/proc/self/exe").string(),
                                   "--task",
                                   name,
                                   "--speakers",
                                   std::to_string(workload.speakers),
                                   "--positions",
                                   std::to_string(workload.positions),
                                   "--rate",
                                   fmt::format("{}", workload.sample_rate_hz),
                                   "--threads",
                                   std::to_string(threads),
                                   "--repetitions",
                                   std::to_string(options.repetitions),
                                   "--folder",
                                   options.folder};
  if (workload.loopback) command.emplace_back("--loopback");
  return command;
}

std::vector<std::string> scipy_command(const Options& options, bool main_path) {
  std::vector<std::string> command{options.python,
                                   options.script,
                                   options.folder + "/stimulus.wav",
                                   options.folder + "/position1.wav",
                                   "--repetitions",
                                   std::to_string(options.repetitions)};
  if (main_path) command.emplace_back("--main-path");
  return command;
}

std::vector<std::string> program_command(const Options& options, bool loopback) {
  std::vector<std::string> command{options.program,
                                   "calibrate",
                                   options.folder + "/rig.toml",
                                   "--out",
                                   options.folder + "/out",
                                   "--overwrite",
                                   "--stimulus",
                                   options.folder + "/stimulus.wav",
                                   "--recording",
                                   options.folder + "/position1.wav"};
  if (loopback) command.insert(command.end(), {"--loopback-channel", "2"});
  return command;
}

/// The heart of it: one ring, every way to compute it.
struct Compared {
  std::array<Timing, 2> measured, all_transforms, deconvolution;  // with one thread and two
  Timing first;                                                   // two threads, all plans still to be made
  Timing scipy, scipy_main_path, program;
};

Compared compared(const Options& options, const WorkloadOptions& ring) {
  Compared found;
  Options once = options;
  once.repetitions = 1;
  for (std::size_t round = 0; round < options.rounds; ++round) {
    for (const unsigned threads : {1U, 2U}) {
      pool(found.measured[threads - 1], ask_child(task("measure", options, ring, threads)));
      pool(found.all_transforms[threads - 1], ask_child(task("all-transforms", options, ring, threads)));
      pool(found.deconvolution[threads - 1], ask_child(task("transforms", options, ring, threads)));
    }
    pool(found.first, ask_child(task("measure", once, ring, 2)));
    if (!options.script.empty()) pool(found.scipy, ask_child(scipy_command(options, false)));
    if (!options.script.empty()) pool(found.scipy_main_path, ask_child(scipy_command(options, true)));
    if (!options.program.empty()) pool(found.program, time_command(program_command(options, ring.loopback), 1));
  }
  return found;
}

void compare(const Options& options, bool loopback) {
  WorkloadOptions ring = options.workload;
  ring.loopback = loopback;
  const Workload workload = make_workload(ring);
  write_workload(workload, options.folder);
  const Compared found = compared(options, ring);
  const auto seconds = static_cast<double>(workload.stimulus.frames) / workload.stimulus.sample_rate_hz;
  const auto& [one, two] = found.measured;
  const auto& [one_all, two_all] = found.all_transforms;
  const auto& [one_bare, two_bare] = found.deconvolution;
  const Timing* const against = options.script.empty() ? nullptr : &found.scipy;
  print_heading(fmt::format("{} speakers, one position, {:.0f} Hz, {:.0f} s of recording, {}", ring.speakers,
                            ring.sample_rate_hz, seconds, loopback ? "with loopback" : "microphone alone"));
  print_row("measure(), 2 threads", two, &two_all, against);
  print_row("measure(), 1 thread", one, &one_all, against);
  print_row("measure(), first of its process", found.first, &two_all, against);
  print_row("all its transforms bare, 2 threads", two_all);
  print_row("all its transforms bare, 1 thread", one_all);
  print_row("the deconvolution's, 2 threads", two_bare, &two_all);
  print_row("the deconvolution's, 1 thread", one_bare, &one_all);
  if (against != nullptr) print_row("the same steps in scipy, 2 workers", found.scipy, &two_all);
  if (against != nullptr) print_row("the main path in scipy, 2 workers", found.scipy_main_path, &two_all, against);
  if (!options.program.empty()) {
    const auto megabytes = static_cast<double>(std::filesystem::file_size(options.folder + "/stimulus.wav")) / 1e6;
    print_row(fmt::format("calibrate, {:.0f} MB stimulus file", megabytes), found.program, &two_all, against);
  }
  fmt::print("all transforms of measure(): {}\n", transform_sizes(workload, WhichTransforms::measurement));
  fmt::print("the deconvolution's: {}\n", transform_sizes(workload, WhichTransforms::deconvolution));
}

/// What comes after the measurement, on the same ring.
void show_fit_and_report(const Options& options) {
  Timing fitted, plain, report;
  for (std::size_t round = 0; round < options.rounds; ++round) {
    pool(fitted, ask_child(task("calibrate", options, options.workload, 1)));
    pool(plain, ask_child(task("calibrate-plain", options, options.workload, 1)));
    pool(report, ask_child(task("report", options, options.workload, 1)));
  }
  print_heading(fmt::format("after the measurement, {} speakers, one position", options.workload.speakers));
  print_row("calibrate(), filters fitted", fitted);
  print_row("calibrate(), no filters", plain);
  print_row("page, sheet and JSON as text", report);
}

void grow(const Options& options, const std::string& name, const WorkloadOptions& workload) {
  Timing measured, bare;
  for (std::size_t round = 0; round < options.rounds; ++round) {
    pool(measured, ask_child(task("measure", options, workload, 2)));
    pool(bare, ask_child(task("all-transforms", options, workload, 2)));
  }
  print_row(name, measured, &bare);
}

/// How long one has to keep still at each mic spot.
void show_room_time() {
  fmt::print("\nroom time per mic spot, seconds, default options, a room of 0.4 s\n{:<36}{:>12}{:>12}{:>9}\n", "",
             "one by one", "interleaved", "at once");
  for (const std::size_t speakers : {2U, 6U, 12U, 16U, 24U}) {
    const Rig rig = workload_rig({.speakers = speakers});
    const auto seconds = [](const Stimulus& stimulus) {
      return static_cast<double>(stimulus.frames) / stimulus.sample_rate_hz;
    };
    const Stimulus overlapping = plan_stimulus(rig, interleaved_options());
    fmt::print("{:<36}{:>12.1f}{:>12.1f}{:>9}\n", fmt::format("{} outputs", speakers), seconds(plan_stimulus(rig, {})),
               seconds(overlapping), most_at_once(overlapping));
  }
}

/// The whole program with the same recording at every mic spot: what it holds in memory does not depend on what is
/// heard.
void show_memory(const Options& options) {
  if (options.program.empty()) return;
  print_heading("ringtrue calibrate, 24 outputs at 96 kHz: growth with mic spots");
  for (const std::size_t positions : {1U, 3U, 9U}) {
    WorkloadOptions ring{.speakers = 24, .positions = 1, .sample_rate_hz = 96'000.0};
    const Workload workload = make_workload(ring);
    write_workload(workload, options.folder);
    write_rig_with_positions(ring, positions, options.folder);
    std::vector<std::string> command = program_command(options, false);
    for (std::size_t p = 1; p < positions; ++p) {
      command.insert(command.end(), {"--recording", options.folder + "/position1.wav"});
    }
    print_row(fmt::format("{} spots", positions), time_command(command, 1));
  }
}

void show_growth(const Options& options) {
  print_heading("measure(), 2 threads: growth from 12 outputs, one position, 48 kHz, microphone alone");
  for (const std::size_t speakers : {2U, 6U, 12U, 24U}) {
    WorkloadOptions workload = options.workload;
    workload.speakers = speakers;
    grow(options, fmt::format("{} outputs", speakers), workload);
  }
  for (const std::size_t positions : {2U, 4U}) {
    WorkloadOptions workload = options.workload;
    workload.positions = positions;
    grow(options, fmt::format("{} positions", positions), workload);
  }
  for (const double rate_hz : {96'000.0, 192'000.0}) {
    WorkloadOptions workload = options.workload;
    workload.sample_rate_hz = rate_hz;
    grow(options, fmt::format("{:.0f} Hz", rate_hz), workload);
  }
}

void run(const Options& options) {
  if (options.task == "measure") {
    answer(time_measure(make_workload(options.workload), options.threads, options.repetitions));
  } else if (options.task == "transforms" || options.task == "all-transforms") {
    const auto which = options.task == "transforms" ? WhichTransforms::deconvolution : WhichTransforms::measurement;
    answer(time_transforms(make_workload(options.workload), which, options.threads, options.repetitions));
  } else if (options.task == "calibrate" || options.task == "calibrate-plain") {
    answer(time_calibrate(make_workload(options.workload), options.task == "calibrate", options.repetitions));
  } else if (options.task == "report") {
    answer(time_report(make_workload(options.workload), options.repetitions));
  } else {
    fmt::print("{}; median and least of {} x {} repetitions, each process' first left out\n", machine(), options.rounds,
               options.repetitions);
    show_room_time();
    compare(options, false);
    compare(options, true);
    show_growth(options);
    show_fit_and_report(options);
    show_memory(options);
    fmt::print("\nat the end: {}\n", machine());
  }
}

}  // namespace
}  // namespace ringtrue::bench

int main(int argc, char** argv) {
  ringtrue::bench::Options options;
  CLI::App app{"Times the analysis of one ring of loudspeakers; see docs/performance.md."};
  app.add_option("--folder", options.folder, "where files may be written")->required();
  app.add_option("--program", options.program, "ringtrue itself, to time the whole program");
  app.add_option("--python", options.python, "an interpreter with numpy and scipy");
  app.add_option("--script", options.script, "scipy_steps.py, to compare with");
  app.add_option("--rounds", options.rounds, "in which all cases take turns")->check(CLI::Range(1, 1'000));
  app.add_option("--repetitions", options.repetitions, "of a case in each round")->check(CLI::Range(1, 1'000));
  app.add_option("--speakers", options.workload.speakers)->check(CLI::Range(1, 64));
  app.add_option("--positions", options.workload.positions)->check(CLI::Range(1, 9));
  app.add_option("--rate", options.workload.sample_rate_hz)->check(CLI::Range(44'100.0, 192'000.0));
  app.add_option("--threads", options.threads, "of a child's task")->check(CLI::Range(1, 64));
  app.add_flag("--loopback", options.workload.loopback, "the child's workload has a loopback");
  app.add_option("--task", options.task, "of a child")
      ->check(
          CLI::IsMember({"all", "measure", "transforms", "all-transforms", "calibrate", "calibrate-plain", "report"}));
  CLI11_PARSE(app, argc, argv);
  try {
    ringtrue::bench::run(options);
  } catch (const std::exception& error) {
    fmt::print(stderr, "ringtrue_bench: {}\n", error.what());
    return 2;
  }
  return 0;
}
