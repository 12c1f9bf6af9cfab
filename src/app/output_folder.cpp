#include "output_folder.hpp"

#include <unistd.h>

#include <algorithm>
#include <system_error>

#include "ringtrue/core/errors.hpp"

namespace ringtrue::app {
namespace {

namespace fs = std::filesystem;

/// "results/" and "results" are the same folder; a link to a folder is that folder.
fs::path tidy(const fs::path& folder) {
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

/// A folder that is removed with all that is left in it.
class Staging {
 public:
  explicit Staging(const fs::path& folder) : path_{place_for(folder)} {
    fs::create_directories(path_.parent_path());
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
  /// On the file system of the folder: inside it where it exists (its parent may belong to someone else), else beside.
  static fs::path place_for(const fs::path& folder) {
    const std::string suffix = ".partial-" + std::to_string(getpid());
    if (fs::exists(folder)) return folder / suffix;
    return folder.parent_path() / ('.' + folder.filename().string() + suffix);
  }

  fs::path path_;
};

/// Puts one file or folder in place of an old one. A file replaces a file in one step; folders cannot, so the old one
/// is put aside first. Where there is no new one the old one goes: it would not belong to the others.
void move_into_place(const fs::path& from, const fs::path& to, const fs::path& aside) {
  const bool is_new = fs::exists(from);
  if (fs::is_directory(to) || (!is_new && fs::exists(to))) fs::rename(to, aside);
  if (is_new) fs::rename(from, to);
}

}  // namespace

OutputFolder::OutputFolder(const fs::path& folder, bool overwrite, std::vector<std::string> names)
    : folder_{tidy(folder)}, names_{std::move(names)} {
  require_writable(folder_);
  std::error_code error;
  const auto is_there = [&](const std::string& name) { return fs::exists(folder_ / name, error); };
  const auto old = std::find_if(names_.rbegin(), names_.rend(), is_there);
  if (overwrite || old == names_.rend()) return;
  throw InvalidInput{(folder / *old).string(), "exists already",
                     "give another folder with --out, or --overwrite to replace it"};
}

void OutputFolder::publish(const std::function<void(const fs::path&)>& write) const {
  try {
    const Staging staging{folder_};
    write(staging.path());
    if (!fs::exists(folder_)) {
      fs::rename(staging.path(), folder_);
      return;
    }
    for (const auto& name : names_) {
      if (!fs::exists(staging.path() / name)) {  // not among the new results: an old one would pass for one of them
        if (fs::exists(folder_ / name)) fs::rename(folder_ / name, staging.path() / (name + ".old"));
        continue;
      }
      move_into_place(staging.path() / name, folder_ / name, staging.path() / (name + ".old"));
    }
  } catch (const fs::filesystem_error& error) {
    throw InvalidInput{folder_.string(), "cannot be written (" + error.code().message() + ")",
                       "check the permissions and the free space, or give another folder with --out"};
  }
}

}  // namespace ringtrue::app
