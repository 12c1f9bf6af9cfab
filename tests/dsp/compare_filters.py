#!/usr/bin/python3
"""Compares the engine's crossover filters with scipy.signal.butter, as printed by the program print_filters.

    compare_filters.py PROGRAM

Responses have to agree within 1e-9 (absolute; filters pass at most 1) with those of scipy's sections, and with the
bilinear transform of scipy's analogue prototype, which no rounding of coefficients near z = 1 touches. Coefficients of
the whole denominator, multiplied out in extended precision, have to agree within 1e-9 too. Exit status 1 where not.
"""

import subprocess
import sys

import numpy as np
from scipy import signal

FREQUENCIES_HZ = np.array([10.0, 20.0, 40.0, 63.0, 80.0, 125.0, 160.0, 250.0, 1e3, 8e3, 20e3])
LIMIT = 1e-9


def butterworth(family: str, slope: int) -> tuple[int, int]:
    """(order of the Butterworth filter, how many times it is used)."""
    if family == "butter":
        return slope, 1
    return (slope // 12, 2) if family == "LR" else (slope // 6, 1)


def denominator(sections: np.ndarray) -> np.ndarray:
    """Denominators of the sections multiplied out."""
    product = np.array([1.0], np.longdouble)
    for section in sections:
        product = np.convolve(product, np.trim_zeros(np.longdouble(section[3:]), "b"))
    return product


def differences(line: str) -> tuple[float, float, float]:
    """(from scipy's sections, from the analogue prototype, of the denominators) of one printed filter."""
    head, tail = line.split("|")
    kind, slope, corner_hz, rate_hz, *numbers = head.split()
    family, passes = kind.split("-")
    order, times = butterworth(family, int(slope))
    corner_hz, rate_hz = float(corner_hz), float(rate_hz)
    rows = np.array(numbers, float).reshape(-1, 5)
    ours = np.column_stack([rows[:, :3], np.ones(len(rows)), rows[:, 3:]])
    values = np.array(tail.split(), float)
    printed = values[::2] + 1j * values[1::2]

    theirs = np.vstack([signal.butter(order, corner_hz, passes, fs=rate_hz, output="sos")] * times)
    _, from_sections = signal.sosfreqz(theirs, FREQUENCIES_HZ, fs=rate_hz)
    warped = np.tan(np.pi * FREQUENCIES_HZ / rate_hz) / np.tan(np.pi * corner_hz / rate_hz)
    zeros, poles, gain = signal.butter(order, 1.0, passes, analog=True, output="zpk")
    _, from_prototype = signal.freqs_zpk(zeros, poles, gain, warped)
    return (float(np.max(np.abs(printed - from_sections))), float(np.max(np.abs(printed - from_prototype ** times))),
            float(np.max(np.abs(denominator(ours) - denominator(theirs)))))


def main() -> int:
    """Compare everything that is printed."""
    lines = subprocess.run([sys.argv[1]], check=True, capture_output=True, text=True).stdout.splitlines()
    worst = np.array([differences(line) for line in lines])
    for name, column in zip(("scipy's sections", "scipy's prototype", "scipy's denominators"), worst.T):
        print(f"{len(lines)} filters, largest difference from {name}: {column.max():.1e} "
              f"({lines[int(column.argmax())].split('|')[0][:40]})")
    return 0 if len(lines) == 4 * 5 * 30 and np.all(worst <= LIMIT) else 1


if __name__ == "__main__":
    sys.exit(main())
