#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "descriptor.hpp"

namespace ringtrue {

/// A file being written in a temporary place beside its own; see atomic_file.hpp.
class PendingFile {
 public:
  /// @throws InvalidInput  when nothing can be written there
  explicit PendingFile(const std::filesystem::path& path);
  PendingFile(const PendingFile&) = delete;
  PendingFile& operator=(const PendingFile&) = delete;
  ~PendingFile();  // removes the temporary file unless `commit` has succeeded

  [[nodiscard]] int descriptor() const { return file_.number(); }
  void write(std::string_view bytes);       ///< @throws InvalidInput
  void commit();                            ///< flush, close, rename  @throws InvalidInput
  [[noreturn]] void fail(int error) const;  ///< throws the InvalidInput that says what errno `error` means here

 private:
  std::filesystem::path path_;    // what the user asked for, links resolved
  std::filesystem::path beside_;  // where it is until commit
  Descriptor file_;
};

}  // namespace ringtrue
