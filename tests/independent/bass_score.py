"""Judges how subwoofers and mains add up, on the true responses.

Crossovers are digital filters from scipy.signal.butter at the interface's rate; a Linkwitz-Riley filter is a Butterworth
filter of half the order twice (S. H. Linkwitz, J. Audio Eng. Soc. 24(1) 2-8 (1976)). Variation over positions is that of
T. Welti and A. Devantier, J. Audio Eng. Soc. 54(5) (2006).
"""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfreqz

RATE_HZ = 48000.0
REACH_MS, STEP_MS = 20.0, 0.1
SLOPES = ("LR12", "LR24", "LR36", "LR48", "BW12", "BW18", "BW24")


def crossover(f_hz: np.ndarray, crossover_hz: float, slope: str) -> tuple[np.ndarray, np.ndarray]:
    """(low, high) branch of a slope as rig.toml names it, at frequencies f_hz."""
    order = int(slope[2:]) // 6
    times = 2 if slope.startswith("LR") else 1
    branches = []
    for kind in ("lowpass", "highpass"):
        sections = butter(order // times, crossover_hz, kind, fs=RATE_HZ, output="sos")
        branches.append(sosfreqz(sections, worN=f_hz, fs=RATE_HZ)[1] ** times)
    return branches[0], branches[1]


def delayed(h: np.ndarray, f_hz: np.ndarray, delay_ms: float) -> np.ndarray:
    """Responses that come later."""
    return h * np.exp(-2j * np.pi * f_hz * delay_ms * 1e-3)


def level_db(h: np.ndarray) -> np.ndarray:
    """Levels averaged over positions: (of the band's power, mean over the band), the band being the last axis of h on a
    logarithmic frequency grid and the positions the one before."""
    power = np.abs(h) ** 2
    return 10.0 * np.array([np.mean(np.log10(np.mean(power, axis=-1)), axis=-1),
                            np.mean(np.log10(power), axis=(-2, -1))])


def spatial_variance_db2(h: np.ndarray) -> float:
    """Mean over the frequencies of the variance over the positions of the level; h (positions, bins)."""
    return float(np.mean(np.var(20.0 * np.log10(np.abs(h)), axis=0)))


def settled_ms(truth, given: dict, label: str) -> float:
    """When the direct sound arrives at the first position with the settings."""
    return truth.speakers[label]["positions"][0]["arrival_ms"] + given[label]["settings"]["delay_ms"]


def with_settings(truth, given: dict, label: str, f_hz: np.ndarray, equaliser) -> np.ndarray:
    """True responses (positions, bins) through trim, polarity, delay and equaliser."""
    settings = given[label]["settings"]
    bulk_ms = truth.speakers[label]["positions"][0]["arrival_ms"]      # taken out, so that they can be interpolated
    still = truth.transfer[label] * np.exp(2j * np.pi * truth.frequency_hz * bulk_ms * 1e-3)
    h = np.array([np.interp(f_hz, truth.frequency_hz, row.real) + 1j * np.interp(f_hz, truth.frequency_hz, row.imag)
                  for row in still])
    gain = 10.0 ** (settings["trim_db"] / 20.0) * (-1.0 if settings.get("invert") else 1.0)
    return delayed(gain * h * equaliser(settings.get("equaliser"), f_hz), f_hz, bulk_ms + settings["delay_ms"])


def by_arrival(h: np.ndarray, truth, given: dict, label: str, f_hz: np.ndarray, wanted_ms: float) -> np.ndarray:
    """The same response, arriving at wanted_ms and in its right polarity instead."""
    wrong = bool(given[label]["settings"].get("invert")) != (truth.speakers[label]["polarity"] == "inverted")
    return delayed(h, f_hz, wanted_ms - settled_ms(truth, given, label)) * (-1.0 if wrong else 1.0)


def band_end_errors_oct(truth, given: dict, labels: list[str]) -> list[float]:
    """How far the frequencies at which a speaker's level in the room has fallen by 3 and by 10 dB are off, octaves.

    Truth: power average of the positions, pink-weighted means of half octaves, against those of 200-800 Hz (a sub:
    30-80 Hz), on the true responses; the nearest of the frequencies at which that level is crossed counts, because the
    lowest may lie below what was measured. Only what the program answers is judged.
    """
    f = truth.frequency_hz
    inside = (f >= 10.0) & (f <= 1000.0)
    reach = 2.0 ** 0.25
    errors = []
    for label in labels:
        pink = np.concatenate([[0.0], np.cumsum(np.mean(np.abs(truth.transfer[label][:, inside]) ** 2, axis=0)
                                                / f[inside])])
        weight = np.concatenate([[0.0], np.cumsum(1.0 / f[inside])])

        def level(low_hz, high_hz):
            a, b = np.searchsorted(f[inside], low_hz), np.searchsorted(f[inside], high_hz, side="right")
            return 10.0 * np.log10((pink[b] - pink[a]) / (weight[b] - weight[a]))

        is_sub = truth.speakers[label]["kind"] == "sub"
        reference = level(30.0, 80.0) if is_sub else level(200.0, 800.0)
        at = f[inside & (f >= 10.0 * reach) & (f <= 800.0)]
        levels = np.array([level(x / reach, x * reach) for x in at]) - reference
        for key, said in given[label]["measured"].get("band_ends", {}).items():  # an addition to the contract
            if said is None or (key.startswith("high") and not is_sub):
                continue
            above = levels >= (-3.0 if "_3_" in key else -10.0)
            rising = key.startswith("low")
            crossings = at[1:][above[1:] & ~above[:-1]] if rising else at[:-1][above[:-1] & ~above[1:]]
            errors.append(float(np.min(np.abs(np.log2(said / crossings)), initial=np.inf)))
    return errors


def score(truth, given: dict, mains: list[str], subs: list[str], notes: dict, equaliser) -> dict:
    """Figures in dB over an octave each side of each main's crossover; see the keys.

    Brute force over a common delay of all subs (+-20 ms against the settings, 0.1 ms steps) and their polarity, trims,
    equalisers and what differs between the subs as given. Each main is weighted alike.
    band_end_error_oct: the worst of band_end_errors_oct
    bass_loss_db, bass_log_loss_db: how much louder main + sub could be, by power and by mean of the level
    bass_stake_db, bass_log_stake_db: what the worst delay and polarity would cost
    bass_main_loss_db, bass_main_log_loss_db: what the worst main loses against all subs aligned by their true arrival
        and true polarity; negative when every main gains
    bass_variance_db2, bass_variance_together_db2: variation of several subs over positions, 20-80 Hz, and with all of
        them arriving together
    """
    grid = 2.0 ** np.linspace(-1.0, 1.0, 97)
    wanted_ms = float(np.mean([settled_ms(truth, given, k) for k in mains]))
    here, tried, arrival = [], [], []
    delays = np.arange(-REACH_MS, REACH_MS + 0.5 * STEP_MS, STEP_MS)
    for k in mains:
        at_hz = notes.get("own_crossover_hz", {}).get(k, notes.get("crossover_hz", 80.0))
        f = at_hz * grid
        low, high = crossover(f, at_hz, notes.get("slope", "LR24"))
        main = with_settings(truth, given, k, f, equaliser) * high
        each = {s: with_settings(truth, given, s, f, equaliser) * low for s in subs}
        sub = sum(each.values())
        here.append(level_db(main + sub))
        turns = np.exp(-2j * np.pi * f * delays[:, None, None] * 1e-3)
        tried.append(np.concatenate([level_db(main + sub * turns), level_db(main - sub * turns)], axis=1))
        arrival.append(level_db(main + sum(by_arrival(each[s], truth, given, s, f, wanted_ms) for s in subs)))
    best = np.mean(tried, axis=0)
    loss = best.max(axis=1) - np.mean(here, axis=0)
    stake = best.max(axis=1) - best.min(axis=1)
    worst = np.max(np.array(arrival) - np.array(here), axis=0)
    ends = band_end_errors_oct(truth, given, mains + subs)
    result = {"band_end_error_oct": float(np.max(np.abs(ends))) if ends else None,
              "bass_loss_db": float(loss[0]), "bass_log_loss_db": float(loss[1]),
              "bass_stake_db": float(stake[0]), "bass_log_stake_db": float(stake[1]),
              "bass_main_loss_db": float(worst[0]), "bass_main_log_loss_db": float(worst[1])}
    if len(subs) > 1:
        f = np.linspace(20.0, 80.0, 61)
        each = {s: with_settings(truth, given, s, f, equaliser) for s in subs}
        result["bass_variance_db2"] = spatial_variance_db2(sum(each.values()))
        result["bass_variance_together_db2"] = spatial_variance_db2(
            sum(by_arrival(each[s], truth, given, s, f, wanted_ms) for s in subs))
    return result
