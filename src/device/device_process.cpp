#include "ringtrue/device/device_process.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <memory>
#include <thread>

#include "portaudio.hpp"
#include "process_descriptors.hpp"
#include "ringtrue/core/errors.hpp"
#include "shared_memory.hpp"
#include "wire.hpp"

namespace ringtrue {
namespace {

using wire::Json;
using Outcome = wire::Reader::Outcome;

Json refusal(const char* kind, const std::exception& error) { return {{"error", kind}, {"text", error.what()}}; }

class DeviceProcessLoop {
 public:
  DeviceProcessLoop() {
    if (::fcntl(memory_descriptor, F_GETFD) < 0) return;
    memory_ = std::make_unique<SharedMemory>(SharedMemory::from_descriptor(memory_descriptor));
    view_ = find_deck(memory_->data());
  }

  /// Answers until told to quit or left alone.
  void run() {
    Json request;
    while (true) {
      const Outcome outcome = reader_.read(std::chrono::milliseconds{100}, request);
      if (outcome == Outcome::closed) return hush();
      if (outcome == Outcome::nothing_yet) continue;
      if (request.value("do", "") == "quit") return;
      if (!wire::send(control_descriptor, answer(request))) return hush();
    }
  }

 private:
  /// Silence must have left the device before the process does.
  void hush() const {
    if (view_.deck == nullptr) return;
    view_.deck->silence.store(1, std::memory_order_release);
    std::this_thread::sleep_for(std::chrono::milliseconds{60});
  }

  Json answer(const Json& request) {
    try {
      return answer_or_throw(request);
    } catch (const InvalidInput& error) {
      return refusal("input", error);
    } catch (const std::exception& error) {
      return refusal("device", error);
    }
  }

  Json answer_or_throw(const Json& request) {
    const std::string order = request.value("do", "");
    if (!library_) library_ = std::make_unique<AudioLibrary>();
    if (order == "list") {
      Json list = Json::array();
      for (const DeviceInfo& device : library_->devices(true)) list.push_back(wire::to_json(device));
      return {{"devices", std::move(list)}};
    }
    if (order == "open" && memory_) {
      return {{"opened", wire::to_json(library_->open(wire::wish_from(request.at("wish")), view_))}};
    }
    if (order == "rate") return {{"rate_hz", library_->rate_hz()}};
    throw DeviceError{"device process", "does not know the order " + order, "use one version of the program only"};
  }

  wire::Reader reader_{control_descriptor};
  std::unique_ptr<SharedMemory> memory_;
  DeckView view_;
  std::unique_ptr<AudioLibrary> library_;
};

}  // namespace

int run_device_process() noexcept {
  std::signal(SIGINT, SIG_IGN);  // ctrl-C reaches the whole group; the program decides, this process fades out
  std::signal(SIGHUP, SIG_IGN);
  std::signal(SIGPIPE, SIG_IGN);
  try {
    DeviceProcessLoop{}.run();
    return 0;
  } catch (...) {
    return 1;
  }
}

}  // namespace ringtrue
