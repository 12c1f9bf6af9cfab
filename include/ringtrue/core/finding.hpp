#pragma once

#include <optional>
#include <string>
#include <vector>

namespace ringtrue {

/// How much a finding matters: `stop` before using the result, `warn` look at it, `note` good to know.
enum class Severity { stop, warn, note };

/// Something the user should know, in words a producer understands: what, where, what to do.
struct Finding {
  Severity severity;
  std::string code;                    // stable, for programs: "silent-output", see docs/findings.md
  std::optional<std::string> speaker;  // label, when the finding is about one speaker
  std::string message;
  friend bool operator==(const Finding&, const Finding&) = default;
};

using Findings = std::vector<Finding>;

[[nodiscard]] constexpr const char* name(Severity severity) {
  switch (severity) {
    case Severity::stop: return "stop";
    case Severity::warn: return "warn";
    case Severity::note: return "note";
  }
  return "note";
}

}  // namespace ringtrue
