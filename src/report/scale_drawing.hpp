#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace ringtrue::drawing {

/// A place on a drawing, metres from the ear point: u to the right, v DOWN the page.
struct Spot {
  double u = 0.0;
  double v = 0.0;
};

/// What a drawing shows, metres from the ear point.
struct Extent {
  Spot low;   // top left
  Spot high;  // bottom right
};

/// A box on paper, in units of the drawing.
struct Box {
  double x = 0.0;
  double y = 0.0;
  double width = 0.0;
  double height = 0.0;
};

[[nodiscard]] double overlap(const Box& a, const Box& b);

/// SVG to scale, built element by element. Colours and line widths come from classes that the page defines.
/// Text keeps clear of symbols and of other text where there is room.
class ScaleDrawing {
 public:
  /// The extent fits into a fixed width, so that text keeps its size next to rooms of any size.
  explicit ScaleDrawing(const Extent& extent);

  void line(Spot from, Spot to, std::string_view css_class);
  void circle(Spot centre, double radius_m, std::string_view css_class);
  /// @param turn_deg  of the axis `along`, clockwise from the right
  void ellipse(Spot centre, double along_m, double across_m, double turn_deg, std::string_view css_class);
  /// A cross of the size of a letter, whatever the scale.
  void cross(Spot at, std::string_view css_class);
  /// Part of a circle around the ear point; azimuths count from up the page, positive to the left.
  void arc(double radius_m, double from_azimuth_deg, double to_azimuth_deg, std::string_view css_class);
  /// A loudspeaker, its front towards the ear point; one right at the ear point on paper looks at the reader.
  void loudspeaker(Spot at, std::string_view css_class);
  void listener();
  void interface_box(Spot at);
  void scale_bar(Spot low_left);
  /// The outline of a room, with the names of its upper and lower side written outside of it.
  void room(std::string_view above, std::string_view below);
  /// Text beside a symbol, placed at the end, when all symbols are known.
  void label(Spot at, const std::string& words, std::string_view css_class);

  /// The whole <svg> element.
  /// @param id  of its title and description
  [[nodiscard]] std::string finish(std::string_view id, std::string_view title, std::string_view description);

 private:
  struct Label {
    Spot at;
    std::string words;
    std::string css_class;
  };

  [[nodiscard]] double x(double u) const;
  [[nodiscard]] double y(double v) const;
  void centred_text(double x, double y, std::string_view words, std::string_view css_class);
  void leader(Spot at, const Box& box);
  [[nodiscard]] Box best_place(const Label& label) const;
  void place_label(const Label& label);

  Extent extent_;
  double scale_;  // units per metre
  double height_;
  std::string elements_;
  std::vector<Label> labels_;
  std::vector<Box> taken_;
};

}  // namespace ringtrue::drawing
