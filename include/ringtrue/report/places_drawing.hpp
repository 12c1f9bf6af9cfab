#pragma once

#include <string>

#include "ringtrue/calibration/calibration.hpp"

namespace ringtrue {

/// True when at least one speaker's direction was found, so that there is something to draw.
[[nodiscard]] bool has_places(const Calibration& calibration);

/// Where the speakers were found, from above, the front at the top: found places with an ellipse of two standard
/// deviations, nominal places as crosses, allowed azimuths as arcs, mic spots as dots. A speaker whose distance is not
/// known stands, hollow, at the ring's. An <svg> element, to scale; its classes are styled by places_drawing_style().
[[nodiscard]] std::string draw_places_from_above(const Calibration& calibration);

/// The same from the left, the front on the left, with the floor.
[[nodiscard]] std::string draw_places_from_the_side(const Calibration& calibration);

/// Both drawings as figures with captions and a legend, in one <div class="places-drawing">: HTML to put into a page.
/// Empty when there is nothing to draw. Pure.
[[nodiscard]] std::string places_drawing(const Calibration& calibration);

/// CSS for places_drawing(): every rule starts with .places-drawing. Uses the page's colours where it defines them
/// (--ink, --soft, --card, --line, --level, --above, --below, --sub, --warn), else its own for light and dark.
[[nodiscard]] std::string places_drawing_style();

/// places.html: the drawings and a table of the found places, as a page that loads nothing.
[[nodiscard]] std::string format_places_page(const Calibration& calibration);

}  // namespace ringtrue
