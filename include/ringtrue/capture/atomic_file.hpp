#pragma once

#include <filesystem>
#include <string_view>

namespace ringtrue {

/// Writes a file whole or not at all: the bytes go to a temporary file in the same folder, are flushed to the disk
/// (fsync) and then renamed over `path`. Whatever happens at any moment, `path` holds its old content or the new one.
/// A symbolic link is followed; the file's permissions are those of a new file.
///
/// @throws InvalidInput  when it cannot be written (no permission, disk full, no such folder, `path` is a folder or a
///                       device); the temporary file is removed and an existing `path` is left as it was
void write_text_atomically(const std::filesystem::path& path, std::string_view text);

}  // namespace ringtrue
