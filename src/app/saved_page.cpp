#include "saved_page.hpp"

#include "calibration_folder.hpp"
#include "ringtrue/capture/atomic_file.hpp"
#include "ringtrue/report/impulse_responses.hpp"
#include "ringtrue/report/places_drawing.hpp"
#include "ringtrue/report/report_page.hpp"

namespace ringtrue::app {

void write_pages(const std::filesystem::path& folder) {
  const Calibration calibration = read_calibration(folder);
  const auto responses = read_impulse_responses(folder / "impulse-responses", calibration.rig);
  write_text_atomically(folder / "report.html", format_report_page(calibration, responses));
  write_text_atomically(folder / "places.html", format_places_page(calibration));
}

}  // namespace ringtrue::app
