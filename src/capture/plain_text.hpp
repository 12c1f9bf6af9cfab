#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace ringtrue::mic_file {

/// The text of a file of unknown encoding as UTF-8: UTF-8 and UTF-16 with or without byte-order mark, anything else as
/// Windows-1252 (of which ISO 8859-1 text is a part). Look-alikes become what is meant: every kind of minus, blank and
/// double quote its plain ASCII form; zero-width characters go; an end-of-file sign of DOS ends it.
///
/// @throws InvalidInput  for a known kind of file that is no text, for control characters (with the line), and for
///                       UTF-16 that is cut off
[[nodiscard]] std::string plain_text(std::string_view bytes, const std::string& name);

/// The lines of a text that ends them with LF, CR LF or CR, mixed or not, without their ends.
[[nodiscard]] std::vector<std::string_view> lines_of(std::string_view text);

}  // namespace ringtrue::mic_file
