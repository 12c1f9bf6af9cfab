#include "pending_file.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <system_error>

#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/core/errors.hpp"

namespace ringtrue {
namespace {

namespace fs = std::filesystem;

/// The file a symbolic link points to, so that the link itself survives.
fs::path behind_links(const fs::path& path) {
  std::error_code unresolved;
  if (!fs::is_symlink(path, unresolved)) return path;
  const fs::path target = fs::canonical(path, unresolved);
  return unresolved ? path : target;
}

fs::path folder_of(const fs::path& path) { return path.has_parent_path() ? path.parent_path() : fs::path{"."}; }

void refuse_what_is_no_file(const fs::path& path) {
  std::error_code absent;
  const fs::file_status status = fs::status(path, absent);
  if (fs::is_directory(status)) throw InvalidInput{shown_path(path), "is a folder", "give the name of a file in it"};
  if (fs::exists(status) && !fs::is_regular_file(status)) {
    throw InvalidInput{shown_path(path), "is a device or a pipe and would be replaced", "give the name of a file"};
  }
  if (!path.has_filename()) throw InvalidInput{"output file", "has an empty name", "give the name of a file"};
}

/// Process number and a counter make the name unique; another program's leftover is skipped.
Descriptor create_beside(const fs::path& folder, fs::path& name, int& error) {
  for (int attempt = 0; attempt < 10'000; ++attempt) {
    name = folder / (".ringtrue-" + std::to_string(::getpid()) + "-" + std::to_string(attempt) + ".part");
    Descriptor file{::open(name.c_str(), O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0666)};
    error = errno;
    if (file.open() || error != EEXIST) return file;
  }
  return Descriptor{};
}

}  // namespace

PendingFile::PendingFile(const fs::path& path) : path_{behind_links(path)} {
  refuse_what_is_no_file(path_);
  std::error_code absent;
  if (fs::exists(path_, absent) && ::access(path_.c_str(), W_OK) != 0) fail(errno);
  int error = 0;
  file_ = create_beside(folder_of(path_), beside_, error);
  if (!file_.open()) fail(error);
}

PendingFile::~PendingFile() {
  if (file_.open()) ::unlink(beside_.c_str());
}

void PendingFile::write(std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(file_.number(), bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) fail(written < 0 ? errno : ENOSPC);
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
}

void PendingFile::commit() {
  if (::fsync(file_.number()) != 0) fail(errno);
  if (std::rename(beside_.c_str(), path_.c_str()) != 0) fail(errno);
  ::close(file_.release());  // fsync has reported what there was to report
  const Descriptor folder{::open(folder_of(path_).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)};
  if (folder.open()) ::fsync(folder.number());  // makes the rename last; some disks cannot, and the file is whole
}

void PendingFile::fail(int error) const {
  const std::string where = shown_path(path_);
  switch (error) {
    case ENOSPC:
    case EDQUOT: throw InvalidInput{where, "cannot be written, the disk is full", "free some space or write elsewhere"};
    case EFBIG: throw InvalidInput{where, "cannot be written, the file would be too large", "write to another disk"};
    case EACCES:
    case EPERM:
    case EROFS:
      throw InvalidInput{where, "no permission to write there", "choose another folder or change its permissions"};
    case ENOENT:
    case ENOTDIR: throw InvalidInput{where, "its folder does not exist", "create the folder first"};
    default:
      throw InvalidInput{where, "cannot be written (" + std::generic_category().message(error) + ")",
                         "choose another name or folder"};
  }
}

void write_text_atomically(const fs::path& path, std::string_view text) {
  PendingFile file{path};
  file.write(text);
  file.commit();
}

}  // namespace ringtrue
