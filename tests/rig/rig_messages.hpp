#pragma once

#include <string>

#include "ringtrue/core/errors.hpp"
#include "ringtrue/rig/rig_file.hpp"

namespace ringtrue::test {

/// What parse_rig says about a text; empty when it accepts it.
inline std::string message_of(const std::string& text) {
  try {
    (void)parse_rig(text, "rig.toml");
    return {};
  } catch (const InvalidInput& error) {
    return error.what();
  }
}

inline const std::string one_speaker = "[[speaker]]\nlabel = \"L\"\noutput = 1\n";

/// A whole rig whose line 2 is `table` and line 3 is `setting`.
inline std::string with_setting(const std::string& table, const std::string& setting) {
  return "layout = \"7.1.4\"\n" + table + '\n' + setting + '\n' + one_speaker;
}

/// A rig of one speaker whose lines 2 to 4 are [[speaker]], label and output, and line 5 is `setting`.
inline std::string with_speaker(const std::string& label, const std::string& output, const std::string& setting = "") {
  return "layout = \"7.1.4\"\n[[speaker]]\nlabel = " + label + "\noutput = " + output + '\n' + setting + '\n';
}

}  // namespace ringtrue::test
