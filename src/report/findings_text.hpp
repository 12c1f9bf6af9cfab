#pragma once

#include <array>
#include <string>

#include "ringtrue/core/finding.hpp"

namespace ringtrue {

/// Findings as bulleted paragraphs under a heading per severity (stop, warn, note), each preceded by an empty line;
/// severities without findings are left out.
[[nodiscard]] std::string findings_text(const Findings& findings, const std::array<const char*, 3>& headings);

}  // namespace ringtrue
