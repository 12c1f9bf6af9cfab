#pragma once

#include <filesystem>

namespace ringtrue::app {

/// Writes report.html and places.html beside calibration.json and impulse-responses/ from what stands in these, so that
/// `export --as html` gives the same bytes later.
void write_pages(const std::filesystem::path& folder);

}  // namespace ringtrue::app
