#!/usr/bin/python3
"""A deliberately plain stand-in for the program, to try evaluate.py and the simulator with.

It understands `stimulus` and `calibrate` of the contract and does the least that could work: one division of spectra
per output, arrivals by the phase slope against the first main, levels by the contract's definition, polarity by the
sign of the low mid-range against the same main. No clock drift, no loopback, no faults except a silent output.
"""

from __future__ import annotations

import argparse
import json
import sys
import tomllib
from pathlib import Path

import numpy as np
from scipy import fft, signal

from room_simulator import level_band, pink_level_db, write_test_stimulus
from wav_files import find_active_segments, open_wav

BEFORE, AFTER = 24000, 48000    # samples kept around where a response would lie without any latency


def read_rig(path: str) -> dict:
    """rig.toml as nested dictionaries."""
    return tomllib.loads(Path(path).read_text(encoding="utf-8"))


def impulse_response(stimulus, recorded: np.ndarray, output: int, spans: list[slice], band_hz) -> np.ndarray:
    """Response from one output to the recording, BEFORE samples of negative time first; regularised division."""
    first, last = spans[0].start, spans[-1].stop
    played = stimulus.channel(output - 1, first, last - first)
    begin = first - BEFORE
    heard = np.zeros(last - first + BEFORE + AFTER)
    low, high = max(begin, 0), min(begin + len(heard), len(recorded))
    heard[low - begin:high - begin] = recorded[low:high]
    size = fft.next_fast_len(len(heard) + len(played), real=True)
    x, y = fft.rfft(played, size), fft.rfft(heard, size)
    f = fft.rfftfreq(size, 1 / stimulus.sample_rate_hz)
    inside = (f > band_hz[0]) & (f < band_hz[1])
    floor = np.where(inside, 1e-4, 1.0) * np.mean(np.abs(x[inside]) ** 2)
    return fft.irfft(y * x.conj() / (np.abs(x) ** 2 + floor), size)[:BEFORE + AFTER]


def onset(h: np.ndarray, threshold_db: float) -> int:
    """First sample within threshold_db of the peak."""
    return int(np.argmax(np.abs(h) > np.abs(h).max() * 10 ** (threshold_db / 20)))


def cut(h: np.ndarray, at: int) -> np.ndarray:
    """The direct sound: 1.5 ms around sample `at`, with smooth edges, in 4096 samples."""
    piece = h[at - 24:at + 72] * signal.windows.tukey(96, 0.4)
    return np.pad(piece, (0, 4000))


def delay_between(a: np.ndarray, b: np.ndarray) -> tuple[float, bool]:
    """(samples by which a is later than b, same polarity), from the phase of the cross-spectrum in 2-12 kHz."""
    cross = fft.rfft(a) * fft.rfft(b).conj()
    f = fft.rfftfreq(len(a))
    coarse = np.argmax(np.abs(fft.irfft(cross, 16 * len(a))))
    coarse = (coarse - 16 * len(a) * (coarse > 8 * len(a))) / 16
    used = (f > 2 / 48) & (f < 12 / 48)
    rest = cross[used] * np.exp(2j * np.pi * f[used] * coarse)
    same = bool(rest.sum().real > 0)
    angle = np.angle(rest if same else -rest)
    weight = np.abs(rest)
    slope = np.sum(weight * angle * f[used]) / np.sum(weight * f[used] ** 2)
    return coarse - slope / (2 * np.pi), same


def measure(rig: dict, stimulus, recorded: np.ndarray) -> tuple[dict, dict, dict, set]:
    """(arrival in samples, level in dB, polarity) by label, and the silent labels, from one recording."""
    spans = find_active_segments(stimulus)
    rate = stimulus.sample_rate_hz
    entries, responses = rig["speaker"], {}
    for entry in entries:
        responses[entry["label"]] = impulse_response(stimulus, recorded, entry["output"], spans[entry["output"] - 1],
                                                     entry["band_hz"])
    noise = {k: float(np.sqrt(np.mean(h[:BEFORE // 2] ** 2))) for k, h in responses.items()}
    peak = {k: float(np.abs(h).max()) for k, h in responses.items()}
    mains = [e["label"] for e in entries if e["kind"] == "main"]
    reference = max(mains, key=lambda k: peak[k])
    silent = {k for k in responses if peak[k] < 10 * noise[k] or (k in mains and peak[k] < 0.02 * peak[reference])}
    at = {k: onset(h, -12.0 if k in mains else -20.0) for k, h in responses.items()}
    arrival, polarity, level = {}, {}, {}
    for entry in entries:
        label = entry["label"]
        h = responses[label]
        arrival[label], polarity[label] = at[label], "unsure"
        if entry["kind"] == "main" and label not in silent:
            moved, same = delay_between(cut(h, at[label]), cut(responses[reference], at[reference]))
            arrival[label] = at[label] - at[reference] + moved + at[reference]
            polarity[label] = "normal" if same else "inverted"
        part = fft.rfft(h[max(at[label] - 2400, 0):], 1 << 16)
        level[label] = pink_level_db(part, fft.rfftfreq(1 << 16, 1 / rate), level_band(entry["kind"])) or -120.0
    return arrival, level, polarity, silent


def calibrate(options) -> int:
    """The `calibrate` command."""
    rig = read_rig(options.rig)
    stimulus = open_wav(options.stimulus)
    spots = [measure(rig, stimulus, open_wav(path).channel(0)) for path in options.recording]
    arrival, level, polarity, silent = spots[0]
    rate = stimulus.sample_rate_hz
    live = [k for k in arrival if k not in silent]
    latest = max(arrival[k] for k in live)
    weakest = min(level[k] for k in live)
    speakers, findings = [], []
    for entry in rig["speaker"]:
        label = entry["label"]
        measured = {"polarity": polarity[label], "position_m": None, "positions": [
            {"arrival_ms": 1e3 * (a[label] - BEFORE) / rate, "arrival_uncertainty_ms": 0.005, "distance_m": None,
             "level_db": v[label], "signal_to_noise_db": 0.0, "decay_time_s": 0.0} for a, v, _, _ in spots]}
        settings = {"delay_ms": round(1e3 * (latest - arrival[label]) / rate, 2),
                    "trim_db": round(weakest - level[label], 1), "invert": polarity[label] == "inverted",
                    "equaliser": []}
        if label in silent:
            findings.append({"severity": "warn", "code": "silent-output", "speaker": label, "message": "nothing came"})
            measured["polarity"], settings = "unsure", None
        speakers.append({"label": label, "output": entry["output"], "status": "silent" if label in silent else "ok",
                         "measured": measured, "settings": settings})
    directory = Path(options.out)
    directory.mkdir(parents=True, exist_ok=True)
    (directory / "calibration.json").write_text(json.dumps(
        {"schema": "ringtrue.calibration/1", "rig": rig, "time_reference": "earliest arrival", "speakers": speakers,
         "bass_management": rig.get("bass_management"), "findings": findings}, indent=1), encoding="utf-8")
    return 1 if findings else 0


def main() -> int:
    """Command line: the two commands of the contract that evaluate.py uses."""
    parser = argparse.ArgumentParser(description=__doc__)
    commands = parser.add_subparsers(dest="command", required=True)
    make = commands.add_parser("stimulus")
    make.add_argument("rig")
    make.add_argument("--out", required=True)
    run = commands.add_parser("calibrate")
    run.add_argument("rig")
    run.add_argument("--out", required=True)
    run.add_argument("--stimulus", required=True)
    run.add_argument("--recording", action="append", required=True)
    run.add_argument("--loopback-channel", type=int)
    options = parser.parse_args()
    if options.command == "stimulus":
        bands = {e["output"]: tuple(e["band_hz"]) for e in read_rig(options.rig)["speaker"]}
        write_test_stimulus(options.out, bands, seconds=3.0, pause_s=0.8)
        return 0
    return calibrate(options)


if __name__ == "__main__":
    sys.exit(main())
