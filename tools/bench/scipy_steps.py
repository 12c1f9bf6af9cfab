#!/usr/bin/env python3
"""The analysis of one recording in plain numpy and scipy, as anyone would write it, for comparison of speed.

    scipy_steps.py stimulus.wav recording.wav [--main-path] [--repetitions N] [--workers N] [--show]

Prints "time SECONDS CPU-SECONDS" for each repetition, "peak_mb MEGABYTES", and with --show what it found. Reading files
does not count. The steps are those of the engine's measure(): the start, the clock, every sweep's response, what
disturbs a recording (scipy_checks.py) and every measure of every speaker (scipy_measures.py), all speakers at once in
arrays where that is possible, with real transforms of good sizes.

Left out of them: a sub's onset by models, the sweep resampled to the recorder's clock, and every second look where a
fault was found. With --main-path also the checks, octave levels, uncertainties, dispersion, decay by bands,
reflections, harmonics and noise: this is the least one can do.
"""
import argparse
import time
import warnings

import numpy as np
import scipy_checks as checks
from scipy import fft
from scipy.io import wavfile
from scipy_measures import Measures, band_weights, hann_weights

BEFORE_S, AFTER_S = 0.06, 0.67
EARLIEST_S, LATEST_S = -0.65, 1.2  # of the recording's start
GUARD_S = 0.03


def channels_of(path):
    """Planar float32 channels and the sample rate."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks it does not know
        rate, samples = wavfile.read(path)
    samples = np.ascontiguousarray(np.atleast_2d(samples.T))
    if samples.dtype.kind == "i":
        samples = samples.astype(np.float32) / np.float32(np.iinfo(samples.dtype).max)
    return rate, samples


def sweeps_of(stimulus):
    """[(output, first frame, samples)] in order of time: runs of sound in each channel, longer silences between them."""
    found = []
    for output, channel in enumerate(stimulus):
        active = np.flatnonzero(channel)
        if active.size == 0:
            continue
        gaps = np.flatnonzero(np.diff(active) > 2_000)
        firsts = np.concatenate(([active[0]], active[gaps + 1]))
        lasts = np.concatenate((active[gaps], [active[-1]]))
        found += [(output, first, channel[first:last + 1].astype(float)) for first, last in zip(firsts, lasts)]
    return sorted(found, key=lambda sweep: sweep[1])


class Analysis:
    def __init__(self, rate, sweeps, workers):
        self.rate, self.workers, self.sweeps = rate, workers, sweeps
        self.before, self.after = int(BEFORE_S * rate), int(AFTER_S * rate)

    def inverse_filter(self, sweep, size):
        spectrum = fft.rfft(sweep, size, workers=self.workers)
        power = np.abs(spectrum) ** 2
        return spectrum.conj() / (power + 1e-4 * power.max())

    def spectra(self, recording, starts, sweep, before, after):
        """Spectra of the stretches in which equal sweeps are heard, one a row, brought to fractions of a frame."""
        needed = sweep.size + before + after
        size = fft.next_fast_len(needed, real=True)
        stretches = np.zeros((len(starts), size))
        whole = np.floor(starts).astype(int)
        for row, start in zip(stretches, whole):
            part = recording[max(0, start - before):start - before + needed]
            row[max(0, before - start):max(0, before - start) + part.size] = part
        spectra = fft.rfft(stretches, axis=1, workers=self.workers, overwrite_x=True)
        fractions = np.asarray(starts) - whole
        if fractions.any():
            spectra *= np.exp(2j * np.pi / size * np.outer(fractions, np.arange(size // 2 + 1)))
        return spectra, size

    def deconvolve(self, recording, starts, sweep, before, after):
        """Responses of equal sweeps that begin at `starts`, one a row."""
        spectra, size = self.spectra(recording, starts, sweep, before, after)
        spectra *= self.inverse_filter(sweep, size)
        return fft.irfft(spectra, size, axis=1, workers=self.workers, overwrite_x=True)[:, :before + after]

    def find_start(self, recording):
        """Frames from the schedule to the first sweeps' responses in the recording; those of four must agree."""
        sweep = self.sweeps[0][2]
        before = int(-EARLIEST_S * self.rate)
        starts = [first for _, first, samples in self.sweeps if samples.size == sweep.size][:4]
        h = np.abs(self.deconvolve(recording, starts, sweep, before, int(LATEST_S * self.rate)))
        plain = h.max(axis=1) > 10.0 * np.median(h, axis=1)
        return int(np.median(np.argmax(h, axis=1)[plain])) - before

    def clock_ppm(self, recording, lag):
        """From some speakers that play twice: where the second response lies against the first, by the phase of their
        cross-spectrum, weighted by its magnitude, after the peak of their correlation."""
        sweep = self.sweeps[0][2]
        alike = [(output, first) for output, first, samples in self.sweeps if samples.size == sweep.size]
        pairs = [[first for other, first in alike if other == output] for output in sorted({o for o, _ in alike})][:6]
        pairs = np.array([(pair[0], pair[-1]) for pair in pairs])
        before, after = int(0.05 * self.rate), int(0.15 * self.rate)
        h = self.deconvolve(recording, pairs.T.ravel() + lag, sweep, before, after)
        size = fft.next_fast_len(2 * h.shape[1], real=True)
        spectra = fft.rfft(h, size, axis=1, workers=self.workers)
        cross = spectra[len(pairs):] * spectra[:len(pairs)].conj()
        n = np.argmax(fft.irfft(cross, size, axis=1, workers=self.workers), axis=1)
        n = np.where(n > size // 2, n - size, n)
        w = 2 * np.pi * np.arange(cross.shape[1]) / size
        cross *= np.exp(1j * np.outer(n, w))
        slope = -(np.angle(cross) * w * np.abs(cross)).sum(axis=1) / (w ** 2 * np.abs(cross)).sum(axis=1)
        return 1e6 * np.median((n + slope) / (pairs[:, 1] - pairs[:, 0]))

    def main_path_measures(self, mean, noise, low, high, is_sub):
        size = fft.next_fast_len(mean.shape[1] + 512, real=True)
        f = np.arange(size // 2 + 1) * self.rate / size
        signal = fft.rfft(mean, size, axis=1, workers=self.workers)
        background = fft.rfft(noise, size, axis=1, workers=self.workers)

        def filtered(spectrum, weights):
            return fft.irfft(spectrum * weights, size, axis=1, workers=self.workers)[:, :mean.shape[1]]

        upper = hann_weights(f, max(low, high / 11.3), high)
        envelope = np.hypot(filtered(signal, upper), filtered(signal, -1j * upper))
        floor = filtered(background, upper).std(axis=1)
        peak = np.argmax(envelope > 0.126 * envelope.max(axis=1, keepdims=True), axis=1)
        peak += np.array([np.argmax(row[p:p + 100]) for row, p in zip(envelope, peak)])
        a, b, c = (np.log(np.take_along_axis(envelope, peak[:, None] + k, axis=1)[:, 0]) for k in (-1, 0, 1))
        arrival = peak + (a - c) / (2 * (a - 2 * b + c))
        woofer = filtered(signal, band_weights(f, 150.0, 1200.0) if not is_sub else upper)
        sign = np.array([np.sign(max(row[p - 7:p + 28], key=abs)) for row, p in zip(woofer, peak)])

        band = (30.0, 80.0) if is_sub else (500.0, 2000.0)
        inside = (f >= band[0]) & (f <= band[1])
        power = np.abs(signal[:, inside]) ** 2 - np.abs(background[:, inside]) ** 2
        level_db = 10 * np.log10((power / f[inside]).sum(axis=1) / (1 / f[inside]).sum())
        decay = None if is_sub else self.decay(filtered(signal, band_weights(f, 297.0, 1682.0)), peak)
        return arrival, sign, level_db, 20 * np.log10(np.exp(b) / np.maximum(floor, 1e-15)), decay

    def decay(self, h, peak):
        times = []
        for row, p in zip(h, peak):
            curve = np.cumsum(row[p:][::-1] ** 2)[::-1]
            curve_db = 10 * np.log10(curve / curve[0])
            first, last = np.argmax(curve_db < -5), np.argmax(curve_db < -35)
            slope = np.polyfit(np.arange(first, last), curve_db[first:last], 1)[0] if last > first else np.nan
            times.append(-60 / slope / self.rate)
        return np.array(times)

    def group(self, length):
        """Of all sweeps of one length: outputs, first frames of their first and last sweeps, samples, band."""
        alike = [sweep for sweep in self.sweeps if sweep[2].size == length]
        outputs = sorted({sweep[0] for sweep in alike})
        starts = [[first for output, first, _ in alike if output == wanted] for wanted in outputs]
        sweep = alike[0][2]
        spectrum = np.abs(fft.rfft(sweep))
        low, high = np.flatnonzero(spectrum > 0.05 * spectrum.max())[[0, -1]] * self.rate / sweep.size
        return np.array([pair[0] for pair in starts]), np.array([pair[-1] for pair in starts]), sweep, low, high

    def run_main_path(self, channels):
        lag = self.find_start(channels[-1])
        stretch = 1.0 + 1e-6 * self.clock_ppm(channels[-1], lag)
        results = []
        for length in {sweep.size for _, _, sweep in self.sweeps}:
            first, second, sweep, low, high = self.group(length)
            starts = np.concatenate((first, second)) * stretch + lag
            for channel in channels:
                h = self.deconvolve(channel, starts, sweep, self.before, self.after)
                one, other = h[:len(first)], h[len(first):]
                results.append(self.main_path_measures(0.5 * (one + other), 0.5 * (one - other), low, high,
                                                       high < 1000))
        return results

    def run(self, channels):
        microphone, loopback = channels[0], channels[1] if len(channels) > 1 else None
        results = [checks.clipped(microphone), checks.dropped(microphone), checks.repeated(microphone)]
        if loopback is not None:  # which of the two is the wire
            results.append([self.electrical_share(channel) for channel in channels])
        lag = self.find_start(channels[-1])
        ppm = self.clock_ppm(channels[-1], lag)
        stretch, means = 1.0 + 1e-6 * ppm, []
        results.append(ppm)
        for length in {sweep.size for _, _, sweep in self.sweeps}:
            first, second, sweep, low, high = self.group(length)
            starts = np.concatenate((first, second)) * stretch + lag
            found, mean = self.speakers(microphone, starts, sweep, low, high)
            results += found
            if high > 1000:
                means.append(mean)
            if loopback is not None and high > 2000:
                h = self.deconvolve(loopback, starts, sweep, self.before, self.after)
                results.append(self.measures(h, np.zeros_like(h), low, high).arrivals())
        results.append(checks.shared_outputs(np.vstack(means)))
        begins = np.array([start for _, start, _ in self.sweeps]) * stretch + lag - GUARD_S * self.rate
        ends = int(self.sweeps[-1][1] * stretch + lag + self.sweeps[-1][2].size + (BEFORE_S + AFTER_S) * self.rate)
        results.append(checks.background(microphone, self.rate, int(begins[0]), ends, self.workers))
        results.append(checks.hum(microphone, self.rate, begins.astype(int), self.workers))
        return results

    def electrical_share(self, channel):
        lag = self.find_start(channel)
        starts = [first + lag for _, first, _ in self.sweeps[:3]]
        treble = np.diff(self.deconvolve(channel, starts, self.sweeps[0][2], self.before, self.after)) ** 2
        peak = np.argmax(treble, axis=1)
        return np.median([row[max(0, p - 48):p + 48].sum() / row.sum() for row, p in zip(treble, peak)])

    def measures(self, mean, noise, low, high):
        return Measures(mean, noise, self.rate, self.before, low, min(high, 20e3), self.workers)

    def speakers(self, recording, starts, sweep, low, high):
        """Everything about the speakers that play one sweep."""
        count, block = len(starts) // 2, int(1024 * self.rate / 48_000)
        rate_constant = sweep.size / self.rate / np.log(high / low)
        early = int((rate_constant * np.log(3) + 0.04) * self.rate)
        spectra, size = self.spectra(recording, starts, sweep, self.before, self.after)
        difference = fft.irfft(spectra[:count] - spectra[count:], size, axis=1, workers=self.workers)
        needed = sweep.size + self.before + self.after
        disturbed, treble = checks.disturbances(difference[:, :needed], block)
        stretches = np.array([recording[int(n) - self.before:int(n) - self.before + needed] for n in starts[:count]])
        loudness = checks.block_energies(np.diff(stretches, 2, axis=1), block)
        spectra *= self.inverse_filter(sweep, size)
        whole = fft.irfft(spectra, size, axis=1, workers=self.workers, overwrite_x=True)
        h, before = whole[:, :self.before + self.after], whole[:, -early:]
        gain = checks.wandering(h[:count], h[count:])
        found = [disturbed, gain, checks.smeared(h[:count]), checks.noise_gate(treble, loudness)]
        mean = 0.5 * (h[:count] + h[count:])
        measures = self.measures(mean, 0.5 * (h[:count] - h[count:]), low, high)
        found.append(measures.arrivals())
        is_sub = high < 1000
        found.append(measures.levels((30.0, 80.0) if is_sub else (500.0, 2000.0), 0.06 if is_sub else 0.01))
        found.append(measures.decays())
        if not is_sub:
            found += [measures.woofer_signs(), measures.reflections()]
        found.append(measures.harmonics(0.5 * (before[:count] + before[count:]),
                                        0.5 * (before[:count] - before[count:]), rate_constant))
        return found, mean


def peak_mb():
    with open("/proc/self/status", encoding="ascii") as status:
        line = next(line for line in status if line.startswith("VmHWM:"))
    return int(line.split()[1]) * 1024 / 1e6


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("stimulus")
    parser.add_argument("recording")
    parser.add_argument("--repetitions", type=int, default=3)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--main-path", action="store_true", help="no checks and second measures")
    parser.add_argument("--show", action="store_true", help="print what was found")
    arguments = parser.parse_args()
    rate, stimulus = channels_of(arguments.stimulus)
    sweeps = sweeps_of(stimulus)
    del stimulus
    _, channels = channels_of(arguments.recording)
    with open("/proc/self/clear_refs", "w", encoding="ascii") as clear:
        clear.write("5\n")  # forgets the peak so far: the stimulus file does not count
    for _ in range(arguments.repetitions):
        begin, cpu_begin = time.perf_counter(), time.process_time()
        analysis = Analysis(rate, sweeps, arguments.workers)
        results = analysis.run_main_path(channels) if arguments.main_path else analysis.run(channels)
        print(f"time {time.perf_counter() - begin:.6f} {time.process_time() - cpu_begin:.6f}")
    print(f"peak_mb {peak_mb():.1f}")
    if arguments.show:
        np.set_printoptions(precision=4, suppress=True, linewidth=120)
        for result in results:
            print(result)


if __name__ == "__main__":
    main()
