#include "output_folder.hpp"

#include <fcntl.h>
#include <signal.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <system_error>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::app {
namespace {

namespace fs = std::filesystem;

/// "results/" and "results" are the same folder; a link to a folder is that folder.
fs::path tidy_folder(const fs::path& folder) {
  fs::path absolute = fs::absolute(folder).lexically_normal();
  if (!absolute.has_filename()) absolute = absolute.parent_path();
  std::error_code error;
  const fs::path real = fs::canonical(absolute, error);
  return error ? absolute : real;
}

void require_writable(const fs::path& folder) {
  std::error_code error;
  fs::path nearest = folder;
  while (!fs::exists(nearest, error) && nearest.has_relative_path()) nearest = nearest.parent_path();
  if (!fs::is_directory(nearest, error)) {
    throw InvalidInput{folder.string(), nearest.string() + " is not a folder", "give another folder with --out"};
  }
  if (access(nearest.c_str(), W_OK | X_OK) != 0) {
    throw InvalidInput{folder.string(), nearest.string() + " cannot be written to", "give another folder with --out"};
  }
}

/// Swaps two files or folders in one step, so that a program that is stopped at any moment leaves one or the other.
/// @returns false where the file system cannot
bool exchange(const fs::path& one, const fs::path& other) {
  return ::renameat2(AT_FDCWD, one.c_str(), AT_FDCWD, other.c_str(), RENAME_EXCHANGE) == 0;
}

/// Makes what was renamed in a folder last through a power failure, where the disk can.
void settle(const fs::path& folder) {
  const int number = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (number < 0) return;
  ::fsync(number);
  ::close(number);
}

/// Removes what runs of this program left that were killed before they could tidy up.
void remove_leftovers(const fs::path& folder, const std::string& prefix) {
  std::error_code ignored;
  for (const auto& entry : fs::directory_iterator{folder, ignored}) {
    const std::string name = entry.path().filename().string();
    if (!name.starts_with(prefix)) continue;
    const std::string number = name.substr(prefix.size());
    const bool all_digits = !number.empty() && number.size() < 10 &&
                            std::ranges::all_of(number, [](char c) { return c >= '0' && c <= '9'; });
    if (!all_digits || ::kill(std::stoi(number), 0) == 0 || errno != ESRCH) continue;
    fs::remove_all(entry.path(), ignored);
  }
}

/// A folder that is removed with all that is left in it.
class Staging {
 public:
  /// @param within  inside the folder for the results, which exists; else beside it
  Staging(const fs::path& folder, bool within) {
    const fs::path parent = within ? folder : folder.parent_path();
    const std::string prefix = (within ? "" : '.' + folder.filename().string()) + ".partial-";
    fs::create_directories(parent);
    remove_leftovers(parent, prefix);
    path_ = parent / (prefix + std::to_string(getpid()));
    fs::create_directory(path_);
  }
  ~Staging() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  Staging(const Staging&) = delete;
  Staging& operator=(const Staging&) = delete;

  [[nodiscard]] const fs::path& path() const { return path_; }

 private:
  fs::path path_;
};

/// Puts one file or folder in place of an old one. Where the two cannot be swapped, a file replaces a file in one step;
/// a folder is put aside first. Where there is no new one the old one goes: it would not belong to the others.
void move_into_place(const fs::path& from, const fs::path& to, const fs::path& aside) {
  const bool is_new = fs::exists(from);
  const bool is_old = fs::exists(fs::symlink_status(to));
  if (is_new && is_old && exchange(from, to)) return;
  if (fs::is_directory(to) || (!is_new && is_old)) fs::rename(to, aside);
  if (is_new) fs::rename(from, to);
}

/// Writes into the staging folder; an error there names the folder that the user knows.
void write_into(const Staging& staging, const fs::path& folder, const std::function<void(const fs::path&)>& write) {
  try {
    write(staging.path());
  } catch (const InvalidInput& error) {
    const std::string line = error.what();
    const std::string inside = staging.path().string();
    if (!line.starts_with(inside)) throw;
    throw InvalidInput{folder.string() + line.substr(inside.size())};
  }
}

}  // namespace

OutputFolder::OutputFolder(const fs::path& folder, bool overwrite, std::vector<std::string> names)
    : folder_{tidy_folder(folder)}, names_{std::move(names)} {
  require_writable(folder_);
  std::error_code error;
  const auto is_there = [&](const std::string& name) { return fs::exists(folder_ / name, error); };
  const auto old = std::find_if(names_.rbegin(), names_.rend(), is_there);
  if (overwrite || old == names_.rend()) return;
  throw InvalidInput{(folder / *old).string(), "exists already",
                     "give another folder with --out, or --overwrite to replace it"};
}

bool OutputFolder::may_be_replaced() const {
  std::error_code error;
  const fs::path parent = folder_.parent_path();
  if (access(parent.c_str(), W_OK | X_OK) != 0) return false;
  // Who works in the folder would be left in the old one; a mount point cannot be swapped.
  struct stat here {};
  struct stat above {};
  if (::stat(folder_.c_str(), &here) != 0 || ::stat(parent.c_str(), &above) != 0) return false;
  if (here.st_dev != above.st_dev || fs::equivalent(folder_, fs::current_path(error), error)) return false;
  for (const auto& entry : fs::directory_iterator{folder_, error}) {
    const std::string name = entry.path().filename().string();
    if (!name.starts_with(".partial-") && std::ranges::find(names_, name) == names_.end()) return false;
  }
  return !error;
}

void OutputFolder::publish(const std::function<void(const fs::path&)>& write) const {
  try {
    const bool there = fs::exists(folder_);
    // The whole folder in one step, where nothing else is in it; otherwise each result, the one that counts last.
    const bool whole = !there || may_be_replaced();
    const Staging staging{folder_, !whole};
    write_into(staging, folder_, write);
    if (there && whole) fs::permissions(staging.path(), fs::status(folder_).permissions());
    if (!there) {
      fs::rename(staging.path(), folder_);
    } else if (!whole || !exchange(staging.path(), folder_)) {
      for (const auto& name : names_) {
        move_into_place(staging.path() / name, folder_ / name, staging.path() / (name + ".old"));
      }
      settle(folder_);
    }
    settle(folder_.parent_path());
  } catch (const fs::filesystem_error& error) {
    throw InvalidInput{folder_.string(), "cannot be written (" + error.code().message() + ")",
                       "check the permissions and the free space, or give another folder with --out"};
  }
}

}  // namespace ringtrue::app
