#!/usr/bin/env python3
"""Judges the program's decay times, early energy and harmonics from outside.

Impulse responses of decaying noise, made here with another decay time in every octave, are played through the
program's virtual room. What calibration.json says is compared with the truth they were made from, and with scipy's own
octave filters (Butterworth, forward and backward) and backward integration of the same responses.

    decay_times.py --program build/ringtrue
"""

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.io import wavfile

RATE = 48_000
SPEAKERS = 6
OCTAVES = [125.89, 251.19, 501.19, 1000.0, 1995.26, 3981.07, 7943.28]
TRUTH_S = [0.45, 0.40, 0.34, 0.30, 0.27, 0.24, 0.22]


def octave(x, centre_hz):
    edges = np.array([10**-0.15, 10**0.15]) * centre_hz
    return signal.sosfiltfilt(signal.butter(4, edges, "bandpass", fs=RATE, output="sos"), x)


def response(generator, length_s=0.9):
    """Noise of one decay time per octave, the bands cut sharply in the spectrum, after a silence of 5 ms."""
    n = int(length_s * RATE)
    t = np.arange(n) / RATE
    frequencies = np.fft.rfftfreq(n, 1 / RATE)
    h = np.zeros(n)
    edges = [20.0] + [c * 10**0.15 for c in OCTAVES[:-1]] + [22_000.0]
    for low, high, decay_s in zip(edges[:-1], edges[1:], TRUTH_S):
        bins = np.fft.rfft(generator.standard_normal(n))
        bins[(frequencies < low) | (frequencies >= high)] = 0
        h += np.fft.irfft(bins, n) * np.exp(-3 * np.log(10) / decay_s * t)
    h[0] += 4.0  # a direct sound to be found
    return np.concatenate([np.zeros(240), h])[: n] * 0.02


def reverberation_s(x):
    """T30 by backward integration; the responses here are free of noise and long enough."""
    curve = 10 * np.log10(np.cumsum(x[::-1] ** 2)[::-1] + 1e-300)
    curve -= curve[0]
    used = (curve < -5) & (curve > -35)
    slope = np.polyfit(np.arange(len(x))[used] / RATE, curve[used], 1)[0]
    return -60 / slope


def written(folder, responses):
    rig = 'layout = "custom"\n[interface]\nloopback_output = 16\n'
    room = "[recorder]\nlatency_ms = 3\n[noise]\nwhite_dbfs = -120\n"
    for i, h in enumerate(responses):
        wavfile.write(folder / f"{i}.wav", RATE, h.astype(np.float32))
        rig += f'[[speaker]]\nlabel = "S{i}"\noutput = {i + 1}\n'
        room += f'[[speaker]]\nlabel = "S{i}"\nimpulse_response_files = ["{i}.wav"]\n'
    (folder / "rig.toml").write_text(rig)
    (folder / "room.toml").write_text(room)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True)
    parser.add_argument("--seed", type=int, default=4)
    options = parser.parse_args()
    generator = np.random.default_rng(options.seed)
    responses = [response(generator) for _ in range(SPEAKERS)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        written(folder, responses)
        run = subprocess.run(
            [options.program, "calibrate", folder / "rig.toml", "--virtual", folder / "room.toml", "--out",
             folder / "out"], capture_output=True, text=True)
        if run.returncode > 1:
            print(run.stderr)
            return 1
        found = json.loads((folder / "out" / "calibration.json").read_text())

    wrong = 0
    print(f"{'Hz':>6} {'truth':>6} {'found':>6} {'+/-':>6}   each speaker against scipy, percent")
    columns = found["room"]["octaves"]
    for b, centre in enumerate(OCTAVES):
        k = int(np.argmin(np.abs(np.log(np.array(columns["centre_hz"]) / centre))))
        mean = columns["reverberation_time_s"][k]
        sure = columns["reverberation_time_uncertainty_s"][k]
        # Four standard errors of the mean as the theory of integrated responses has them (0.59 / sqrt(B T)), and 4 %
        # for what a neighbouring octave, which decays otherwise, puts into a filter's skirts.
        limit = TRUTH_S[b] * (0.04 + 4 * 0.59 / np.sqrt(0.7048 * centre * TRUTH_S[b] * SPEAKERS))
        ok = mean is not None and abs(mean - TRUTH_S[b]) < limit
        differences = []
        for speaker, h in zip(found["speakers"], responses):
            own = speaker["measured"]["room"]["octaves"]
            at = int(np.argmin(np.abs(np.log(np.array(own["centre_hz"]) / centre))))
            theirs = reverberation_s(octave(h, centre)[240:])
            differences.append(own["reverberation_time_s"][at] / theirs - 1)
        # Other filters on the same noise: a third of the scatter of one response, 5 % at least (ISO 3382-1: JND).
        alike = max(0.05, 0.8 * 0.59 / np.sqrt(0.7048 * centre * TRUTH_S[b]))
        ok = ok and float(np.sqrt(np.mean(np.square(differences)))) < alike
        wrong += not ok
        print(f"{centre:6.0f} {TRUTH_S[b]:6.3f} {mean:6.3f} {sure:6.3f}   "
              + " ".join(f"{100 * d:5.1f}" for d in differences) + ("" if ok else "   WRONG"))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
