#pragma once

#include "ringtrue/stimulus/stimulus.hpp"

namespace ringtrue {

/// How long things last in a deconvolved recording, and how far apart they are kept.
struct InterleaveRoom {
  Seconds decay{0.4};  // reverberation time: 60 dB
  int harmonics = 3;   // highest order that matters

  /// How long the response of a harmonic is heard after it begins, until it is as far below the direct sound of any
  /// speaker as `crosstalk_db`. Order 1: the response itself.
  [[nodiscard]] Seconds heard_for(int order) const;

  /// How much of a response is kept, to where harmonics of the next may begin.
  [[nodiscard]] Seconds kept_for() const;
};

/// Crosstalk between speakers that the schedule allows for, and how much quieter a speaker may be than its neighbour.
constexpr double crosstalk_db = -60.0;
constexpr double unequal_speakers_db = 6.0;

/// Usual options: for a room of 0.4 s, twelve speakers in 15 s.
[[nodiscard]] inline StimulusOptions interleaved_options() {
  StimulusOptions options;
  options.interleave = true;
  options.decay = Seconds{0.4};
  options.main_sweep = Seconds{2.7};
  return options;
}

/// Plans the excitation with sweeps that overlap in time (P. Majdak, P. Balazs, B. Laback, J. Audio Eng. Soc. 55(7/8),
/// 623-637, 2007; P. Dietrich, B. Masiero, M. Vorlaender, J. Audio Eng. Soc. 61(10), 2013).
///
/// All sweeps share L of f(t) = f1 exp(t / L). Deconvolved, a sweep that passes a frequency d later than another one
/// comes d later, its harmonic of order k L ln k earlier than itself. Start times are such that no response and no
/// harmonic up to `harmonics` is heard in another one's window, from shortly before its response until that has
/// decayed. Lengths from `main_sweep` up to half as long again and several orders of playing are tried, each sweep at
/// the earliest time that is free; the shortest schedule is taken.
///
/// Every speaker plays once; subwoofers and the first three other speakers (two beside several subs) again at the end,
/// which tells the clock and the noise. No output plays two sweeps within 0.3 s. Where more than two sweeps sound at
/// once, each is turned down so that together they never reach more than twice the amplitude of one of `peak_level`.
/// @throws InvalidInput  as plan_stimulus
[[nodiscard]] Stimulus plan_interleaved(const Rig& rig, const StimulusOptions& options);

/// The reverberation time a schedule was made for, from the closest that two of its sweeps come with three harmonics.
[[nodiscard]] Seconds interleaved_decay(const Stimulus& stimulus);

}  // namespace ringtrue
