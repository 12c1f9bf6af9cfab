#include "bass_picture_json.hpp"

namespace ringtrue::json {
namespace {

constexpr int picture_decimals_of_frequency_hz = 2;
constexpr int picture_decimals_of_level_db = 1;
constexpr int picture_decimals_of_phase_deg = 0;
constexpr std::size_t most_points = 1'000;
constexpr std::size_t most_mains = 1'024;

Object numbers(const std::vector<double>& values, int decimals) {
  Object array = Object::array();
  for (const double value : values) array.push_back(number(value, decimals));
  return array;
}

std::vector<double> read_numbers(const Reader& reader) {
  std::vector<double> values;
  for (const Reader& value : reader.elements(most_points)) values.push_back(value.number());
  return values;
}

std::vector<double> read_curve(const Reader& reader, std::size_t points) {
  std::vector<double> curve = read_numbers(reader);
  reader.require(curve.size() == points, "as long as frequency_hz");
  return curve;
}

}  // namespace

Object format_bass_picture(const BassPicture& picture) {
  Object mains = Object::array();
  for (const BassPicture::Main& main : picture.mains) {
    mains.push_back({{"label", main.label},
                     {"crossover_hz", main.crossover_hz},
                     {"phase_before_deg", number(main.phase_before_deg, picture_decimals_of_phase_deg)},
                     {"phase_after_deg", number(main.phase_after_deg, picture_decimals_of_phase_deg)},
                     {"main_db", numbers(main.main_db, picture_decimals_of_level_db)},
                     {"sub_db", numbers(main.sub_db, picture_decimals_of_level_db)},
                     {"before_db", numbers(main.before_db, picture_decimals_of_level_db)},
                     {"after_db", numbers(main.after_db, picture_decimals_of_level_db)}});
  }
  return {{"frequency_hz", numbers(picture.frequency_hz, picture_decimals_of_frequency_hz)},
          {"mains", std::move(mains)}};
}

BassPicture read_bass_picture(const Reader& reader) {
  BassPicture picture{read_numbers(reader.at("frequency_hz")), {}};
  const std::size_t points = picture.frequency_hz.size();
  for (const Reader& main : reader.at("mains").elements(most_mains)) {
    picture.mains.push_back({.label = main.at("label").text(),
                             .crossover_hz = main.at("crossover_hz").number(),
                             .main_db = read_curve(main.at("main_db"), points),
                             .sub_db = read_curve(main.at("sub_db"), points),
                             .before_db = read_curve(main.at("before_db"), points),
                             .after_db = read_curve(main.at("after_db"), points),
                             .phase_before_deg = main.at("phase_before_deg").number(),
                             .phase_after_deg = main.at("phase_after_deg").number()});
  }
  return picture;
}

}  // namespace ringtrue::json
