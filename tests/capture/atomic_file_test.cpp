#include "ringtrue/capture/atomic_file.hpp"

#include <doctest/doctest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <string>

#include "../../src/capture/pending_file.hpp"
#include "refusal.hpp"
#include "ringtrue/capture/wav_file.hpp"
#include "temporary_folder.hpp"

namespace ringtrue {
namespace {

using namespace test;
namespace fs = std::filesystem;

std::ptrdiff_t entries(const fs::path& folder) {
  return std::distance(fs::directory_iterator{folder}, fs::directory_iterator{});
}

/// No file may grow beyond `bytes` as long as this lives: what a full disk does, for any user.
class FileSizeLimit {
 public:
  explicit FileSizeLimit(rlim_t bytes) {
    getrlimit(RLIMIT_FSIZE, &before_);
    handler_ = std::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{bytes, before_.rlim_max};
    setrlimit(RLIMIT_FSIZE, &limit);
  }
  ~FileSizeLimit() {
    setrlimit(RLIMIT_FSIZE, &before_);
    std::signal(SIGXFSZ, handler_);
  }

 private:
  rlimit before_{};
  void (*handler_)(int) = nullptr;
};

}  // namespace

TEST_CASE("text is written whole and replaces what was there, leaving nothing else behind") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "calibration.json";
  write_text_atomically(path, "first\n");
  CHECK(read_bytes(path) == "first\n");
  write_text_atomically(path, std::string(100'000, 'x'));
  CHECK(read_bytes(path) == std::string(100'000, 'x'));
  write_text_atomically(path, "");
  CHECK(read_bytes(path).empty());
  CHECK(entries(folder.path()) == 1);
}

TEST_CASE("a write that fails half way leaves the old file and no temporary one") {
  const TemporaryFolder folder;
  const fs::path text = folder.path() / "calibration.json";
  const fs::path sound = folder.path() / "response.wav";
  write_text_atomically(text, "old");
  write_wav(sound, 48'000.0, std::vector<std::vector<float>>{{0.5F}});
  const std::string old_sound = read_bytes(sound);
  std::string text_refusal;
  std::string sound_refusal;
  {
    const FileSizeLimit limit{10'000};
    text_refusal = refusal_of([&] { write_text_atomically(text, std::string(20'000, 'x')); });
    const std::vector<std::vector<float>> long_sound(2, std::vector<float>(200'000, 0.25F));
    sound_refusal = refusal_of([&] { write_wav(sound, 48'000.0, long_sound); });
  }
  const std::string what = ": cannot be written, the file would be too large; write to another disk";
  CHECK(text_refusal == text.string() + what);
  CHECK(sound_refusal == sound.string() + what);
  CHECK(read_bytes(text) == "old");
  CHECK(read_bytes(sound) == old_sound);
  CHECK(entries(folder.path()) == 2);
}

TEST_CASE("a full disk is called by its name") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "sheet.txt";
  const PendingFile file{path};
  const std::string refusal = refusal_of([&] { file.fail(ENOSPC); });
  CHECK(refusal == path.string() + ": cannot be written, the disk is full; free some space or write elsewhere");
}

TEST_CASE("a program killed while writing leaves the old file whole") {
  const TemporaryFolder folder;
  const fs::path path = folder.path() / "calibration.json";
  write_text_atomically(path, "old");
  const pid_t child = fork();
  if (child == 0) {
    PendingFile file{path};
    file.write("half of the new");
    ::kill(::getpid(), SIGKILL);
  }
  int status = 0;
  REQUIRE(waitpid(child, &status, 0) == child);
  CHECK(WIFSIGNALED(status));
  CHECK(read_bytes(path) == "old");
  write_text_atomically(path, "new");  // the leftover of the killed one is not in the way
  CHECK(read_bytes(path) == "new");
}

TEST_CASE("a link is written through") {
  const TemporaryFolder folder;
  write_bytes(folder.path() / "real.txt", "old");
  fs::create_symlink("real.txt", folder.path() / "link.txt");
  write_text_atomically(folder.path() / "link.txt", "new");
  CHECK(fs::is_symlink(folder.path() / "link.txt"));
  CHECK(read_bytes(folder.path() / "real.txt") == "new");
}

TEST_CASE("what cannot be a file is refused before anything is written") {
  const TemporaryFolder folder;
  const auto refusal = [](const fs::path& path) { return refusal_of([&] { write_text_atomically(path, "x"); }); };
  const std::string here = folder.path().string();
  CHECK(refusal(folder.path()) == here + ": is a folder; give the name of a file in it");
  CHECK(refusal(folder.path() / "no" / "a.txt") ==
        here + "/no/a.txt: its folder does not exist; create the folder first");
  write_bytes(folder.path() / "file", "x");
  CHECK(refusal(folder.path() / "file" / "a.txt") ==
        here + "/file/a.txt: its folder does not exist; create the folder first");
  CHECK(refusal("/dev/null") == "/dev/null: is a device or a pipe and would be replaced; give the name of a file");
  CHECK(has(refusal(folder.path() / std::string(300, 'n')), "cannot be written (File name too long)"));
  CHECK(refusal("") == "output file: has an empty name; give the name of a file");
  CHECK(entries(folder.path()) == 1);
}

TEST_CASE("without permission nothing is written and the message says so") {
  if (::geteuid() == 0) {
    MESSAGE("SKIPPED: root may write anywhere");
    return;
  }
  const TemporaryFolder folder;
  write_bytes(folder.path() / "kept.txt", "old");
  fs::permissions(folder.path() / "kept.txt", fs::perms::owner_read);
  const std::string what = ": no permission to write there; choose another folder or change its permissions";
  CHECK(refusal_of([&] { write_text_atomically(folder.path() / "kept.txt", "x"); }) ==
        (folder.path() / "kept.txt").string() + what);
  fs::permissions(folder.path(), fs::perms::owner_read | fs::perms::owner_exec);
  CHECK(refusal_of([&] { write_text_atomically(folder.path() / "new.txt", "x"); }) ==
        (folder.path() / "new.txt").string() + what);
  fs::permissions(folder.path(), fs::perms::owner_all);
  CHECK(read_bytes(folder.path() / "kept.txt") == "old");
}

}  // namespace ringtrue
