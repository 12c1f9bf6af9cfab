"""Loudspeakers as analogue transfer functions, evaluated on a grid of frequencies.

Everything is written with p = j f / f0, so no bilinear warping enters and the phase is exact.
Crossover prototypes: S. H. Linkwitz, J. Audio Eng. Soc. 24(1) 2-8 (1976); S. P. Lipshitz and J. Vanderkooy,
J. Audio Eng. Soc. 34(11) (1986). Closed and vented boxes are second- and fourth-order high-passes (R. H. Small,
J. Audio Eng. Soc. 20(10) (1972) and 21(5) (1973)).

Polarity is that of the woofer: positive voltage, positive pressure in the woofer's pass band. A crossover that inverts
its tweeter is therefore of normal polarity.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

CROSSOVERS = ("LR4", "LR2", "BW3")


def _second_order(p: np.ndarray, q: float) -> np.ndarray:
    """The polynomial p^2 + p/q + 1."""
    return p * p + p / q + 1.0


def linkwitz_riley_4(f_hz: np.ndarray, crossover_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """(low, high) branch, 24 dB per octave; in phase with each other, each -6.02 dB at the crossover."""
    p = 1j * f_hz / crossover_hz
    d = _second_order(p, np.sqrt(0.5)) ** 2
    return 1.0 / d, p ** 4 / d


def linkwitz_riley_2(f_hz: np.ndarray, crossover_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """(low, high) branch, 12 dB per octave; in opposite phase, so one way has to be inverted for a flat sum."""
    p = 1j * f_hz / crossover_hz
    d = (1.0 + p) ** 2
    return 1.0 / d, p * p / d


def butterworth_3(f_hz: np.ndarray, crossover_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """(low, high) branch, 18 dB per octave; in quadrature, flat sum with either polarity of the high branch."""
    p = 1j * f_hz / crossover_hz
    d = (1.0 + p) * _second_order(p, 1.0)
    return 1.0 / d, p ** 3 / d


def high_pass(f_hz: np.ndarray, corner_hz: float, order: int, q: float = np.sqrt(0.5)) -> np.ndarray:
    """High-pass of order 2 (quality q) or 4 (Butterworth)."""
    p = 1j * f_hz / corner_hz
    if order == 2:
        return p * p / _second_order(p, q)
    return p ** 4 / (_second_order(p, 0.5411961001461969) * _second_order(p, 1.3065629648763764))


def low_pass(f_hz: np.ndarray, corner_hz: float, order: int, q: float = np.sqrt(0.5)) -> np.ndarray:
    """Low-pass of order 2 (quality q) or 4 (Butterworth)."""
    p = 1j * f_hz / corner_hz
    if order == 2:
        return 1.0 / _second_order(p, q)
    return 1.0 / (_second_order(p, 0.5411961001461969) * _second_order(p, 1.3065629648763764))


def peak(f_hz: np.ndarray, centre_hz: float, gain_db: float, q: float) -> np.ndarray:
    """Minimum-phase bump or dip of gain_db at centre_hz (analogue form of the W3C cookbook's peaking filter)."""
    p = 1j * f_hz / centre_hz
    a = 10.0 ** (gain_db / 40.0)
    return _second_order(p, q / a) / _second_order(p, q * a)


def treble_shelf(f_hz: np.ndarray, corner_hz: float, gain_db: float) -> np.ndarray:
    """First-order shelf: unity at low, gain_db at high frequency, half-way (in dB) at corner_hz."""
    g = 10.0 ** (gain_db / 20.0)
    p = 1j * f_hz / corner_hz
    return (1.0 + p * np.sqrt(g)) / (1.0 + p / np.sqrt(g))


@dataclass(frozen=True)
class TwoWay:
    """A two-way monitor. `dead` names a driver that plays nothing: "", "tweeter" or "woofer"."""

    crossover: str = "LR4"
    crossover_hz: float = 2200.0
    box_order: int = 2
    box_hz: float = 55.0
    box_q: float = 0.71
    roll_off_hz: float = 26000.0
    bumps: tuple[tuple[float, float, float], ...] = ()   # (centre_hz, gain_db, q)
    rear_shelf_db: float = -9.0
    rear_shelf_hz: float = 1800.0
    dead: str = ""

    def on_axis(self, f_hz: np.ndarray) -> np.ndarray:
        """Pressure on axis at 1 m for unit input, without its travel time."""
        if self.crossover == "LR4":
            low, high = linkwitz_riley_4(f_hz, self.crossover_hz)
        elif self.crossover == "LR2":
            low, high = linkwitz_riley_2(f_hz, self.crossover_hz)
            high = -high
        elif self.crossover == "BW3":
            low, high = butterworth_3(f_hz, self.crossover_hz)
        else:
            raise ValueError(f"unknown crossover {self.crossover!r}")
        low = low * high_pass(f_hz, self.box_hz, self.box_order, self.box_q)
        high = high * low_pass(f_hz, self.roll_off_hz, 2)
        total = (0.0 if self.dead == "woofer" else low) + (0.0 if self.dead == "tweeter" else high)
        for centre_hz, gain_db, q in self.bumps:
            total = total * peak(f_hz, centre_hz, gain_db, q)
        return total

    def rear(self, f_hz: np.ndarray) -> np.ndarray | None:
        """What the response straight behind is multiplied with, against on axis; None = the same everywhere."""
        return treble_shelf(f_hz, self.rear_shelf_hz, self.rear_shelf_db) if self.rear_shelf_db else None


@dataclass(frozen=True)
class Subwoofer:
    """A subwoofer: high-pass of order 2 or 4, low-pass of order 4, and the delay of its own processing."""

    low_corner_hz: float = 24.0
    low_order: int = 4
    high_corner_hz: float = 120.0
    internal_delay_ms: float = 0.0

    def on_axis(self, f_hz: np.ndarray) -> np.ndarray:
        """Pressure at 1 m for unit input, without travel time and internal delay."""
        return high_pass(f_hz, self.low_corner_hz, self.low_order) * low_pass(f_hz, self.high_corner_hz, 4)

    def rear(self, f_hz: np.ndarray) -> None:
        """A subwoofer radiates alike in all directions."""
        return None


@dataclass(frozen=True)
class Speaker:
    """One loudspeaker in the room. `position_m` is (right, front, up) from the ear point."""

    label: str
    output: int
    kind: str
    position_m: tuple[float, float, float]
    model: TwoWay | Subwoofer = field(default_factory=TwoWay)
    gain_db: float = 0.0
    inverted: bool = False
    silent: bool = False
    extra_delay_ms: float = 0.0
    second_order: float = 0.0     # memoryless distortion: x + second_order x^2 + third_order x^3
    third_order: float = 0.0

    @property
    def delay_ms(self) -> float:
        """Everything that delays the sound before it leaves the box, ms."""
        return self.extra_delay_ms + getattr(self.model, "internal_delay_ms", 0.0)

    def on_axis(self, f_hz: np.ndarray) -> np.ndarray:
        """On-axis response with gain, polarity and delay, at 1 m, without travel time."""
        gain = 0.0 if self.silent else 10.0 ** (self.gain_db / 20.0) * (-1.0 if self.inverted else 1.0)
        return gain * self.model.on_axis(f_hz) * np.exp(-2j * np.pi * f_hz * self.delay_ms * 1e-3)

    def changed(self, **changes) -> "Speaker":
        """A copy with some fields replaced."""
        return replace(self, **changes)


def distort(x: np.ndarray, second_order: float, third_order: float) -> np.ndarray:
    """Memoryless distortion x + a x^2 + b x^3, computed at twice the sample rate so that no product aliases.

    The rate is doubled by zero-padding the spectrum; products above the original Nyquist frequency are cut away.
    """
    n = len(x)
    size = 1 << int(np.ceil(np.log2(n + 4096)))
    spectrum = np.fft.rfft(x, size)
    fine = np.fft.irfft(2.0 * np.pad(spectrum, (0, size // 2)), 2 * size)
    fine = fine + second_order * fine ** 2 + third_order * fine ** 3
    return np.fft.irfft(0.5 * np.fft.rfft(fine)[:size // 2 + 1], size)[:n]
