#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace ringtrue::app {

/// A folder of results which appear whole at the end, or not at all.
class OutputFolder {
 public:
  /// Looks whether the results may be written there; writes nothing yet.
  /// @param names  of the files and folders that will be written; the last one appears last
  /// @throws InvalidInput  when one exists already and `overwrite` is false, or the place cannot be written to
  OutputFolder(const std::filesystem::path& folder, bool overwrite, std::vector<std::string> names);

  /// Lets `write` put everything into an empty folder beside, then moves it into place. A folder with nothing else in it
  /// is at every moment the old or the new one; where other files are in it, which stay, each result is. Of the results,
  /// one that is not written is not there afterwards.
  /// @throws InvalidInput  when something cannot be written; what `write` throws
  void publish(const std::function<void(const std::filesystem::path&)>& write) const;

 private:
  /// Whether the folder itself may be swapped for a new one.
  [[nodiscard]] bool may_be_replaced() const;

  std::filesystem::path folder_;
  std::vector<std::string> names_;
};

}  // namespace ringtrue::app
