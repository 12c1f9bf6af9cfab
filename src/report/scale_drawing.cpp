#include "scale_drawing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "html_text.hpp"
#include "ringtrue/report/text_layout.hpp"

namespace ringtrue::drawing {
namespace {

// Units of the drawing: a phone shows 400 of them on its 360 pixels.
constexpr double page_width = 400.0;
constexpr double margin = 26.0;
constexpr double tallest = 560.0;
constexpr double font_size = 13.0;
constexpr double character_width = 0.66 * font_size;  // of the widest system fonts, bold
constexpr double line_height = 1.1 * font_size;
constexpr double symbol_radius = 9.0;
constexpr double shortest_leader = 8.0;
constexpr double widest_metre = 90.0;  // of a scale bar, which has the lower wall's name beside it

double fitting_scale(const Extent& extent) {
  const double across = (page_width - 2.0 * margin) / (extent.high.u - extent.low.u);
  return std::min(across, tallest / (extent.high.v - extent.low.v));
}

/// A number of the drawing: a tenth of a unit, never "-0.0".
std::string number(double value) { return fmt::format("{:.1f}", std::round(value * 10.0) / 10.0 + 0.0); }

double degrees_clockwise(Spot towards) { return std::atan2(towards.v, towards.u) * 180.0 / std::numbers::pi; }

Box centred(double x, double y, double width, double height) {
  return {x - 0.5 * width, y - 0.5 * height, width, height};
}

double text_width(std::string_view words) { return static_cast<double>(text::columns(words)) * character_width; }

double outside_page(const Box& box, double page_height) {
  return std::max(0.0, -box.x) + std::max(0.0, box.x + box.width - page_width) + std::max(0.0, -box.y) +
         std::max(0.0, box.y + box.height - page_height);
}

}  // namespace

double overlap(const Box& a, const Box& b) {
  const double width = std::min(a.x + a.width, b.x + b.width) - std::max(a.x, b.x);
  const double height = std::min(a.y + a.height, b.y + b.height) - std::max(a.y, b.y);
  return width > 0.0 && height > 0.0 ? width * height : 0.0;
}

ScaleDrawing::ScaleDrawing(const Extent& extent)
    : extent_{extent}, scale_{fitting_scale(extent)}, height_{(extent.high.v - extent.low.v) * scale_ + 2.0 * margin} {}

double ScaleDrawing::x(double u) const {
  const double middle = 0.5 * (extent_.low.u + extent_.high.u);
  return 0.5 * page_width + (u - middle) * scale_;
}

double ScaleDrawing::y(double v) const { return margin + (v - extent_.low.v) * scale_; }

void ScaleDrawing::room(std::string_view above, std::string_view below) {
  const Box box{x(extent_.low.u), y(extent_.low.v), (extent_.high.u - extent_.low.u) * scale_,
                (extent_.high.v - extent_.low.v) * scale_};
  elements_ += fmt::format("<rect class=\"room\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>\n", number(box.x),
                           number(box.y), number(box.width), number(box.height));
  const double middle_x = box.x + 0.5 * box.width;
  centred_text(middle_x, box.y - 0.8 * line_height, above, "note");
  centred_text(middle_x, box.y + box.height + 0.8 * line_height, below, "note");
  for (const double side_x : {box.x, box.x + box.width}) taken_.push_back(centred(side_x, 0.5 * height_, 6.0, height_));
  for (const double side_y : {box.y, box.y + box.height}) taken_.push_back(centred(middle_x, side_y, page_width, 6.0));
}

void ScaleDrawing::line(Spot from, Spot to, std::string_view css_class) {
  elements_ += fmt::format("<line class=\"{}\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>\n", css_class,
                           number(x(from.u)), number(y(from.v)), number(x(to.u)), number(y(to.v)));
}

void ScaleDrawing::circle(Spot centre, double radius_m, std::string_view css_class) {
  elements_ += fmt::format("<circle class=\"{}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>\n", css_class, number(x(centre.u)),
                           number(y(centre.v)), number(radius_m * scale_));
}

void ScaleDrawing::ellipse(Spot centre, double along_m, double across_m, double turn_deg, std::string_view css_class) {
  elements_ += fmt::format("<ellipse class=\"{}\" transform=\"translate({} {}) rotate({})\" rx=\"{}\" ry=\"{}\"/>\n",
                           css_class, number(x(centre.u)), number(y(centre.v)), number(turn_deg),
                           number(along_m * scale_), number(across_m * scale_));
}

void ScaleDrawing::cross(Spot at, std::string_view css_class) {
  elements_ += fmt::format("<path class=\"{}\" transform=\"translate({} {})\" d=\"M -5 -5 L 5 5 M -5 5 L 5 -5\"/>\n",
                           css_class, number(x(at.u)), number(y(at.v)));
}

void ScaleDrawing::arc(double radius_m, double from_azimuth_deg, double to_azimuth_deg, std::string_view css_class) {
  const auto end = [&](double azimuth_deg) {
    const double azimuth = azimuth_deg * std::numbers::pi / 180.0;
    return fmt::format("{} {}", number(x(-radius_m * std::sin(azimuth))), number(y(-radius_m * std::cos(azimuth))));
  };
  const std::string radius = number(radius_m * scale_);
  elements_ += fmt::format("<path class=\"{}\" d=\"M {} A {} {} 0 {} 0 {}\"/>\n", css_class, end(from_azimuth_deg),
                           radius, radius, to_azimuth_deg - from_azimuth_deg > 180.0 ? 1 : 0, end(to_azimuth_deg));
}

void ScaleDrawing::loudspeaker(Spot at, std::string_view css_class) {
  const bool faces_reader = std::hypot(at.u, at.v) * scale_ < symbol_radius;
  const std::string shape =
      faces_reader ? "<rect x=\"-6\" y=\"-7\" width=\"12\" height=\"14\" rx=\"1\"/><circle class=\"cone\" r=\"3.5\"/>"
                   : "<path d=\"M -7 -5 H 2 V 5 H -7 Z\"/><path d=\"M 2 -5 L 6 -8 V 8 L 2 5 Z\"/>";
  const double turn = faces_reader ? 0.0 : degrees_clockwise({-at.u, -at.v});
  elements_ += fmt::format("<g class=\"{}\" transform=\"translate({} {}) rotate({})\">{}</g>\n", css_class,
                           number(x(at.u)), number(y(at.v)), number(turn), shape);
  taken_.push_back(centred(x(at.u), y(at.v), 2.0 * symbol_radius, 2.0 * symbol_radius));
}

void ScaleDrawing::listener() {
  elements_ += fmt::format(
      "<g class=\"listener\" transform=\"translate({} {})\"><circle r=\"6\"/><path d=\"M -9 0 H 9 M 0 -9 V 9\"/></g>\n",
      number(x(0.0)), number(y(0.0)));
  taken_.push_back(centred(x(0.0), y(0.0), 2.0 * symbol_radius, 2.0 * symbol_radius));
}

void ScaleDrawing::interface_box(Spot at) {
  elements_ += fmt::format("<rect class=\"interface\" x=\"{}\" y=\"{}\" width=\"20\" height=\"8\" rx=\"2\"/>\n",
                           number(x(at.u) - 10.0), number(y(at.v) - 4.0));
  taken_.push_back(centred(x(at.u), y(at.v), 20.0, 8.0));
}

void ScaleDrawing::scale_bar(Spot low_left) {
  const double bar_m = scale_ > widest_metre ? 0.5 : 1.0;
  const double x0 = x(low_left.u);
  const double x1 = x0 + bar_m * scale_;
  const double y0 = y(low_left.v) + 15.0;
  elements_ += fmt::format("<path class=\"scale\" d=\"M {0} {2} V {3} H {1} V {2}\"/>\n", number(x0), number(x1),
                           number(y0 - 4.0), number(y0));
  elements_ +=
      fmt::format("<text class=\"note\" x=\"{}\" y=\"{}\">{:g} m</text>\n", number(x1 + 5.0), number(y0 + 2.0), bar_m);
}

void ScaleDrawing::centred_text(double middle_x, double middle_y, std::string_view words, std::string_view css_class) {
  elements_ += fmt::format("<text class=\"{}\" text-anchor=\"middle\" x=\"{}\" y=\"{}\">{}</text>\n", css_class,
                           number(middle_x), number(middle_y + 0.35 * font_size), html::escaped(words));
  taken_.push_back(centred(middle_x, middle_y, text_width(words), line_height));
}

void ScaleDrawing::label(Spot at, const std::string& words, std::string_view css_class) {
  labels_.push_back({at, words, std::string{css_class}});
}

/// A thin line to a label that stands away from its symbol.
void ScaleDrawing::leader(Spot at, const Box& box) {
  const double dx = box.x + 0.5 * box.width - x(at.u);
  const double dy = box.y + 0.5 * box.height - y(at.v);
  const double away = std::hypot(dx, dy);
  const double inside = std::min(0.5 * box.width / std::max(std::abs(dx), 1e-9),
                                 0.5 * box.height / std::max(std::abs(dy), 1e-9));  // share of the way in the box
  const double start = symbol_radius / away;
  if ((1.0 - inside - start) * away < shortest_leader) return;
  elements_ += fmt::format("<line class=\"leader\" x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"/>\n",
                           number(x(at.u) + start * dx), number(y(at.v) + start * dy),
                           number(x(at.u) + (1.0 - inside) * dx), number(y(at.v) + (1.0 - inside) * dy));
}

/// Of some places around the symbol the one that covers least; outwards from the ear point first.
Box ScaleDrawing::best_place(const Label& label) const {
  const double width = text_width(label.words);
  const double outwards = std::atan2(label.at.v, label.at.u);
  Box best;
  double best_cost = std::numeric_limits<double>::infinity();
  for (const double gap : {2.0, 10.0, 20.0, 32.0}) {
    for (const double turn : {0.0, 0.25, -0.25, 0.5, -0.5, 0.75, -0.75, 1.0}) {
      const double angle = outwards + turn * std::numbers::pi;
      const double away_x = std::cos(angle) * (symbol_radius + gap + 0.5 * width);
      const double away_y = std::sin(angle) * (symbol_radius + gap + 0.5 * line_height);
      const Box box = centred(x(label.at.u) + away_x, y(label.at.v) + away_y, width, line_height);
      double cost = gap + 8.0 * std::abs(turn) + 1000.0 * outside_page(box, height_);
      for (const Box& other : taken_) cost += 3.0 * overlap(box, other);
      if (cost < best_cost) {
        best_cost = cost;
        best = box;
      }
    }
  }
  return best;
}

void ScaleDrawing::place_label(const Label& label) {
  const Box box = best_place(label);
  leader(label.at, box);
  centred_text(box.x + 0.5 * box.width, box.y + 0.5 * box.height, label.words, label.css_class);
}

std::string ScaleDrawing::finish(std::string_view id, std::string_view title, std::string_view description) {
  for (const Label& label : labels_) place_label(label);
  return fmt::format(
      "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{}-title {}-description\" "
      "xmlns=\"http://www.w3.org/2000/svg\">\n<title id=\"{}-title\">{}</title>\n<desc "
      "id=\"{}-description\">{}</desc>\n"
      "{}</svg>\n",
      number(page_width), number(height_), id, id, id, html::escaped(title), id, html::escaped(description), elements_);
}

}  // namespace ringtrue::drawing
