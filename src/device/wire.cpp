#include "wire.hpp"

#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>

namespace ringtrue::wire {

bool send(int socket, const Json& message) {
  std::string line = message.dump(-1, ' ', false, Json::error_handler_t::replace) + '\n';
  std::string_view rest = line;
  while (!rest.empty()) {
#if defined(MSG_NOSIGNAL)
    const ssize_t sent = ::send(socket, rest.data(), rest.size(), MSG_NOSIGNAL);
#else
    const ssize_t sent = ::send(socket, rest.data(), rest.size(), 0);
#endif
    if (sent < 0 && errno == EINTR) continue;
    if (sent <= 0) return false;
    rest.remove_prefix(static_cast<std::size_t>(sent));
  }
  return true;
}

std::optional<Json> Reader::next_line() {
  const std::size_t end = pending_.find('\n');
  if (end == std::string::npos) return {};
  Json message = Json::parse(pending_.substr(0, end), nullptr, false);
  pending_.erase(0, end + 1);
  return message;
}

Reader::Outcome Reader::read(std::chrono::milliseconds patience, Json& message) {
  using std::chrono::steady_clock;
  const auto deadline = steady_clock::now() + patience;
  while (true) {
    if (auto line = next_line()) {
      message = std::move(*line);
      return Outcome::message;
    }
    const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(deadline - steady_clock::now());
    pollfd waiting{socket_, POLLIN, 0};
    const int ready = ::poll(&waiting, 1, static_cast<int>(std::max<std::int64_t>(0, left.count())));
    if (ready < 0 && errno != EINTR) return Outcome::closed;
    if (ready <= 0) {
      if (steady_clock::now() >= deadline || ready < 0) return Outcome::nothing_yet;
      continue;
    }
    std::array<char, 4096> bytes{};
    const ssize_t got = ::recv(socket_, bytes.data(), bytes.size(), 0);
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) return Outcome::closed;
    pending_.append(bytes.data(), static_cast<std::size_t>(got));
  }
}

Json to_json(const DeviceInfo& device) {
  return {{"name", device.name},         {"api", device.api},        {"title", device.title},
          {"outputs", device.outputs},   {"inputs", device.inputs},  {"default_rate_hz", device.default_rate_hz},
          {"rates_hz", device.rates_hz}, {"caution", device.caution}};
}

DeviceInfo device_from(const Json& json) {
  return {json.at("name"),     json.at("api"),    json.at("title"),
          json.at("outputs"),  json.at("inputs"), json.at("default_rate_hz"),
          json.at("rates_hz"), json.at("caution")};
}

Json to_json(const StreamWish& wish) {
  return {{"device", wish.device},
          {"input_device", wish.input_device},
          {"outputs", wish.outputs},
          {"inputs", wish.inputs},
          {"rate_hz", wish.rate_hz}};
}

StreamWish wish_from(const Json& json) {
  return {json.at("device"), json.at("input_device"), json.at("outputs"), json.at("inputs"), json.at("rate_hz")};
}

Json to_json(const StreamFacts& facts) {
  return {{"name", facts.name},
          {"outputs", facts.outputs},
          {"inputs", facts.inputs},
          {"rate_hz", facts.rate_hz},
          {"latency_ms", facts.latency_ms},
          {"caution", facts.caution},
          {"input_name", facts.input_name}};
}

StreamFacts facts_from(const Json& json) {
  return {json.at("name"),       json.at("outputs"), json.at("inputs"),    json.at("rate_hz"),
          json.at("latency_ms"), json.at("caution"), json.at("input_name")};
}

}  // namespace ringtrue::wire
