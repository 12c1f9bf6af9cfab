"""Sound in a rectangular room: image sources early, a diffuse decaying tail late.

Image sources: J. B. Allen and D. A. Berkley, J. Acoust. Soc. Am. 65, 943-950 (1979), with travel times kept to a small
fraction of a sample. Absorption for a wanted reverberation time: C. F. Eyring, J. Acoust. Soc. Am. 1, 217-241 (1930).
Walls absorb more at high than at low frequency: every reflection multiplies with a first-order shelf.

Coordinates inside this module: metres from the corner of the room; axis 0 = width (left wall at 0), axis 1 = length
(rear wall at 0), axis 2 = height (floor at 0).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev
from scipy import fft
from scipy.special import i0

from speaker_models import treble_shelf

TAPS = 96            # of the windowed sinc that places an image between samples
KAISER_BETA = 12.0   # about -118 dB stop band
KERNEL_DEGREE = 14   # of its Chebyshev series: within 1e-13, see test_room_simulator.py
OCTAVES_HZ = np.array([31.25, 62.5, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0])


def speed_of_sound(temperature_c: float) -> float:
    """Metres per second in air (ISO 9613-1:1993): 343.2 sqrt(T / 293.15 K)."""
    return 343.2 * float(np.sqrt((temperature_c + 273.15) / 293.15))


@dataclass(frozen=True)
class Room:
    """A shoebox. `reflection` holds the six pressure reflection factors at 1 kHz, (low, high) wall of each axis."""

    size_m: tuple[float, float, float]                      # width, length, height
    ear_m: tuple[float, float, float]                       # ear point, from the corner
    temperature_c: float = 22.0
    reflection: tuple[float, float, float, float, float, float] = (0.85,) * 6
    side_shelf_db: float = -0.8                             # per reflection at the four side walls, at high frequency
    level_shelf_db: float = -1.2                            # per reflection at floor and ceiling
    shelf_hz: float = 2500.0
    diffuse_seed: int = 1

    @property
    def volume_m3(self) -> float:
        """Volume, m^3."""
        return float(np.prod(self.size_m))

    @property
    def areas_m2(self) -> np.ndarray:
        """Areas of the six surfaces in the order of `reflection`, m^2."""
        w, l, h = self.size_m
        return np.array([l * h, l * h, w * h, w * h, w * l, w * l])

    @property
    def speed_m_s(self) -> float:
        """Speed of sound, m/s."""
        return speed_of_sound(self.temperature_c)

    def side_filter(self, f_hz: np.ndarray) -> np.ndarray:
        """Frequency shape of one reflection at a side wall, modulus 1 at 1 kHz."""
        return _shape(f_hz, self.shelf_hz, self.side_shelf_db)

    def level_filter(self, f_hz: np.ndarray) -> np.ndarray:
        """Frequency shape of one reflection at floor or ceiling, modulus 1 at 1 kHz."""
        return _shape(f_hz, self.shelf_hz, self.level_shelf_db)

    def decay_time_s(self, f_hz: np.ndarray) -> np.ndarray:
        """Eyring's reverberation time, seconds: 24 ln10 / c * V / (-S ln(1 - mean absorption))."""
        f_hz = np.atleast_1d(np.asarray(f_hz, dtype=float))
        shape = np.array([np.abs(self.side_filter(f_hz))] * 4 + [np.abs(self.level_filter(f_hz))] * 2)
        kept = (np.array(self.reflection)[:, None] * shape) ** 2
        mean_kept = np.minimum(self.areas_m2 @ kept / self.areas_m2.sum(), 0.999)
        return eyring_constant(self.speed_m_s) * self.volume_m3 / (-self.areas_m2.sum() * np.log(mean_kept))

    def from_ear(self, position_m) -> np.ndarray:
        """A place relative to the ear point (right, front, up) as a place relative to the corner."""
        return np.asarray(self.ear_m) + np.asarray(position_m)


def eyring_constant(speed_m_s: float) -> float:
    """24 ln(10) / c, s/m."""
    return 24.0 * np.log(10.0) / speed_m_s


def _shape(f_hz: np.ndarray, corner_hz: float, gain_db: float) -> np.ndarray:
    """Treble shelf scaled to modulus 1 at 1 kHz."""
    at_1k = np.abs(treble_shelf(np.array([1000.0]), corner_hz, gain_db))[0]
    return treble_shelf(f_hz, corner_hz, gain_db) / at_1k


def reflections_for_decay(size_m, decay_time_s: float, weights, temperature_c: float = 22.0) -> tuple[float, ...]:
    """Six reflection factors (at 1 kHz) that give Eyring's reverberation time `decay_time_s` at 1 kHz.

    `weights` say how absorbent each surface is relative to the others (any positive scale).
    """
    room = Room(size_m=tuple(size_m), ear_m=(0, 0, 0))
    area = room.areas_m2
    exponent = eyring_constant(speed_of_sound(temperature_c)) * room.volume_m3 / (area.sum() * decay_time_s)
    wanted = 1.0 - np.exp(-exponent)
    absorption = np.asarray(weights, dtype=float)
    for _ in range(60):     # limited to 0.97 each, so the scale is found by iteration
        absorption = np.minimum(absorption * wanted * area.sum() / (area @ absorption), 0.97)
    return tuple(np.sqrt(1.0 - absorption))


@dataclass(frozen=True)
class Images:
    """Image sources sorted in no particular order; the direct sound is not among them."""

    distance_m: np.ndarray
    amplitude: np.ndarray        # product of reflection factors, without the 1/distance law
    side_hits: np.ndarray        # reflections at side walls
    level_hits: np.ndarray       # reflections at floor and ceiling
    axis_cosine: np.ndarray      # cosine between the speaker's axis and the direction the sound left it


def image_sources(room: Room, source_m, receiver_m, aim, reach_m: float) -> Images:
    """All image sources nearer than reach_m to the receiver, except the source itself.

    source_m, receiver_m: metres from the corner; aim: unit vector of the speaker's axis.
    """
    axes = []
    for axis in range(3):
        size, s, r = room.size_m[axis], source_m[axis], receiver_m[axis]
        n_max = int(np.ceil(reach_m / (2.0 * size))) + 1
        n = np.repeat(np.arange(-n_max, n_max + 1), 2)
        u = np.tile((0, 1), 2 * n_max + 1)
        offset = r - ((1 - 2 * u) * s + 2 * n * size)          # from image to receiver along this axis
        low_hits, high_hits = np.abs(n - u), np.abs(n)
        amplitude = room.reflection[2 * axis] ** low_hits * room.reflection[2 * axis + 1] ** high_hits
        keep = np.abs(offset) < reach_m
        axes.append((offset[keep], amplitude[keep], (low_hits + high_hits)[keep], (1 - 2 * u)[keep] * aim[axis]))
    (dx, ax, hx, cx), (dy, ay, hy, cy), (dz, az, hz, cz) = axes
    squared = dx[:, None, None] ** 2 + dy[:, None] ** 2 + dz ** 2
    i, j, k = np.nonzero(squared < reach_m ** 2)
    hits = hx[i] + hy[j] + hz[k]
    i, j, k = (index[hits > 0] for index in (i, j, k))
    distance = np.sqrt(squared[i, j, k])
    cosine = (dx[i] * cx[i] + dy[j] * cy[j] + dz[k] * cz[k]) / distance
    return Images(distance, ax[i] * ay[j] * az[k], hx[i] + hy[j], hz[k], cosine)


def kernel(fraction: np.ndarray) -> np.ndarray:
    """Kaiser-windowed sinc, (times, TAPS), that stands for an impulse `fraction` of a sample after tap TAPS / 2 - 1."""
    x = np.arange(TAPS) - (TAPS // 2 - 1) - np.asarray(fraction)[:, None]
    return np.sinc(x) * i0(KAISER_BETA * np.sqrt(np.maximum(1.0 - (2.0 * x / TAPS) ** 2, 0.0))) / i0(KAISER_BETA)


@lru_cache(maxsize=1)
def _kernel_series() -> np.ndarray:
    """Chebyshev series of `kernel` over the fraction, (KERNEL_DEGREE + 1, TAPS): thousands of impulses a room are
    quicker by one matrix product than by as many Bessel functions."""
    return chebyshev.chebinterpolate(lambda x: kernel(0.5 * x + 0.5), KERNEL_DEGREE)


def place_impulses(times_samples: np.ndarray, weights: np.ndarray, rows: np.ndarray, shape) -> np.ndarray:
    """Band-limited impulses at fractional times, added into an array of `shape` = (rows, samples).

    Kaiser-windowed sinc of TAPS taps; flat to 0.01 dB up to 0.85 of the Nyquist frequency. Impulses that do not fit
    are dropped.
    """
    first = np.floor(times_samples).astype(int) - TAPS // 2 + 1
    fits = (first >= 0) & (first + TAPS <= shape[1])
    first, weights, rows, times = first[fits], weights[fits], rows[fits], times_samples[fits]
    fraction = times - np.floor(times)
    values = (weights[:, None] * (chebyshev.chebvander(2.0 * fraction - 1.0, KERNEL_DEGREE) @ _kernel_series())).ravel()
    taps = np.arange(TAPS)
    places = ((rows * shape[1] + first)[:, None] + taps).ravel()
    return np.bincount(places, values, minlength=shape[0] * shape[1]).reshape(shape)


def early_reflections(room: Room, source_m, receiver_m, aim, rear: np.ndarray | None, f_hz: np.ndarray,
                      sample_rate_hz: float, until_s: float, fade_s: float, broadband: bool) -> np.ndarray:
    """Spectrum (on the grid f_hz of a real FFT) of all reflections up to until_s, faded out over the last fade_s.

    rear: factor straight behind the speaker on the same grid, or None. broadband: leave out the walls' frequency
    dependence below 200 Hz (for subwoofers, whose many images would otherwise need many filters).
    """
    n = int(np.ceil(until_s * sample_rate_hz)) + TAPS
    images = image_sources(room, source_m, receiver_m, aim, until_s * room.speed_m_s)
    time_s = images.distance_m / room.speed_m_s
    fade = np.cos(0.5 * np.pi * np.clip((time_s - (until_s - fade_s)) / fade_s, 0.0, 1.0))
    weight = images.amplitude * fade / images.distance_m
    size = 2 * (len(f_hz) - 1)
    if broadband:
        low = np.array([60.0])
        weight = weight * np.abs(room.side_filter(low)) ** images.side_hits \
            * np.abs(room.level_filter(low)) ** images.level_hits
        train = place_impulses(time_s * sample_rate_hz, weight, np.zeros(len(weight), int), (1, n))
        return fft.rfft(train[0], size)
    groups, row = np.unique(images.side_hits * 1000 + images.level_hits, return_inverse=True)
    behind = 0.5 * (1.0 - images.axis_cosine)
    parts = [(weight * (1.0 - behind), None), (weight * behind, rear)] if rear is not None else [(weight, None)]
    short = fft.next_fast_len(n + 400, real=True)          # the wall filters ring for far less than 400 samples
    short_f = fft.rfftfreq(short, 1.0 / sample_rate_hz)
    side_powers = _powers(room.side_filter(short_f), int(images.side_hits.max()))
    level_powers = _powers(room.level_filter(short_f), int(images.level_hits.max()))
    total = np.zeros(len(f_hz), complex)
    for part, directivity in parts:
        trains = place_impulses(time_s * sample_rate_hz, part, row, (len(groups), n))
        spectra = fft.rfft(trains, short, axis=1)
        summed = np.zeros(len(short_f), complex)
        for spectrum, group in zip(spectra, groups):
            summed += spectrum * side_powers[group // 1000] * level_powers[group % 1000]
        spectrum = fft.rfft(fft.irfft(summed, short), size)
        total += spectrum if directivity is None else spectrum * directivity
    return total


def _powers(x: np.ndarray, highest: int) -> np.ndarray:
    """x^0 ... x^highest as rows."""
    rows = np.ones((highest + 1, len(x)), complex)
    for k in range(1, highest + 1):
        rows[k] = rows[k - 1] * x
    return rows


def _octave_mask(f_hz: np.ndarray, index: int) -> np.ndarray:
    """Power-complementary octave band: cosine flanks on a logarithmic axis; the outer bands reach to the ends."""
    octaves = np.log2(np.maximum(f_hz, 1e-3) / OCTAVES_HZ[index])
    if index == 0:
        octaves = np.maximum(octaves, 0.0)
    if index == len(OCTAVES_HZ) - 1:
        octaves = np.minimum(octaves, 0.0)
    return np.cos(0.5 * np.pi * np.clip(octaves, -1.0, 1.0))


def diffuse_tail(room: Room, early: np.ndarray, f_hz: np.ndarray, sample_rate_hz: float, until_s: float,
                 fade_s: float, generator: np.random.Generator) -> np.ndarray:
    """Spectrum of a decaying noise that takes over from the image sources between until_s - fade_s and until_s.

    Per octave band the noise decays with Eyring's time and has the energy that `early` (spectrum of the reflections)
    has over the fade; power-complementary cross-fade; ends 75 dB down.
    """
    size = 2 * (len(f_hz) - 1)
    decay_s = room.decay_time_s(OCTAVES_HZ)
    start = until_s - fade_s
    n = min(int((start + 1.25 * decay_s.max()) * sample_rate_hz), size)
    t = np.arange(n) / sample_rate_hz
    fade_in = np.sin(0.5 * np.pi * np.clip((t - start) / fade_s, 0.0, 1.0))
    ramp = (t > start) & (t < until_s)
    noise_size = fft.next_fast_len(n, real=True)
    noise_f = fft.rfftfreq(noise_size, 1.0 / sample_rate_hz)
    noise = fft.rfft(generator.standard_normal(n), noise_size)
    tail = np.zeros(n)
    for band, seconds in enumerate(decay_s):
        if OCTAVES_HZ[band] * 0.7 > sample_rate_hz / 2:
            continue
        early_band = fft.irfft(early * _octave_mask(f_hz, band), size)[:n]
        noise_band = fft.irfft(noise * _octave_mask(noise_f, band), noise_size)[:n]
        noise_band = noise_band * np.exp(-6.9077553 * (t - start) / seconds)
        fading = np.sum((noise_band[ramp] * np.sqrt(np.maximum(1.0 - fade_in[ramp] ** 2, 0.0))) ** 2)
        tail += noise_band * np.sqrt(np.sum(early_band[ramp] ** 2) / fading)
    return fft.rfft(tail * fade_in, size)


def room_response(room: Room, source_from_ear_m, receiver_from_ear_m, rear: np.ndarray | None, f_hz: np.ndarray,
                  sample_rate_hz: float, *, low_frequency: bool, stream: int) -> tuple[np.ndarray, float]:
    """Transfer function from a source of unit pressure at 1 m to the receiver, and the distance in metres.

    The direct sound has its exact phase. The speaker looks at the ear point. `stream` numbers the pair, so that each
    has a diffuse tail of its own. low_frequency: image sources up to 250 ms instead of 80 ms.
    """
    source, receiver = room.from_ear(source_from_ear_m), room.from_ear(receiver_from_ear_m)
    aim = -np.asarray(source_from_ear_m) / np.linalg.norm(source_from_ear_m)
    path = receiver - source
    distance = float(np.linalg.norm(path))
    until_s, fade_s = (0.25, 0.06) if low_frequency else (0.08, 0.03)
    reflections = early_reflections(room, source, receiver, aim, rear, f_hz, sample_rate_hz, until_s, fade_s,
                                    broadband=low_frequency)
    generator = np.random.default_rng([room.diffuse_seed, stream])
    reflections = reflections + diffuse_tail(room, reflections, f_hz, sample_rate_hz, until_s, fade_s, generator)
    behind = 0.5 * (1.0 - float(path @ aim) / distance)
    directivity = 1.0 if rear is None else 1.0 - behind + behind * rear
    direct = directivity * np.exp(-2j * np.pi * f_hz * distance / room.speed_m_s) / distance
    return direct + reflections, distance
