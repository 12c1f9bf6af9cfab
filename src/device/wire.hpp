#pragma once

#include <chrono>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "portaudio.hpp"

/// How program and device process talk: one JSON object a line, over a socket pair.
namespace ringtrue::wire {

using Json = nlohmann::json;

/// Writes one line. @returns false when nobody reads any more
[[nodiscard]] bool send(int socket, const Json& message);

/// Reads lines.
class Reader {
 public:
  explicit Reader(int socket) : socket_{socket} {}

  enum class Outcome { message, nothing_yet, closed };
  /// Waits up to `patience` for a whole line.
  [[nodiscard]] Outcome read(std::chrono::milliseconds patience, Json& message);

 private:
  [[nodiscard]] std::optional<Json> next_line();

  int socket_;
  std::string pending_;
};

[[nodiscard]] Json to_json(const DeviceInfo& device);
[[nodiscard]] DeviceInfo device_from(const Json& json);
[[nodiscard]] Json to_json(const StreamWish& wish);
[[nodiscard]] StreamWish wish_from(const Json& json);
[[nodiscard]] Json to_json(const StreamFacts& facts);
[[nodiscard]] StreamFacts facts_from(const Json& json);

}  // namespace ringtrue::wire
