#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "ringtrue/capture/recording.hpp"
#include "ringtrue/core/finding.hpp"
#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue::app {

/// One finished mic position.
struct KeptTake {
  std::size_t position = 0;            // index into Rig::positions
  Findings findings;                   // about the device
  std::vector<std::string> untrusted;  // labels of speakers whose sweeps stayed spoiled
};

/// The recordings of a live session, each kept as a WAV file as soon as it is finished, so that a session that was
/// stopped half-way goes on where it was.
class TakesFolder {
 public:
  /// @param folder  empty: nothing is kept  @param resume  go on with what is there
  /// @throws InvalidInput  when takes are there and neither `resume` nor `overwrite` is given; when they cannot be read
  TakesFolder(std::filesystem::path folder, bool resume, bool overwrite);

  /// The level that the kept takes were played at; empty: there are none.
  [[nodiscard]] std::optional<double> peak_dbfs() const { return peak_dbfs_; }

  /// The decay that the kept takes' sweeps were spaced for, where it was measured.
  [[nodiscard]] std::optional<double> decay_s() const { return decay_s_; }

  /// Says what will be played. @throws InvalidInput  when kept takes belong to another stimulus
  void begin(const Stimulus& stimulus, double peak_dbfs, std::optional<double> decay_s, const std::string& device);

  [[nodiscard]] const KeptTake* find(std::size_t position) const;
  [[nodiscard]] Recording read(const KeptTake& take) const;
  void keep(const KeptTake& take, const Recording& recording);
  /// A take that was not good enough, for whoever wants to look at it.
  void keep_raw(std::size_t position, int attempt, const Recording& recording) const;
  void forget(std::size_t position);

  [[nodiscard]] const std::filesystem::path& path() const { return folder_; }

 private:
  void load();
  void save() const;
  void make_folder() const;

  std::filesystem::path folder_;
  std::string plan_;  // what was played, as text to compare
  std::optional<double> peak_dbfs_;
  std::optional<double> decay_s_;
  std::string device_;
  std::vector<KeptTake> takes_;
};

}  // namespace ringtrue::app
