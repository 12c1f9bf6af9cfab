#pragma once

#include <span>
#include <string>

#include "ringtrue/calibration/calibration.hpp"
#include "ringtrue/response/measurement.hpp"

namespace ringtrue {

struct ReportOptions {
  std::string date;  // as it shall stand on the page; empty: the calibration's own, if it has one
};

/// The calibration as one HTML page that needs no network: verdict, settings, findings, places, charts of everything
/// measured, and how it was measured. Charts are drawn by Chart.js, which the page carries.
///
/// @param responses  per mic position, speakers in the rig's order, as measured or as read_impulse_responses gives
///                   them; empty: the page does without the charts of responses
[[nodiscard]] std::string format_report_page(const Calibration& calibration,
                                             std::span<const PositionMeasurement> responses,
                                             const ReportOptions& options = {});

}  // namespace ringtrue
