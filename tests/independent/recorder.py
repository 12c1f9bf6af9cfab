"""The recording side: another clock, noise, disturbances, and everything that can go wrong in a recorder.

Times of events are seconds on the player's clock, counted from the first sample of the stimulus; samples are counted
on the recorder's own clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft, signal


@dataclass(frozen=True)
class Noise:
    """What the microphone hears besides the speakers. Levels are rms in dB re full scale; None = absent."""

    white_dbfs: float | None = None
    signal_to_noise_db: float | None = None     # white noise set against the rms while sweeps play; wins over white
    hum_dbfs: float | None = None
    hum_hz: float = 50.0
    rumble_dbfs: float | None = None
    hum_re_signal_db: float | None = None       # hum set against the rms while sweeps play; wins over hum_dbfs
    rumble_re_signal_db: float | None = None
    seed: int = 1


@dataclass(frozen=True)
class Dropout:
    """A gap in both channels. kind: "zeros" (silenced), "lost" (cut out, the rest moves up), "repeated" (the samples
    before are heard again instead), "inserted" (the samples before are heard again, the rest moves back)."""

    kind: str
    time_s: float
    samples: int


@dataclass(frozen=True)
class Event:
    """A disturbance at the microphone. kind: "slam", "voice" or "lorry"; peak re the peak of the sweeps, dB."""

    kind: str
    time_s: float
    peak_db: float


@dataclass(frozen=True)
class Recorder:
    """How one microphone position is recorded."""

    sample_rate_hz: int = 48000
    clock_error_ppm: float = 0.0        # positive: the recorder's clock is fast, it takes more samples
    start_s: float = 0.0                # positive: started late, the beginning is missing; negative: started early
    latency_s: float = 0.012            # from playing to recording, for microphone and loopback alike
    extra_end_s: float = 0.3            # recorded after the stimulus file has ended
    loopback: bool = False
    loopback_gain_db: float = -6.0
    mic_gain_db: float = 0.0            # 0 dB: 1 m from a speaker of 0 dB the recording equals the stimulus
    sample_format: str = "int24"
    clip_fraction: float | None = None  # flat tops at this fraction of the loudest main's peak ...
    clip_at_dbfs: float = 0.0           # ... which then stand at this level in the file
    dropouts: tuple[Dropout, ...] = ()
    automatic_gain: float = 0.0         # how much of a change in level it makes up for, 0 to 1; 0.6 is usual
    noise_gate: float = 0.0             # how far the noise is pulled down, dB; 30 is usual
    mic_silent: bool = False
    channels_swapped: bool = False
    cut_short: float | None = None      # the recording ends after this fraction of the stimulus
    nan_at: float | None = None         # 16 samples of NaN after this fraction of the recording (float32 files only)

    @property
    def clock_hz(self) -> float:
        """Samples the recorder really takes per second of the player's clock."""
        return self.sample_rate_hz * (1.0 + self.clock_error_ppm * 1e-6)


# ---- another clock ---------------------------------------------------------------------------------------------

CORE, TAPER, GUARD = 24576, 4096, 2048     # samples; one block is CORE + TAPER + 2 GUARD = 32768


def evaluate_between_samples(x: np.ndarray, start: float, step: float, count: int) -> np.ndarray:
    """Band-limited values of x at the times start + n step (in samples of x), n = 0 ... count-1.

    x may be real or complex (two real channels can ride in one complex signal). The signal is cut into blocks by
    smooth windows that add up to one; each block is interpolated by its own Fourier series, evaluated on the wanted
    grid with the chirp z-transform (L. R. Bluestein, IEEE Trans. Audio Electroacoust. 18, 451-455 (1970)). With
    step > 1 everything above 0.995 of the new Nyquist frequency is taken out first (raised cosine from 0.93).
    Error for a full-scale sine below 0.9 of the old Nyquist frequency: below -130 dB, see test_room_simulator.py.
    """
    size = CORE + TAPER + 2 * GUARD
    rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(TAPER) + 0.5) / TAPER)
    window = np.concatenate((rise, np.ones(CORE - TAPER), rise[::-1]))
    reach = len(window) + GUARD                     # samples of x around a block on which its series is evaluated
    m_count = int(np.ceil(reach / step)) + 1
    low_pass = fft.ifftshift(_decimation_filter(size, step))
    transform = _ChirpTransform(size, step / size, m_count)
    result = np.zeros(count + 2 * m_count, complex)
    padded = np.concatenate((np.zeros(CORE), x, np.zeros(2 * CORE)))
    for first in range(-TAPER, len(x), CORE):
        n0 = int(np.ceil((first - GUARD // 2 - start) / step))
        if n0 >= count or n0 + m_count <= 0:
            continue
        block = np.zeros(size, complex)
        block[GUARD:GUARD + len(window)] = padded[first + CORE:first + CORE + len(window)] * window
        begin = start + n0 * step - (first - GUARD)
        result[n0 + m_count:n0 + 2 * m_count] += transform(fft.fft(block) * low_pass, begin)
    result = result[m_count:m_count + count]
    return result if np.iscomplexobj(x) else result.real


def _decimation_filter(size: int, step: float) -> np.ndarray:
    """Gain per bin from -size/2 to size/2-1 that removes what the coarser grid cannot hold; all ones for step < 1."""
    relative = np.abs(np.arange(-size // 2, size // 2)) / (0.5 * size / step)
    if step <= 1.02:        # a clock error alone: the converters' own filters are taken as wide enough
        return np.ones(size)
    return 0.5 + 0.5 * np.cos(np.pi * np.clip((relative - 0.93) / 0.065, 0.0, 1.0))


class _ChirpTransform:
    """Evaluates a Fourier series of `size` bins at begin + m step, m = 0 ... count-1, for many blocks."""

    def __init__(self, size: int, step_per_size: float, count: int):
        self.bins = np.arange(-size // 2, size // 2)
        self.size, self.count = size, count
        k, m = np.arange(size), np.arange(count)
        self.length = fft.next_fast_len(size + count - 1)
        self.in_chirp = np.exp(1j * np.pi * step_per_size * k.astype(float) ** 2)
        self.out_chirp = np.exp(1j * np.pi * step_per_size * (m.astype(float) ** 2 - size * m)) / size
        kernel = np.zeros(self.length, complex)
        kernel[:count] = np.exp(-1j * np.pi * step_per_size * m.astype(float) ** 2)
        kernel[-(size - 1):] = self.in_chirp[1:][::-1].conj()
        self.kernel = fft.fft(kernel)

    def __call__(self, spectrum: np.ndarray, begin: float) -> np.ndarray:
        """spectrum: output of an FFT of `size`; begin: first time in samples."""
        shifted = fft.fftshift(spectrum) * np.exp(2j * np.pi * self.bins * begin / self.size)
        product = fft.fft(shifted * self.in_chirp, self.length) * self.kernel
        return fft.ifft(product)[:self.count] * self.out_chirp


# ---- noise -----------------------------------------------------------------------------------------------------

def rms(x: np.ndarray) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(np.square(x)))) if len(x) else 0.0


def _amplitude(level_db: float) -> float:
    return 10.0 ** (level_db / 20.0)


def hum(count: int, sample_rate_hz: float, mains_hz: float, generator: np.random.Generator) -> np.ndarray:
    """Mains hum of rms 1: the fundamental and nine harmonics with random phases, odd ones stronger."""
    t = np.arange(count) / sample_rate_hz
    total = np.zeros(count)
    for k in range(1, 11):
        weight = (1.0 if k % 2 else 0.4) / k
        total += weight * np.sin(2 * np.pi * k * mains_hz * t + generator.uniform(0, 2 * np.pi))
    return total / rms(total)


def rumble(count: int, sample_rate_hz: float, generator: np.random.Generator, low_hz: float = 8.0,
           high_hz: float = 200.0) -> np.ndarray:
    """Ventilation rumble of rms 1: power density falling as 1/f^2 above low_hz, gone above high_hz."""
    size = fft.next_fast_len(count, real=True)
    f = fft.rfftfreq(size, 1.0 / sample_rate_hz)
    wanted = int(np.searchsorted(f, 2.0 * high_hz))
    f = f[:wanted]
    shape = 1.0 / np.sqrt(f ** 2 + low_hz ** 2) / (1.0 + (f / high_hz) ** 8)
    shape[f < 2.0] = 0.0
    spectrum = np.zeros(size // 2 + 1, complex)
    spectrum[:wanted] = shape * (generator.standard_normal(wanted) + 1j * generator.standard_normal(wanted))
    total = fft.irfft(spectrum, size)[:count]
    return total / rms(total)


def ambient_noise(noise: Noise, count: int, sample_rate_hz: float, signal_rms: float) -> np.ndarray:
    """All steady noise, full scale = 1.0. signal_rms: rms at the microphone while the sweeps play."""
    generator = np.random.default_rng([noise.seed, 71])
    total = np.zeros(count)
    white = None
    if noise.signal_to_noise_db is not None:
        white = signal_rms * _amplitude(-noise.signal_to_noise_db)
    elif noise.white_dbfs is not None:
        white = _amplitude(noise.white_dbfs)
    if white is not None:
        total += white * generator.standard_normal(count)
    hum_rms = _steady_rms(noise.hum_dbfs, noise.hum_re_signal_db, signal_rms)
    if hum_rms:
        total += hum_rms * hum(count, sample_rate_hz, noise.hum_hz, generator)
    rumble_rms = _steady_rms(noise.rumble_dbfs, noise.rumble_re_signal_db, signal_rms)
    if rumble_rms:
        total += rumble_rms * rumble(count, sample_rate_hz, generator)
    return total


def _steady_rms(dbfs: float | None, re_signal_db: float | None, signal_rms: float) -> float:
    """Rms of a noise that is given against the sweeps, or else against full scale; 0 when absent."""
    if re_signal_db is not None:
        return signal_rms * _amplitude(re_signal_db)
    return 0.0 if dbfs is None else _amplitude(dbfs)


# ---- disturbances ----------------------------------------------------------------------------------------------

EVENT_SECONDS = {"slam": 0.6, "voice": 1.6, "lorry": 5.0}


def event_signal(kind: str, sample_rate_hz: float, generator: np.random.Generator) -> np.ndarray:
    """A disturbance of peak 1: a door slam, a voice-like babble, or a lorry passing; length as in EVENT_SECONDS."""
    n = int(EVENT_SECONDS[kind] * sample_rate_hz)
    t = np.arange(n) / sample_rate_hz
    noise = generator.standard_normal(n)
    if kind == "slam":
        crack = _band(noise, 100.0, 6000.0, sample_rate_hz) * np.exp(-t / 0.025)
        thump = _band(generator.standard_normal(n), 25.0, 120.0, sample_rate_hz)
        thump = thump / np.abs(thump).max() * np.exp(-t / 0.09)
        x = 0.7 * crack / np.abs(crack).max() + thump
    elif kind == "voice":
        syllables = np.maximum(np.sin(2 * np.pi * 2.1 * t) * np.sin(2 * np.pi * 0.31 * t + 0.4), 0.0) ** 0.5
        buzz = signal.sawtooth(2 * np.pi * (118 * t + 4.0 * np.sin(2 * np.pi * 0.7 * t)))
        x = syllables * _band(0.4 * noise + buzz, 180.0, 3800.0, sample_rate_hz)
    elif kind == "lorry":
        x = rumble(n, sample_rate_hz, generator, 25.0, 90.0) * np.sin(np.pi * t / EVENT_SECONDS[kind]) ** 2
    else:
        raise ValueError(f"unknown event {kind!r}")
    return x / np.abs(x).max()


def _band(x: np.ndarray, low_hz: float, high_hz: float, sample_rate_hz: float) -> np.ndarray:
    """Second-order Butterworth band-pass."""
    return signal.sosfilt(signal.butter(2, (low_hz, high_hz), "bandpass", fs=sample_rate_hz, output="sos"), x)


def add_event(x: np.ndarray, event: Event, sample_rate_hz: float, at_sample: int, sweep_peak: float,
              generator: np.random.Generator) -> None:
    """Add a disturbance to x in place."""
    burst = _amplitude(event.peak_db) * sweep_peak * event_signal(event.kind, sample_rate_hz, generator)
    first, last = max(at_sample, 0), min(at_sample + len(burst), len(x))
    if last > first:
        x[first:last] += burst[first - at_sample:last - at_sample]


def automatic_gain(x: np.ndarray, sample_rate_hz: float, share: float = 0.6) -> np.ndarray:
    """What a conferencing input does: quiet passages come up, loud ones go down, by up to 12 dB, within about 0.5 s."""
    level = _block_level(x, sample_rate_hz, attack_s=0.15, release_s=0.8)
    gain = np.clip((0.1 / np.maximum(level, 1e-6)) ** share, 0.25, 4.0)
    return x * _per_sample(gain, len(x), sample_rate_hz)


def noise_gate(x: np.ndarray, sample_rate_hz: float, by_db: float = 30.0) -> np.ndarray:
    """Noise suppression: whatever is more than 25 dB below the loud passages is pulled down by by_db."""
    level = _block_level(x, sample_rate_hz, attack_s=0.005, release_s=0.05)
    threshold = np.percentile(level, 90) * _amplitude(-25.0)
    gain = np.where(level > threshold, 1.0, _amplitude(-by_db))
    return x * _per_sample(np.convolve(gain, np.ones(3) / 3, mode="same"), len(x), sample_rate_hz)


def _block_level(x: np.ndarray, sample_rate_hz: float, attack_s: float, release_s: float) -> np.ndarray:
    """Level per 10 ms block: rms followed with separate attack and release times."""
    block = int(0.01 * sample_rate_hz)
    squares = np.square(np.pad(x, (0, -len(x) % block))).reshape(-1, block).mean(axis=1)
    level, result = 0.0, np.empty(len(squares))
    for n, now in enumerate(np.sqrt(squares)):
        level += (now - level) * (1.0 - np.exp(-0.01 / (attack_s if now > level else release_s)))
        result[n] = level
    return result


def _per_sample(gain: np.ndarray, count: int, sample_rate_hz: float) -> np.ndarray:
    """Block gains interpolated to samples."""
    block = int(0.01 * sample_rate_hz)
    return np.interp(np.arange(count), (np.arange(len(gain)) + 0.5) * block, gain)


def apply_dropout(x: np.ndarray, kind: str, at_sample: int, samples: int) -> np.ndarray:
    """One gap in (frames, channels) samples; see Dropout. Returns the new recording."""
    at_sample = max(at_sample, samples)
    before, after = x[:at_sample], x[at_sample:]
    again = x[at_sample - samples:at_sample]
    if kind == "zeros":
        return np.concatenate((before, np.zeros_like(again), after[samples:]))
    if kind == "lost":
        return np.concatenate((before, after[samples:]))
    if kind == "repeated":
        return np.concatenate((before, again, after[samples:]))
    if kind == "inserted":
        return np.concatenate((before, again, after))
    raise ValueError(f"unknown dropout {kind!r}")


def record(mic: np.ndarray, loopback: np.ndarray | None, play_rate_hz: float, recorder: Recorder, noise: Noise,
           events: tuple[Event, ...], playing: list[tuple[float, float]], stimulus_s: float, loudest: float
           ) -> tuple[np.ndarray, float]:
    """Turn pressure at the microphone and the loopback, on the player's clock, into the samples of a recording.

    mic, loopback: sample 0 = the player's first sample, latency included. playing: (begin, end) of the stretches in
    which sweeps play, seconds. loudest: peak of the loudest main in `mic`. Returns (frames, channels), full scale 1.0,
    and the clipping threshold in units of `mic` (infinite when nothing clips).
    """
    rate = recorder.clock_hz
    end_s = stimulus_s + recorder.extra_end_s if recorder.cut_short is None else recorder.cut_short * stimulus_s
    count = int(round((end_s - recorder.start_s) * rate))
    first = recorder.start_s * play_rate_hz
    gain = _amplitude(recorder.mic_gain_db)
    if rate == play_rate_hz and first == round(first):
        heard = _slice(mic, round(first), count)
        looped = None if loopback is None else _slice(loopback, round(first), count)
    elif loopback is None:
        heard, looped = evaluate_between_samples(mic, first, play_rate_hz / rate, count), None
    else:
        both = evaluate_between_samples(mic + 1j * loopback, first, play_rate_hz / rate, count)
        heard, looped = both.real, both.imag
    heard = gain * heard

    def sample_at(time_s: float) -> int:
        return int(round((time_s - recorder.start_s) * rate))

    during = np.zeros(count, dtype=bool)
    for begin, end in playing:
        during[max(sample_at(begin), 0):max(sample_at(end), 0)] = True
    signal_rms, peak = rms(heard[during]), float(np.abs(heard).max())
    heard = heard + ambient_noise(noise, count, recorder.sample_rate_hz, signal_rms)
    generator = np.random.default_rng([noise.seed, 72])
    for event in events:
        add_event(heard, event, recorder.sample_rate_hz, sample_at(event.time_s), peak, generator)
    threshold = np.inf
    if recorder.clip_fraction is not None:
        threshold = recorder.clip_fraction * loudest
        heard = np.clip(heard / gain, -threshold, threshold) * (_amplitude(recorder.clip_at_dbfs) / threshold)
    if recorder.automatic_gain:
        heard = automatic_gain(heard, recorder.sample_rate_hz, recorder.automatic_gain)
    if recorder.noise_gate:
        heard = noise_gate(heard, recorder.sample_rate_hz, recorder.noise_gate)
    if recorder.mic_silent:
        heard = np.zeros(count)
    channels = [heard]
    if recorder.loopback:
        floor = _amplitude(-100.0) * np.random.default_rng([noise.seed, 73]).standard_normal(count)
        channels.append(looped * _amplitude(recorder.loopback_gain_db) + floor)
    if recorder.channels_swapped:
        channels.reverse()
    samples = np.stack(channels, axis=1)
    for gap in recorder.dropouts:
        samples = apply_dropout(samples, gap.kind, sample_at(gap.time_s), gap.samples)
    if recorder.nan_at is not None:
        samples[int(recorder.nan_at * len(samples)):][:16, 0] = np.nan
    return samples, threshold


def _slice(x: np.ndarray, first: int, count: int) -> np.ndarray:
    """x[first:first+count], with zeros outside x."""
    result = np.zeros(count)
    low, high = max(first, 0), min(first + count, len(x))
    if high > low:
        result[low - first:high - first] = x[low:high]
    return result
