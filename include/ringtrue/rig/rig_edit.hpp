#pragma once

#include <string>
#include <string_view>

namespace ringtrue {

/// A rig's text with full_scale_spl_db in its [microphone] table (0.01 dB), everything else as it was, comments too.
/// @param text  of a rig that parse_rig takes  @param name  as in parse_rig
/// @throws InvalidInput  when the text cannot be edited so that it says exactly this
[[nodiscard]] std::string with_full_scale_spl(std::string_view text, const std::string& name, double full_scale_spl_db);

}  // namespace ringtrue
