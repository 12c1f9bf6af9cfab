#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "response/simulated.hpp"
#include "ringtrue/calibration/calibrate.hpp"
#include "ringtrue/dsp/crossover.hpp"
#include "sample_rate.hpp"

using namespace ringtrue;

namespace {

using ringtrue::test::rate_hz;

/// What one speaker does at one position, for measurements written by hand.
struct Heard {
  double arrival_ms = 5.0;  // as it was measured
  double really_ms = 5.0;   // where the impulse is
  double gain = 1.0;        // negative: inverted
  Cascade filter{};         // the speaker's own
  WooferSign sign = WooferSign::positive;
  bool heard = true;
};

std::vector<double> filtered(std::vector<double> samples, const Cascade& cascade) {
  for (const Biquad& s : cascade) {  // direct form II transposed
    double first = 0.0, second = 0.0;
    for (double& x : samples) {
      const double y = s.b0 * x + first;
      first = s.b1 * x - s.a1 * y + second;
      second = s.b2 * x - s.a2 * y;
      x = y;
    }
  }
  return samples;
}

SpeakerMeasurement measurement_of(const Heard& heard) {
  SpeakerMeasurement measured;
  measured.heard = heard.heard;
  if (!heard.heard) return measured;
  measured.arrival_ms = Estimate{heard.arrival_ms, 0.001};
  measured.level_db = Estimate{20.0 * std::log10(std::abs(heard.gain)), 0.01};
  measured.sign = heard.sign;
  measured.signal_to_noise_db = 60.0;
  measured.response.sample_rate_hz = rate_hz;
  measured.response.first_sample_ms = -20.0;
  const double index = (heard.really_ms - measured.response.first_sample_ms) * 1e-3 * rate_hz;
  const auto h = filtered(test::impulse(index, heard.gain, 36'000), heard.filter);
  measured.response.samples.assign(h.begin(), h.end());
  return measured;
}

/// Three mains (L, R, C) and subs; sweeps that are flat over the whole bass, so that no taper is in the responses.
Rig bass_rig(int subs = 1) {
  Rig rig;
  rig.layout = "5.1";
  rig.bass_management = BassManagement{};
  const Band wide{Hertz{5.0}, Hertz{20'000.0}};
  for (const char* label : {"L", "R", "C"}) {
    rig.speakers.push_back({label, static_cast<int>(rig.speakers.size()) + 1, SpeakerKind::main, wide, {}});
  }
  for (int i = 0; i < subs; ++i) {
    rig.speakers.push_back(
        {i == 0 ? "LFE" : "Sub2", static_cast<int>(rig.speakers.size()) + 1, SpeakerKind::sub, wide, {}});
  }
  return rig;
}

PositionMeasurement position_of(const std::vector<Heard>& speakers) {
  PositionMeasurement position;
  position.name = "by hand";
  for (const Heard& heard : speakers) position.speakers.push_back(measurement_of(heard));
  return position;
}

Calibration calibrated(const Rig& rig, const std::vector<Heard>& speakers, const CalibrateOptions& options = {}) {
  const std::vector<PositionMeasurement> positions{position_of(speakers)};
  return calibrate(rig, positions, options);
}

const Finding* finding(const Calibration& calibration, const std::string& code) {
  const auto found = std::ranges::find(calibration.findings, code, &Finding::code);
  return found == calibration.findings.end() ? nullptr : &*found;
}

/// Where a speaker's impulse ends up after its delay.
double settled_ms(const Calibration& calibration, const std::vector<Heard>& speakers, std::size_t s) {
  return speakers[s].really_ms + *calibration.speakers[s].settings.delay_ms;
}

const Heard near_main{.arrival_ms = 4.0, .really_ms = 4.0};
const Heard far_main{.arrival_ms = 6.0, .really_ms = 6.0, .gain = 0.5};

}  // namespace

TEST_SUITE_BEGIN("calibration");

TEST_CASE("the sub is put where it adds up with the mains, not where its arrival says") {
  // An ideal 24 dB/octave crossover sums flat when both impulses coincide (closed form), whatever the arrivals claim.
  for (const double really_ms : {3.0, 7.0, 16.0}) {
    for (const double gain : {1.0, -1.0}) {
      CAPTURE(really_ms);
      CAPTURE(gain);
      const std::vector<Heard> heard{
          near_main, far_main, near_main, {.arrival_ms = 5.0, .really_ms = really_ms, .gain = gain}};
      const Calibration result = calibrated(bass_rig(), heard);
      for (const std::size_t main : {0U, 1U, 2U}) {
        CHECK(std::abs(settled_ms(result, heard, 3) - settled_ms(result, heard, main)) < 0.06);
        CHECK(*result.speakers[main].settings.delay_ms >= 0.0);
      }
      CHECK(result.speakers[3].settings.invert == (gain < 0.0));
      CHECK(*result.speakers[3].settings.delay_ms >= 0.0);
      REQUIRE(result.bass_alignment);
      CHECK(result.bass_alignment->subs[0].label == "LFE");
      CHECK(std::abs(result.bass_alignment->subs[0].shift_ms - (5.0 - really_ms)) < 0.06);
      CHECK(result.bass_alignment->band_hz == std::array{40.0, 160.0});
      CHECK(result.bass_alignment->gain_db > 0.0);
    }
  }
}

TEST_CASE("the picture shows what a late sub costs, and that the settings win it back") {
  // Closed form: the branches of a 24 dB/octave crossover are in phase; a sub that is 2 ms later than it seems lags by
  // 360 f 2 ms, which at 80 Hz leaves cos(57.6 / 2 degrees) of the sum: -1.1469 dB
  // (../shared/reference/method_checks.csv, row lr4_err).
  const std::vector<Heard> heard{near_main, far_main, near_main, {.arrival_ms = 5.0, .really_ms = 7.0}};
  const Calibration result = calibrated(bass_rig(), heard);
  REQUIRE(result.bass_picture);
  const BassPicture& picture = *result.bass_picture;
  REQUIRE(picture.mains.size() == 3);
  REQUIRE(picture.frequency_hz.size() == 49);  // 20 to 320 Hz in twelfths of an octave
  const std::size_t at_80 = 24;
  CHECK(std::abs(picture.frequency_hz[at_80] - 80.0) < 1e-9);
  const double before_db = -1.1468775537625668;
  for (const BassPicture::Main& main : picture.mains) {
    CAPTURE(main.label);
    CHECK(std::abs(main.phase_before_deg + 57.6) < 3.0);
    CHECK(std::abs(main.phase_after_deg) < 2.0);
    CHECK(std::abs(main.before_db[at_80] - before_db) < 0.1);
    CHECK(std::abs(main.main_db[at_80] + 6.02) < 0.1);
    CHECK(std::abs(main.sub_db[at_80] + 6.02) < 0.1);
    for (const double level : main.after_db) CHECK(std::abs(level) < 0.1);
  }
}

TEST_CASE("mains keep their alignment among themselves when they wait for the sub") {
  const std::vector<Heard> heard{near_main, far_main, near_main, {.arrival_ms = 5.0, .really_ms = 15.0}};
  const Calibration result = calibrated(bass_rig(), heard);
  CHECK(std::abs(settled_ms(result, heard, 0) - settled_ms(result, heard, 1)) <= 0.01 + 1e-9);
  CHECK(*result.speakers[3].settings.delay_ms == 0.0);
  CHECK(*result.speakers[0].settings.delay_ms > 10.0);
}

TEST_CASE("the note says what was done, what it wins, and what the worst main loses") {
  const Calibration result =
      calibrated(bass_rig(), {near_main, far_main, near_main, {.arrival_ms = 5.0, .really_ms = 7.0, .gain = -1.0}});
  const Finding* const note = finding(result, "subwoofer-alignment");
  REQUIRE(note != nullptr);
  CHECK(note->severity == Severity::note);
  CHECK(note->speaker == "LFE");
  CHECK(note->message.starts_with("LFE is set 2.0"));
  CHECK(note->message.find(" ms earlier than by arrival alone and inverted: so main and sub add up best over all mains "
                           "and mic positions. From 40 to 160 Hz that wins ") != std::string::npos);
  CHECK(note->message.find(" gains least, ") != std::string::npos);
}

TEST_CASE("without bass management, or without a sub to be heard, arrivals alone decide") {
  const std::vector<Heard> heard{near_main, far_main, near_main, {.arrival_ms = 5.0, .really_ms = 7.0}};
  Rig lfe_only = bass_rig();
  lfe_only.bass_management.reset();
  const Calibration by_arrival = calibrated(lfe_only, heard);
  CHECK_FALSE(by_arrival.bass_alignment);
  CHECK(finding(by_arrival, "subwoofer-alignment") == nullptr);
  CHECK(std::abs(*by_arrival.speakers[3].settings.delay_ms - 1.0) < 0.011);  // 6 ms of the farthest less its own 5 ms

  std::vector<Heard> silent = heard;
  silent[3].heard = false;
  const Calibration without = calibrated(bass_rig(), silent);
  CHECK_FALSE(without.bass_alignment);
  CHECK_FALSE(without.speakers[3].settings.delay_ms);
  CHECK(std::abs(*without.speakers[0].settings.delay_ms - 2.0) < 0.011);
}

TEST_CASE("an inverted sub is a note where its polarity is chosen by the sum, a warning where it is not") {
  const Heard inverted{.arrival_ms = 5.0, .really_ms = 5.0, .gain = -1.0, .sign = WooferSign::negative};
  const Calibration managed = calibrated(bass_rig(), {near_main, far_main, near_main, inverted});
  REQUIRE(finding(managed, "inverted-polarity") != nullptr);
  CHECK(finding(managed, "inverted-polarity")->severity == Severity::note);
  CHECK(managed.speakers[3].measured.polarity == Polarity::inverted);
  CHECK(managed.speakers[3].settings.invert);
  CHECK_FALSE(needs_attention(managed.findings));

  Rig lfe_only = bass_rig();
  lfe_only.bass_management.reset();
  const Calibration alone = calibrated(lfe_only, {near_main, far_main, near_main, inverted});
  REQUIRE(finding(alone, "inverted-polarity") != nullptr);
  CHECK(finding(alone, "inverted-polarity")->severity == Severity::warn);
  CHECK(alone.speakers[3].settings.invert);
}

TEST_CASE("an interface that cannot invert gets no invert setting, and a word on the sub's own switch") {
  Rig rig = bass_rig();
  rig.interface.polarity_switch = false;
  const std::vector<Heard> heard{near_main,
                                 far_main,
                                 near_main,
                                 {.arrival_ms = 5.0, .really_ms = 5.0, .gain = -1.0, .sign = WooferSign::negative}};
  const Calibration result = calibrated(rig, heard);
  CHECK_FALSE(result.speakers[3].settings.invert);
  CHECK(std::ranges::any_of(result.findings, [](const Finding& note) {
    return note.code == "subwoofer-alignment" &&
           note.message.find("turn the phase switch on the sub") != std::string::npos;
  }));
}

TEST_CASE("the sub's delay stays inside what the interface offers") {
  Rig rig = bass_rig();
  rig.interface.delay_range_ms = {0.0, 4.0};
  const std::vector<Heard> heard{near_main, far_main, near_main, {.arrival_ms = 5.0, .really_ms = 15.0}};
  const Calibration result = calibrated(rig, heard);
  for (const SpeakerResult& speaker : result.speakers) {
    CHECK(*speaker.settings.delay_ms >= 0.0);
    CHECK(*speaker.settings.delay_ms <= 4.0);
  }
  CHECK(finding(result, "delay-out-of-range") == nullptr);
  CHECK(std::abs(settled_ms(result, heard, 0) - settled_ms(result, heard, 1)) <= 0.01 + 1e-9);
}

TEST_CASE("two subs that play together are as loud as one") {
  // Same place, same response: in phase they are 6.02 dB louder than one (closed form), so each comes down by that.
  const Heard sub{.arrival_ms = 5.0, .really_ms = 5.0};
  const Calibration one = calibrated(bass_rig(1), {near_main, near_main, near_main, sub});
  const Calibration two = calibrated(bass_rig(2), {near_main, near_main, near_main, sub, sub});
  const double change_db = *two.speakers[3].settings.trim_db - *one.speakers[3].settings.trim_db;
  CHECK(std::abs(change_db + 6.02) <= 0.1);
  CHECK(*two.speakers[3].settings.trim_db == *two.speakers[4].settings.trim_db);
  REQUIRE(two.bass_alignment);
  CHECK(two.bass_alignment->subs.size() == 2);
  CHECK_FALSE(finding(two, "subwoofer-alignment")->speaker);
}

TEST_CASE("two subs that play the LFE alone are together 10 dB above a main, one LFE channel or no bass management") {
  // Same place, same response: in phase they are 6.02 dB louder than one (closed form). One alone plays 10 dB above the
  // mains (ITU-R BS.775-3, ATSC A/85), each of two 3.98 dB; trims are at most 0, so the mains are the lower ones.
  const Heard sub{.arrival_ms = 5.0, .really_ms = 5.0};
  const auto above_main_db = [&](const Rig& rig, std::size_t s) {
    std::vector<Heard> heard(3, near_main);
    heard.resize(rig.speakers.size(), sub);
    const Calibration result = calibrated(rig, heard);
    CHECK(std::abs(settled_ms(result, heard, s) - settled_ms(result, heard, 0)) < 0.011);
    return *result.speakers[s].settings.trim_db - *result.speakers[0].settings.trim_db;
  };
  Rig rig = bass_rig(2);
  rig.bass_management.reset();
  CHECK(std::abs(above_main_db(rig, 3) - 3.98) <= 0.1);
  CHECK(std::abs(above_main_db(rig, 4) - 3.98) <= 0.1);
  Rig one = bass_rig(1);
  one.bass_management.reset();
  CHECK(std::abs(above_main_db(one, 3) - 10.0) <= 0.1);

  rig.layout = "22.2";  // two LFE channels, each recorded 10 dB down
  rig.speakers[4].label = "LFE2";
  CHECK(std::abs(above_main_db(rig, 3) - 10.0) <= 0.1);
  CHECK(std::abs(above_main_db(rig, 4) - 10.0) <= 0.1);
}

TEST_CASE("subs of the LFE alone are evened out over the mic positions, and nobody waits longer than they must") {
  // Two positions at which the second sub arrives 4 ms earlier and 4 ms later than the first: together they cancel at
  // 125 Hz and its odd multiples, at the listening position they add up.
  Rig rig = bass_rig(2);
  rig.bass_management.reset();
  rig.positions.resize(2);
  const Cascade low = butterworth_low_pass(4, Hertz{150.0}, Hertz{rate_hz});
  const Heard first{.filter = low};
  const std::vector<PositionMeasurement> positions{
      position_of({near_main, near_main, near_main, first, first}),
      position_of({near_main, near_main, near_main, first, {.arrival_ms = 11.0, .really_ms = 11.0, .filter = low}})};
  const Calibration result = calibrate(rig, positions);
  REQUIRE(result.lfe_groups.size() == 1);
  const LfeGroupResult& group = result.lfe_groups[0];
  REQUIRE(group.spatial_variance_db2);
  CHECK((*group.spatial_variance_db2)[1] < (*group.spatial_variance_db2)[0]);
  REQUIRE(group.subs.size() == 2);
  CHECK(std::min(group.subs[0].shift_ms, group.subs[1].shift_ms) == 0.0);
  CHECK(finding(result, "subwoofer-alignment")->message.starts_with("LFE and Sub2 play the LFE channel together, "));
}

TEST_CASE("a sub of the LFE alone beside one that plays the mains' lows goes by its arrival") {
  Rig rig = bass_rig(2);
  rig.speakers[3].lfe_only = true;
  const std::vector<Heard> heard{near_main, far_main, near_main, {.really_ms = 9.0}, {.really_ms = 7.0}};
  const Calibration result = calibrated(rig, heard);
  REQUIRE(result.bass_alignment);
  REQUIRE(result.bass_alignment->subs.size() == 1);
  CHECK(result.bass_alignment->subs[0].label == "Sub2");
  CHECK(std::abs(settled_ms(result, heard, 4) - settled_ms(result, heard, 0)) < 0.06);
  // Where it was measured to arrive, 5 ms, not where its impulse is: no sum tells.
  CHECK(std::abs(5.0 + *result.speakers[3].settings.delay_ms - settled_ms(result, heard, 0)) < 0.011);
  REQUIRE(result.lfe_groups.size() == 1);
  CHECK(result.lfe_groups[0].subs.size() == 1);
  // The interface raises the LFE by its 10 dB: by its trim it is as loud as the mains; of 4 dB, the trim makes up
  // for 6.
  CHECK(std::abs(*result.speakers[3].settings.trim_db - *result.speakers[0].settings.trim_db) <= 0.1);
  rig.bass_management->lfe_gain_db = 4.0;
  const Calibration less = calibrated(rig, heard);
  CHECK(std::abs(*less.speakers[3].settings.trim_db - *less.speakers[0].settings.trim_db - 6.0) <= 0.1);
}

TEST_CASE("where every sub plays the LFE alone, mains stay full range and no crossover is judged") {
  Rig rig = bass_rig();
  rig.speakers[3].lfe_only = true;
  const Cascade small = butterworth_high_pass(4, Hertz{130.0}, Hertz{rate_hz});
  const Calibration result =
      calibrated(rig, {{.filter = small}, near_main, near_main, Heard{}}, {.suggest_crossover = true});
  CHECK_FALSE(result.bass_alignment);
  CHECK_FALSE(result.bass_picture);
  CHECK_FALSE(result.crossover_suggestion);
  CHECK(finding(result, "crossover-unsuitable") == nullptr);
  CHECK(finding(result, "lfe-gain") == nullptr);
  CHECK(result.lfe_peak_dbfs);
}

TEST_CASE("a crossover is suggested for each group of mains that has one of its own") {
  // Two full-range mains, and a small one that ends at 130 Hz and has a crossover of its own, too low.
  Rig rig = bass_rig();
  rig.speakers[2].crossover_hz = 60.0;
  const Cascade small = butterworth_high_pass(4, Hertz{130.0}, Hertz{rate_hz});
  const Calibration result =
      calibrated(rig, {near_main, near_main, {.arrival_ms = 4.0, .really_ms = 4.0, .filter = small}, Heard{}},
                 {.suggest_crossover = true, .crossovers_hz = {40.0, 80.0, 120.0, 160.0}});
  REQUIRE(result.crossover_suggestion);
  CHECK(result.crossover_suggestion->crossover_hz == 80.0);  // as it is
  CHECK(result.crossover_suggestion->tried.size() == 4);
  REQUIRE(result.crossover_suggestion->own.size() == 1);
  const CrossoverSuggestion::Group& own = result.crossover_suggestion->own[0];
  CHECK(own.mains == std::vector<std::string>{"C"});
  CHECK(own.crossover_hz == 160.0);  // the only one above its low end
  CHECK(own.tried.size() == 5);      // its own 60 Hz, too
  std::vector<std::string> notes;
  for (const Finding& note : result.findings) {
    if (note.code == "crossover-suggestion") notes.push_back(note.message);
  }
  REQUIRE(notes.size() == 2);
  CHECK(notes[0].find("for L and R none is clearly better than 80 Hz") != std::string::npos);
  CHECK(notes[1].find(", 160 Hz (") != std::string::npos);
  CHECK(notes[1].find("is the best choice for C here; now it is 60 Hz") != std::string::npos);
  CHECK(notes[1].find("as crossover_hz of these speakers in the rig") != std::string::npos);
}

TEST_CASE("a main with its own crossover is judged with it") {
  // A sub that stops at 90 Hz falls off before an own crossover of 160 Hz, and its low-pass makes it late there.
  Rig rig = bass_rig();
  const Cascade dull = butterworth_low_pass(4, Hertz{90.0}, Hertz{rate_hz});
  const std::vector<Heard> heard{near_main, near_main, near_main, {.filter = dull}};
  const double at_80 = calibrated(rig, heard).bass_alignment->subs[0].shift_ms;
  for (Speaker& speaker : rig.speakers) {
    if (speaker.kind == SpeakerKind::main) speaker.crossover_hz = 160.0;
  }
  const double at_160 = calibrated(rig, heard).bass_alignment->subs[0].shift_ms;
  Rig all = bass_rig();
  all.bass_management->crossover_hz = 160.0;
  CHECK(std::abs(at_160 - calibrated(all, heard).bass_alignment->subs[0].shift_ms) < 1e-9);
  CHECK(std::abs(at_160 - at_80) > 0.1);
}

TEST_CASE("a slope with branches in antiphase turns the sub over") {
  // Source: S. H. Linkwitz (1976), see crossover.hpp: at 12 dB/octave one branch has to be inverted.
  Rig rig = bass_rig();
  rig.bass_management->slope = CrossoverSlope::lr12;
  const Calibration result = calibrated(rig, {near_main, near_main, near_main, Heard{}});
  CHECK(result.speakers[3].settings.invert);
  CHECK(std::abs(result.bass_alignment->subs[0].shift_ms) < 0.06);
}

TEST_CASE("where a speaker falls off is found within the half octave it is smoothed over") {
  // Closed form of Butterworth filters of order 4: 3.01 dB down at the corner, 10 dB at (1/9)^(1/8) of it.
  const Cascade box = butterworth_high_pass(4, Hertz{60.0}, Hertz{rate_hz});
  Cascade sub = butterworth_high_pass(4, Hertz{25.0}, Hertz{rate_hz});
  for (const Biquad& section : butterworth_low_pass(4, Hertz{120.0}, Hertz{rate_hz})) sub.push_back(section);
  const Calibration result = calibrated(bass_rig(), {{.filter = box}, near_main, near_main, {.filter = sub}});
  const BandEnds& main = result.speakers[0].measured.band_ends;
  REQUIRE(main.low_3_db_hz);
  REQUIRE(main.low_10_db_hz);
  CHECK(std::abs(*main.low_3_db_hz - 60.0) < 3.0);
  CHECK(std::abs(*main.low_10_db_hz - 45.6) < 3.0);
  CHECK_FALSE(main.high_3_db_hz);
  CHECK_FALSE(result.speakers[1].measured.band_ends.low_3_db_hz);  // flat down to the end of the grid
  const BandEnds& low = result.speakers[3].measured.band_ends;
  REQUIRE(low.low_3_db_hz);
  REQUIRE(low.high_10_db_hz);
  CHECK(std::abs(*low.low_3_db_hz - 25.0) < 2.0);
  CHECK(std::abs(*low.high_3_db_hz - 120.0) < 6.0);
  CHECK(std::abs(*low.high_10_db_hz - 157.9) < 8.0);
  CHECK(finding(result, "crossover-unsuitable") == nullptr);
}

TEST_CASE("a crossover below what a main plays is noted, and a better one is suggested") {
  Rig rig = bass_rig();
  rig.bass_management->crossover_hz = 60.0;
  const Cascade small = butterworth_high_pass(4, Hertz{130.0}, Hertz{rate_hz});
  const std::vector<Heard> heard{{.filter = small}, {.filter = small}, {.filter = small}, Heard{}};
  const Calibration result = calibrated(rig, heard, {.suggest_crossover = true});
  const Finding* const unsuitable = finding(result, "crossover-unsuitable");
  REQUIRE(unsuitable != nullptr);
  CHECK(unsuitable->severity == Severity::note);
  CHECK(unsuitable->speaker == "L");
  REQUIRE(result.crossover_suggestion);
  CHECK(result.crossover_suggestion->tried.size() == 17);  // 40, 50, ... 200 Hz
  CHECK(result.crossover_suggestion->tried.front().crossover_hz == 40.0);
  CHECK(result.crossover_suggestion->tried.back().crossover_hz == 200.0);
  CHECK(result.crossover_suggestion->crossover_hz >= 110.0);
  CHECK(finding(result, "crossover-suggestion")->message.find("is the best choice here; now it is 60 Hz") !=
        std::string::npos);
}

TEST_CASE("only the crossovers the interface offers are tried, and the one that is set") {
  Rig rig = bass_rig();
  rig.bass_management->crossover_hz = 75.0;
  const Calibration result = calibrated(rig, {near_main, near_main, near_main, Heard{}},
                                        {.suggest_crossover = true, .crossovers_hz = {60.0, 90.0, 120.0}});
  REQUIRE(result.crossover_suggestion);
  std::vector<double> tried;
  for (const auto& trial : result.crossover_suggestion->tried) tried.push_back(trial.crossover_hz);
  CHECK(tried == std::vector{60.0, 75.0, 90.0, 120.0});
  CHECK(finding(result, "crossover-suggestion")->message.starts_with("Of the crossovers from 60 to 120 Hz"));
}

TEST_CASE("what a full-scale LFE needs at the sub's output is said") {
  // By hand: mains and sub equally loud have trims of 0, so the LFE's 10 dB lie above full scale; a sub 12 dB louder
  // is trimmed by 12 dB and 2 dB are left.
  const Calibration over = calibrated(bass_rig(), {near_main, near_main, near_main, Heard{}});
  CHECK(std::abs(*over.lfe_peak_dbfs - 10.0) < 0.06);
  REQUIRE(finding(over, "lfe-headroom") != nullptr);
  CHECK(finding(over, "lfe-headroom")->severity == Severity::note);
  CHECK(finding(over, "lfe-headroom")->speaker == "LFE");
  const Calibration room = calibrated(bass_rig(), {near_main, near_main, near_main, {.gain = std::pow(10.0, 0.6)}});
  CHECK(std::abs(*room.lfe_peak_dbfs + 2.0) < 0.06);
  CHECK(finding(room, "lfe-headroom") == nullptr);
  CHECK(finding(room, "lfe-gain") == nullptr);

  Rig quiet = bass_rig();
  quiet.bass_management->lfe_gain_db = 0.0;
  CHECK(finding(calibrated(quiet, {near_main, near_main, near_main, Heard{}}), "lfe-gain") != nullptr);
  quiet.bass_management.reset();
  CHECK_FALSE(calibrated(quiet, {near_main, near_main, near_main, Heard{}}).lfe_peak_dbfs);
}

TEST_CASE("a sub that is not the same from one sweep to the next is noted, in the octaves that matter") {
  const auto noted = [](const std::vector<OctaveReading>& octaves) {
    PositionMeasurement position = position_of({near_main, near_main, near_main, Heard{}});
    position.speakers[3].octaves = octaves;
    const std::vector<PositionMeasurement> positions{position};
    const Calibration result = calibrate(bass_rig(), positions);
    const Finding* const note = finding(result, "low-frequency-noise");
    return note == nullptr ? std::string{} : note->message;
  };
  CHECK(noted({{31.6, -30.0, 12.4}, {63.1, -30.0, 40.0}, {125.9, -30.0, 40.0}})
            .starts_with("From 22 to 45 Hz LFE stands as little as 12 dB over what differs"));
  CHECK(noted({{31.6, -30.0, 30.0}, {63.1, -30.0, 40.0}, {251.2, -30.0, 5.0}}).empty());
}

TEST_CASE("a crossover that is as good as any is left alone") {
  const Calibration result =
      calibrated(bass_rig(), {near_main, near_main, near_main, Heard{}}, {.suggest_crossover = true});
  REQUIRE(result.crossover_suggestion);
  CHECK(result.crossover_suggestion->crossover_hz == 80.0);
  CHECK(finding(result, "crossover-suggestion")->message.find("leave it") != std::string::npos);
}

TEST_SUITE_END();
