#pragma once

#include <string>

#include "ringtrue/capture/card.hpp"
#include "ringtrue/capture/virtual_room.hpp"

namespace ringtrue {

/// The virtual room as a card: everything that works with a device works without one.
class VirtualCard : public Card {
 public:
  VirtualCard(VirtualRoom room, const Rig& rig, unsigned threads = 0)
      : room_{std::move(room)}, rig_{rig}, threads_{threads} {}

  [[nodiscard]] const std::string& name() const override { return name_; }
  [[nodiscard]] bool has_loopback() const override { return room_.loopback; }
  [[nodiscard]] Take play(const Stimulus& stimulus, const Listener& /*listener*/) override {
    return {capture(room_, rig_, stimulus, 0, threads_), {}};
  }

 private:
  VirtualRoom room_;
  const Rig& rig_;
  unsigned threads_;
  std::string name_ = "virtual room";
};

}  // namespace ringtrue
