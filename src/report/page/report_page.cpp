#include "ringtrue/report/report_page.hpp"

#include <fmt/format.h>

#include <cmath>

#include "../html_table.hpp"
#include "../html_text.hpp"
#include "../in_output_order.hpp"
#include "../lfe_words.hpp"
#include "../plan_page_style.hpp"
#include "../settings_rows.hpp"
#include "bass_charts.hpp"
#include "chart.hpp"
#include "correction_charts.hpp"
#include "measured_charts.hpp"
#include "page_texts.hpp"
#include "ringtrue/core/units.hpp"
#include "ringtrue/report/places_drawing.hpp"
#include "room_charts.hpp"

namespace ringtrue {
namespace {

using html::Column;
using html::escaped;
using page::Chart;

/// The page as it grows: its HTML, and the charts whose numbers stand at its end.
class Page {
 public:
  void add(const std::string& html) { html_ += html; }
  void heading(std::string_view id, std::string_view words) {
    html_ += fmt::format("<h2 id=\"{}\">{}</h2>\n", id, escaped(words));
    contents_ += fmt::format("<a href=\"#{}\">{}</a>\n", id, escaped(words));
  }
  void figure(Chart chart) {
    html_ += fmt::format(
        "<figure>\n<figcaption>{}</figcaption>\n<div class=\"chart{}\"><canvas id=\"{}\" role=\"img\" "
        "aria-label=\"{}\"></canvas></div>\n"
        "<details data-chart=\"{}\"><summary>The numbers</summary><div class=\"scroll\" tabindex=\"0\"></div>"
        "</details>\n</figure>\n",
        escaped(chart.title), chart.rows.empty() ? "" : " rows", chart.id, escaped(chart.summary), chart.id);
    charts_.push_back(std::move(chart));
  }
  void figure(std::optional<Chart> chart) {
    if (chart) figure(std::move(*chart));
  }
  [[nodiscard]] const std::string& html() const { return html_; }
  [[nodiscard]] const std::string& contents() const { return contents_; }
  [[nodiscard]] const std::vector<Chart>& charts() const { return charts_; }

 private:
  std::string html_;
  std::string contents_;
  std::vector<Chart> charts_;
};

std::size_t count_of(const Findings& findings, Severity severity) {
  return static_cast<std::size_t>(std::ranges::count(findings, severity, &Finding::severity));
}

std::string points(std::size_t count) { return count == 1 ? "1 point" : fmt::format("{} points", count); }

std::string verdict(const Calibration& calibration) {
  const auto stops = count_of(calibration.findings, Severity::stop);
  const auto warns = count_of(calibration.findings, Severity::warn);
  std::string without;
  for (const auto* speaker : in_output_order(calibration)) {
    if (!has_settings(*speaker)) without += (without.empty() ? "" : ", ") + escaped(speaker->label);
  }
  std::string words = "Every loudspeaker was measured and nothing wrong was found: type these values in.";
  if (stops + warns > 0) words = "There are settings for every loudspeaker, but read the findings before you type.";
  if (!without.empty()) words = "Not finished: no settings for " + without + ". Read the findings first.";
  if (stops + warns > 0) words += fmt::format(" {} to look at.", points(stops + warns));
  return fmt::format("<p class=\"verdict{}\" role=\"status\"><strong>{}</strong></p>\n",
                     stops > 0                       ? " stop"
                     : warns > 0 || !without.empty() ? " look"
                                                     : "",
                     words);
}

std::string findings(const Calibration& calibration) {
  if (calibration.findings.empty()) return "<p>Nothing.</p>\n";
  std::string html = "<ul>\n";
  for (const Severity severity : {Severity::stop, Severity::warn, Severity::note}) {
    for (const Finding& finding : calibration.findings) {
      if (finding.severity != severity) continue;
      const char* lead = severity == Severity::stop   ? "<span class=\"warn\">Put right first:</span> "
                         : severity == Severity::warn ? "<span class=\"warn\">Look at this:</span> "
                                                      : "";
      html += fmt::format("<li>{}{} <span class=\"code\">{}</span></li>\n", lead, escaped(finding.message),
                          escaped(finding.code));
    }
  }
  return html + "</ul>\n";
}

std::string filters(const SpeakerResult& speaker) {
  std::string words;
  for (const auto& filter : speaker.settings.equaliser) {
    words += fmt::format("{}{} {} Hz {:+.1f} dB Q {}", words.empty() ? "" : "; ", in_words(filter.shape),
                         plain_number(filter.frequency_hz, false), filter.gain_db, plain_number(filter.q, false));
  }
  return words.empty() ? "none" : words;
}

std::string polarity(const Calibration& calibration, const SpeakerResult& speaker) {
  const bool doubtful = speaker.measured.polarity == Polarity::unsure && !set_by_sum(calibration, speaker);
  return fmt::format("{}{}", speaker.settings.invert ? "INVERT" : "normal", doubtful ? " (not judged)" : "");
}

std::string plus_minus(const std::optional<double>& value, int decimals, const char* unit) {
  return value ? fmt::format("{:.{}f} {}", *value, decimals, unit) : std::string{"-"};
}

std::string settings_row(const Calibration& calibration, const SpeakerResult& speaker,
                         const std::vector<Column>& columns) {
  const std::string who = fmt::format("Output {}: {}", speaker.output, speaker.label);
  if (!has_settings(speaker)) {
    return html::table_row(who, name(speaker.status), columns, {"leave", "leave", "leave", "see the findings", "-"});
  }
  const double delay_ms = *speaker.settings.delay_ms + 0.0;  // never -0
  const auto at = speaker.measured.positions.empty() ? PositionResult{} : speaker.measured.positions.front();
  return html::table_row(
      who,
      fmt::format("as samples {:.0f}, as distance {:.2f} m or {:.2f} ft",
                  in_unit(delay_ms, DelayUnit::samples, calibration), in_unit(delay_ms, DelayUnit::metres, calibration),
                  in_unit(delay_ms, DelayUnit::feet, calibration)),
      columns,
      {fmt::format("{:.2f} ms", delay_ms), fmt::format("{:.1f} dB", *speaker.settings.trim_db + 0.0),
       polarity(calibration, speaker), filters(speaker),
       plus_minus(at.arrival_uncertainty_ms, 3, "ms") + ", " + plus_minus(at.level_uncertainty_db, 2, "dB")});
}

void add_settings(Page& page, const Calibration& calibration) {
  static const std::vector<Column> columns{{"Delay"}, {"Trim"}, {"Polarity"}, {"Equaliser", true}, {"How sure (+/-)"}};
  page.heading("settings", "What to type in");
  page.add("<div class=\"settings\">" +
           html::table_head("In the order of the interface's outputs. How sure: one standard deviation of the "
                            "measurement at the listening position.",
                            columns));
  for (const auto* speaker : in_output_order(calibration)) {
    page.add(settings_row(calibration, *speaker, columns));
  }
  page.add(std::string{html::table_end} + "</div>\n");
  const std::string lfe = lfe_only_words(calibration);
  if (!lfe.empty()) page.add("<p class=\"soft\">" + escaped(lfe) + "</p>\n");
}

void add_overview(Page& page, const Calibration& calibration) {
  page.heading("before-and-after", "Before and after");
  page.add("<div class=\"charts\">\n");
  page.figure(page::arrival_chart(calibration));
  page.figure(page::level_chart(calibration));
  page.add(
      "</div>\n<p class=\"soft\">At the listening position. A sub may be set earlier or later than the others, "
      "so that it adds up best with them.</p>\n");
}

std::string reflections(const SpeakerResult& speaker) {
  std::string html;
  for (const ReflectionResult& reflection : speaker.measured.room.reflections) {
    html += fmt::format("<li>{:.1f} ms after the direct sound, {:.2f} m longer, {:.0f} dB{}</li>\n",
                        reflection.delay_ms, reflection.path_m, reflection.level_db,
                        reflection.surface.empty() ? "" : ": perhaps the " + escaped(reflection.surface));
  }
  return html.empty() ? html
                      : "<details><summary>Strongest early reflections</summary>\n<ul>\n" + html + "</ul></details>\n";
}

void add_speaker(Page& page, const Calibration& calibration, std::size_t index, const SpeakerMeasurement* measured) {
  const SpeakerResult& speaker = calibration.speakers[index];
  page.add(
      fmt::format("<section class=\"speaker\" aria-labelledby=\"speaker-{0}\">\n<h3 id=\"speaker-{0}\">{1}, output "
                  "{2}</h3>\n",
                  index, escaped(speaker.label), speaker.output));
  if (speaker.status == Status::silent) {
    page.add("<p>Nothing was heard of it.</p>\n</section>\n");
    return;
  }
  page.add("<div class=\"charts\">\n");
  page.figure(page::response_chart(calibration, index));
  if (measured != nullptr && measured->heard && !measured->response.samples.empty()) {
    page.figure(page::impulse_chart(speaker, index, *measured));
    if (speaker.kind == SpeakerKind::main) page.figure(page::reflection_chart(speaker, index, *measured));
  }
  page.figure(page::harmonic_chart(speaker, index));
  page.add("</div>\n" + reflections(speaker) + "</section>\n");
}

void add_speakers(Page& page, const Calibration& calibration, std::span<const PositionMeasurement> responses) {
  page.heading("loudspeakers", "Each loudspeaker");
  if (responses.empty()) {
    page.add("<p>The impulse responses are not in the folder of the calibration: their charts are left out.</p>\n");
  }
  page.add("<div class=\"charts\">\n");
  page.figure(page::overlay_chart(calibration, false));
  page.figure(page::overlay_chart(calibration, true));
  page.add("</div>\n");
  for (const auto* speaker : in_output_order(calibration)) {
    const auto index = static_cast<std::size_t>(speaker - calibration.speakers.data());
    const bool known = !responses.empty() && index < responses.front().speakers.size();
    add_speaker(page, calibration, index, known ? &responses.front().speakers[index] : nullptr);
  }
}

void add_bass(Page& page, const Calibration& calibration) {
  if (!calibration.bass_picture) return;
  page.heading("bass", "Sub and mains together");
  page.add("<div class=\"charts\">\n");
  std::string phases;
  for (Chart& chart : page::bass_charts(*calibration.bass_picture)) {
    phases += "<li>" + escaped(chart.title) + ": " + escaped(chart.summary) + "</li>\n";
    page.figure(std::move(chart));
  }
  page.add("</div>\n<details><summary>In words, with the phase at the crossover</summary>\n<ul>\n" + phases +
           "</ul>\n</details>\n");
}

void add_places(Page& page, const Calibration& calibration) {
  if (!has_places(calibration)) return;
  page.heading("places", "Where they stand");
  page.add(places_drawing(calibration));
}

void add_room(Page& page, const Calibration& calibration) {
  auto decay = page::decay_chart(calibration.room);
  auto noise = page::noise_chart(calibration.room);
  if (!decay && !noise) return;
  page.heading("room", "The room");
  page.add("<div class=\"charts\">\n");
  page.figure(std::move(decay));
  page.figure(std::move(noise));
  page.add("</div>\n");
}

void add_how(Page& page, const Calibration& calibration) {
  page.heading("how", "How it was measured");
  const auto spots = calibration.speakers.empty() ? 0 : calibration.speakers.front().measured.positions.size();
  page.add(
      fmt::format("<ul>\n<li>ringtrue {}</li>\n<li>Interface at {:g} Hz, delay in steps of {:g} ms, trim in steps "
                  "of {:g} dB</li>\n<li>{} microphone {}</li>\n<li>Times count from the {}</li>\n</ul>\n",
                  RINGTRUE_VERSION, calibration.rig.interface.sample_rate_hz, calibration.rig.interface.delay_step_ms,
                  calibration.rig.interface.trim_step_db, spots, spots == 1 ? "position" : "positions",
                  name(calibration.time_reference)));
}

std::string title_of(const Rig& rig) {
  return rig.name.empty() ? rig.layout : fmt::format("{} ({})", rig.name, rig.layout);
}

std::string document(const std::string& title, const std::string& body, const std::vector<Chart>& charts) {
  std::string html = fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
      "script-src 'unsafe-inline'; img-src data:\">\n<title>{}</title>\n<style>{}{}{}</style>\n</head>\n",
      escaped(title), plan_page_style, places_drawing_style(), page::style);
  html += "<body>\n<main>\n" + body + "</main>\n";
  html += "<script type=\"application/json\" id=\"numbers\">" + page::format_charts(charts) + "</script>\n";
  html +=
      fmt::format("<script>{}</script>\n<script>{}</script>\n</body>\n</html>\n", page::chart_library, page::script);
  return html;
}

}  // namespace

std::string format_report_page(const Calibration& calibration, std::span<const PositionMeasurement> responses,
                               const ReportOptions& options) {
  Page page;
  add_settings(page, calibration);
  page.heading("findings", "What was found");
  page.add(findings(calibration));
  add_overview(page, calibration);
  add_places(page, calibration);
  add_bass(page, calibration);
  add_speakers(page, calibration, responses);
  add_room(page, calibration);
  add_how(page, calibration);

  const std::string title = title_of(calibration.rig);
  std::string body = fmt::format("<h1>{}</h1>\n", escaped(title));
  const std::string& date = options.date.empty() ? calibration.date : options.date;
  if (!date.empty()) body += fmt::format("<p class=\"soft\">Measured {}</p>\n", escaped(date));
  body += verdict(calibration);
  body += "<nav aria-label=\"On this page\">\n" + page.contents() + "</nav>\n";
  body +=
      "<noscript><p class=\"warn\">The charts need JavaScript; all settings and findings are here without.</p>"
      "</noscript>\n";
  return document(title, body + page.html(), page.charts());
}

}  // namespace ringtrue
