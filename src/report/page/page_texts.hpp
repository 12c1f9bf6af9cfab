#pragma once

#include <string_view>

namespace ringtrue::page {

extern const std::string_view chart_library;  // Chart.js, of Debian's libjs-chart.js
extern const std::string_view script;         // report_page.js
extern const std::string_view style;          // report_page.css

}  // namespace ringtrue::page
