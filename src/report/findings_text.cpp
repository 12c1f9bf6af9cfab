#include "findings_text.hpp"

#include <fmt/format.h>

#include "ringtrue/report/text_layout.hpp"

namespace ringtrue {

std::string findings_text(const Findings& findings, const std::array<const char*, 3>& headings) {
  constexpr std::array severities{Severity::stop, Severity::warn, Severity::note};
  std::string all;
  for (std::size_t i = 0; i < severities.size(); ++i) {
    std::string part;
    for (const Finding& finding : findings) {
      if (finding.severity != severities[i]) continue;
      part += text::wrapped(text::printable(fmt::format("{} [{}]", finding.message, finding.code)), "  * ");
    }
    if (!part.empty()) all += fmt::format("\n{}\n{}", headings[i], part);
  }
  return all;
}

}  // namespace ringtrue
