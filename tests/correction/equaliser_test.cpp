#include "ringtrue/correction/equaliser.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <string>

#include "dsp/cookbook_table.hpp"

using namespace ringtrue;

TEST_CASE("an equaliser's filters are the cookbook's sections") {
  // Source: ../shared/reference/eq_cookbook.csv (dsp/cookbook_table.hpp).
  int seen = 0;
  for (const auto& row : test::worked) {
    for (const FilterShape shape : {FilterShape::peak, FilterShape::low_shelf, FilterShape::high_shelf}) {
      if (row.type != name(shape)) continue;
      CAPTURE(row.id);
      const Biquad section = section_of({shape, row.frequency_hz, row.gain_db, row.q}, Hertz{row.sample_rate_hz});
      CHECK(std::abs(section.b0 - row.section.b0) < 1e-12);
      CHECK(std::abs(section.b1 - row.section.b1) < 1e-12);
      CHECK(std::abs(section.b2 - row.section.b2) < 1e-12);
      CHECK(std::abs(section.a1 - row.section.a1) < 1e-12);
      CHECK(std::abs(section.a2 - row.section.a2) < 1e-12);
      ++seen;
    }
  }
  CHECK(seen >= 13);
}

TEST_CASE("gains of several filters add up in dB") {
  // Source: the table's mag_f0_db and mag_2f0_db of rows 1 (+6 dB at 1 kHz, Q 1) and 2 (-6 dB): they cancel.
  const std::array both{Filter{FilterShape::peak, 1'000.0, 6.0, 1.0}, Filter{FilterShape::peak, 1'000.0, -6.0, 1.0}};
  const std::array frequency_hz{20.0, 1'000.0, 2'000.0, 15'000.0};
  for (const double gain : gain_db(both, frequency_hz, Hertz{48'000.0})) CHECK(std::abs(gain) < 1e-9);
  const auto one = gain_db(std::span{both}.first(1), frequency_hz, Hertz{48'000.0});
  CHECK(std::abs(one[1] - 6.0) < 1e-9);
  CHECK(std::abs(one[2] - 1.865991036948) < 1e-9);
}

TEST_CASE("the largest gain is that of the sum, between the filters too") {
  // Closed form: a peak has its whole gain at its frequency, two at the same place twice that.
  const Hertz rate{48'000.0};
  const std::array one{Filter{FilterShape::peak, 137.0, 2.5, 9.0}};
  CHECK(std::abs(largest_gain_db(one, rate) - 2.5) < 1e-9);
  const std::array two{Filter{FilterShape::peak, 100.0, 2.0, 1.0}, Filter{FilterShape::peak, 120.0, 2.0, 1.0}};
  CHECK(largest_gain_db(two, rate) > 3.5);
  const std::array cut{Filter{FilterShape::peak, 100.0, -2.0, 1.0}};
  CHECK(largest_gain_db(cut, rate) < 1e-9);
  CHECK(largest_gain_db({}, rate) == 0.0);
}
