#include "child_process.hpp"

#include <fcntl.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <csignal>
#include <string>
#include <thread>

#include "process_descriptors.hpp"
#include "ringtrue/core/errors.hpp"
#include "ringtrue/device/device_process.hpp"

extern char** environ;

namespace ringtrue {
namespace {

using std::chrono::milliseconds;
using std::chrono::steady_clock;
using wire::Json;

[[noreturn]] void fail(const std::string& what) {
  throw DeviceError{"audio", what,
                    "check that the sound system of this computer works in other programs, and try again"};
}

constexpr milliseconds close_patience{5'000};  // a process killed while it leaves its server may take that along

/// Both descriptors out of the way of the places they are handed over in, and closed in other programs.
int moved_up(int descriptor) {
  const int moved = ::fcntl(descriptor, F_DUPFD_CLOEXEC, 10);
  ::close(descriptor);
  return moved;
}

/// What the child finds in its first descriptors; the audio library's chatter goes nowhere.
class Handover {
 public:
  Handover(int socket, int memory) {
    posix_spawn_file_actions_init(&actions_);
    posix_spawn_file_actions_addopen(&actions_, 0, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_addopen(&actions_, 1, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_addopen(&actions_, 2, "/dev/null", O_WRONLY, 0);
    posix_spawn_file_actions_adddup2(&actions_, socket, control_descriptor);
    if (memory >= 0) {
      posix_spawn_file_actions_adddup2(&actions_, memory, memory_descriptor);
    } else {
      posix_spawn_file_actions_addclose(&actions_, memory_descriptor);
    }
  }
  ~Handover() { posix_spawn_file_actions_destroy(&actions_); }
  Handover(const Handover&) = delete;
  Handover& operator=(const Handover&) = delete;
  [[nodiscard]] const posix_spawn_file_actions_t* actions() const { return &actions_; }

 private:
  posix_spawn_file_actions_t actions_{};
};

/// The parts come together to the same line again, wherever it is cut.
template <class Kind>
[[noreturn]] void throw_again(const std::string& text) {
  const std::size_t where = text.find(": ");
  const std::size_t remedy = text.rfind("; ");
  if (where == std::string::npos || remedy == std::string::npos || remedy < where + 2)
    throw Kind{"audio", text, "see 'ringtrue devices'"};
  throw Kind{text.substr(0, where), text.substr(where + 2, remedy - where - 2), text.substr(remedy + 2)};
}

}  // namespace

ChildProcess::ChildProcess(const std::filesystem::path& program, const SharedMemory* memory) {
  std::array<int, 2> sockets{};
  if (::socketpair(AF_UNIX, SOCK_STREAM, 0, sockets.data()) != 0) fail("no connection to a device process can be made");
  socket_ = moved_up(sockets[0]);
  const int theirs = moved_up(sockets[1]);
  int memory_copy = memory == nullptr ? -1 : ::fcntl(memory->descriptor(), F_DUPFD_CLOEXEC, 10);
  std::string path = program.string();
  std::string word{device_process_word};
  std::array<char*, 3> arguments{path.data(), word.data(), nullptr};
  int error = 0;
  {
    const Handover handover{theirs, memory_copy};
    error = ::posix_spawn(&id_, path.c_str(), handover.actions(), nullptr, arguments.data(), environ);
  }
  ::close(theirs);
  if (memory_copy >= 0) ::close(memory_copy);
  if (error != 0) {
    id_ = -1;
    ::close(socket_);
    fail("the device process cannot be started");
  }
  reader_.emplace(socket_);
}

ChildProcess::~ChildProcess() {
  if (id_ > 0 && wire::send(socket_, {{"do", "quit"}})) {
    if (!ended_within(close_patience)) kill();
  } else {
    kill();
  }
  if (socket_ >= 0) ::close(socket_);
}

bool ChildProcess::alive() {
  if (id_ < 0) return false;
  if (::waitpid(id_, nullptr, WNOHANG) == 0) return true;
  id_ = -1;
  return false;
}

bool ChildProcess::ended_within(milliseconds patience) noexcept {
  const auto deadline = steady_clock::now() + patience;
  while (steady_clock::now() < deadline) {
    if (!alive()) return true;
    std::this_thread::sleep_for(milliseconds{5});
  }
  return !alive();
}

void ChildProcess::kill() noexcept {
  if (id_ < 0) return;
  ::kill(id_, SIGKILL);
  while (::waitpid(id_, nullptr, 0) < 0 && errno == EINTR) {
  }
  id_ = -1;
}

Json ChildProcess::ask(const Json& request, milliseconds patience) {
  Json answer;
  if (id_ < 0 || !wire::send(socket_, request)) fail("the audio system gave up");
  switch (reader_->read(patience, answer)) {
    case wire::Reader::Outcome::message: break;
    case wire::Reader::Outcome::closed: kill(); fail("the audio system gave up");
    case wire::Reader::Outcome::nothing_yet: kill(); fail("the audio system does not answer");
  }
  const std::string kind = answer.value("error", "");
  if (kind == "input") throw_again<InvalidInput>(answer.value("text", ""));
  if (!kind.empty()) throw_again<DeviceError>(answer.value("text", ""));
  return answer;
}

}  // namespace ringtrue
