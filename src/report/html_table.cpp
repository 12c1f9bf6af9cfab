#include "html_table.hpp"

#include <fmt/format.h>

#include "html_text.hpp"

namespace ringtrue::html {
namespace {

/// A number and its unit stay on one line.
std::string cell(std::string_view words) {
  std::string html = escaped(words);
  for (auto at = html.find(" m"); at != std::string::npos; at = html.find(" m", at + 1)) {
    const bool is_unit = at + 2 == html.size() || html[at + 2] == ' ' || html[at + 2] == ',';
    if (is_unit) html.replace(at, 1, "&#160;");
  }
  return html;
}

}  // namespace

std::string table_head(std::string_view caption, const std::vector<Column>& columns) {
  std::string html = fmt::format(
      "<table role=\"table\">\n<caption>{}</caption>\n<thead role=\"rowgroup\"><tr "
      "role=\"row\"><th role=\"columnheader\" scope=\"col\">Loudspeaker</th>",
      escaped(caption));
  for (const Column& column : columns) {
    html += fmt::format("<th role=\"columnheader\" scope=\"col\">{}</th>", escaped(column.name));
  }
  return html + "</tr></thead>\n<tbody role=\"rowgroup\">\n";
}

std::string table_row(std::string_view who, std::string_view words, const std::vector<Column>& columns,
                      const std::vector<std::string>& cells) {
  std::string html =
      fmt::format("<tr role=\"row\"><th role=\"rowheader\" scope=\"row\" class=\"who\">{}<span>{}</span></th>",
                  escaped(who), escaped(words));
  for (std::size_t i = 0; i < cells.size(); ++i) {
    html += fmt::format("<td role=\"cell\"{} data-name=\"{}\">{}</td>", columns[i].wide ? " class=\"wide\"" : "",
                        escaped(columns[i].name), cell(cells[i]));
  }
  return html + "</tr>\n";
}

}  // namespace ringtrue::html
