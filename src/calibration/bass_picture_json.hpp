#pragma once

#include "json_numbers.hpp"
#include "json_reader.hpp"
#include "ringtrue/calibration/bass_picture.hpp"

namespace ringtrue::json {

[[nodiscard]] Object format_bass_picture(const BassPicture& picture);

/// @throws InvalidInput  also when a curve has not as many values as there are frequencies
[[nodiscard]] BassPicture read_bass_picture(const Reader& reader);

}  // namespace ringtrue::json
