#!/usr/bin/env python3
"""The analysis of one recording in plain numpy and scipy, as anyone would write it, for comparison of speed.

    scipy_steps.py stimulus.wav recording.wav [--repetitions N] [--workers N]

Prints "time SECONDS CPU-SECONDS" for each repetition, "peak_mb MEGABYTES", and with --show what it found. Reading files does not
count. The steps are those of the engine's main path: find the start, deconvolve every sweep, estimate the clock from
repeated sweeps, mean and difference of the two takes, arrival from the band-pass envelope, polarity from the lower
band, level of pink noise in a band, decay time by backward integration. None of the engine's checks for faults and no
second look at anything: this is the least one can do.
"""
import argparse
import time
import warnings

import numpy as np
from scipy import fft
from scipy.io import wavfile

BEFORE_S, AFTER_S = 0.06, 0.67


def channels_of(path):
    """Planar float32 channels and the sample rate."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks it does not know
        rate, samples = wavfile.read(path)
    return rate, np.ascontiguousarray(np.atleast_2d(samples.T))


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


def band_weights(size, rate, low, high, hann=False):
    f = np.arange(size // 2 + 1) * rate / size
    inside = (f > low) & (f < high)
    if hann:
        return np.where(inside, 0.5 - 0.5 * np.cos(2 * np.pi * (f - low) / (high - low)), 0.0)
    with np.errstate(divide="ignore"):
        octaves = np.minimum(np.log2(f / low), np.log2(high / f))
    return np.where(inside, 0.5 - 0.5 * np.cos(np.pi * np.clip(octaves / 0.5, 0.0, 1.0)), 0.0)


class Analysis:
    def __init__(self, rate, sweeps, workers):
        self.rate, self.workers, self.sweeps = rate, workers, sweeps
        self.before, self.after = int(BEFORE_S * rate), int(AFTER_S * rate)

    def inverse_filter(self, sweep, size):
        spectrum = fft.rfft(sweep, size, workers=self.workers)
        power = np.abs(spectrum) ** 2
        return spectrum.conj() / (power + 1e-4 * power.max())

    def deconvolve(self, recording, starts, sweep, before, after):
        """Responses of equal sweeps that begin at `starts`, one a row."""
        needed = sweep.size + before + after
        size = fft.next_fast_len(needed, real=True)
        stretches = np.zeros((len(starts), size))
        for row, start in zip(stretches, starts):
            part = recording[max(0, start - before):start - before + needed]
            row[max(0, before - start):max(0, before - start) + part.size] = part
        spectra = fft.rfft(stretches, axis=1, workers=self.workers, overwrite_x=True)
        spectra *= self.inverse_filter(sweep, size)
        return fft.irfft(spectra, size, axis=1, workers=self.workers, overwrite_x=True)[:, :before + after]

    def find_start(self, recording):
        """Frames from the schedule to the first sweep's response in the recording."""
        _, first, sweep = self.sweeps[0]
        h = np.abs(self.deconvolve(recording, [first], sweep, int(0.65 * self.rate), int(1.2 * self.rate))[0])
        return int(np.argmax(h)) - int(0.65 * self.rate)

    def clock_ppm(self, first, second, apart):
        """From the slope of the cross-spectrum's phase, magnitude-weighted, where the two takes lie apart."""
        size = fft.next_fast_len(first.shape[1], real=True)
        cross = fft.rfft(second, size, axis=1, workers=self.workers)
        cross *= fft.rfft(first, size, axis=1, workers=self.workers).conj()
        w = 2 * np.pi * np.arange(cross.shape[1]) / size
        lag = -(np.angle(cross) * w * np.abs(cross)).sum(axis=1) / (w ** 2 * np.abs(cross)).sum(axis=1)
        return 1e6 * np.median(lag / apart)

    def measures(self, mean, noise, low, high, is_sub):
        size = fft.next_fast_len(2 * mean.shape[1], real=True)
        signal = fft.rfft(mean, size, axis=1, workers=self.workers)
        background = fft.rfft(noise, size, axis=1, workers=self.workers)

        def filtered(spectrum, weights):
            return fft.irfft(spectrum * weights, size, axis=1, workers=self.workers)[:, :mean.shape[1]]

        upper = band_weights(size, self.rate, max(low, high / 11.3), high, hann=True)
        envelope = np.hypot(filtered(signal, upper), filtered(signal, -1j * upper))
        floor = filtered(background, upper).std(axis=1)
        peak = np.argmax(envelope > 0.126 * envelope.max(axis=1, keepdims=True), axis=1)
        peak += np.array([np.argmax(row[p:p + 100]) for row, p in zip(envelope, peak)])
        a, b, c = (np.log(np.take_along_axis(envelope, peak[:, None] + k, axis=1)[:, 0]) for k in (-1, 0, 1))
        arrival = peak + (a - c) / (2 * (a - 2 * b + c))
        woofer = filtered(signal, band_weights(size, self.rate, 150.0, 1200.0) if not is_sub else upper)
        sign = np.array([np.sign(max(row[p - 7:p + 28], key=abs)) for row, p in zip(woofer, peak)])

        band = (30.0, 80.0) if is_sub else (500.0, 2000.0)
        f = np.arange(signal.shape[1]) * self.rate / size
        inside = (f >= band[0]) & (f <= band[1])
        power = np.abs(signal[:, inside]) ** 2 - np.abs(background[:, inside]) ** 2
        level_db = 10 * np.log10((power / f[inside]).sum(axis=1) / (1 / f[inside]).sum())
        decay = None if is_sub else self.decay(filtered(signal, band_weights(size, self.rate, 297.0, 1682.0)), peak)
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

    def run(self, channels):
        lag = self.find_start(channels[-1])
        results = []
        for length in {sweep.size for _, _, sweep in self.sweeps}:
            alike = [sweep for sweep in self.sweeps if sweep[2].size == length]
            outputs = sorted({sweep[0] for sweep in alike})
            starts = [[s[1] + lag for s in alike if s[0] == output] for output in outputs]
            sweep = alike[0][2]
            active = np.abs(fft.rfft(sweep)) > 0.05 * np.abs(fft.rfft(sweep)).max()
            f = np.flatnonzero(active)[[0, -1]] * self.rate / sweep.size
            takes = []
            for channel in channels:
                order = [pair[0] for pair in starts] + [pair[-1] for pair in starts]
                h = self.deconvolve(channel, order, sweep, self.before, self.after)
                takes.append((h[:len(outputs)], h[len(outputs):]))
            apart = np.array([pair[-1] - pair[0] for pair in starts])
            results.append((outputs, self.clock_ppm(*takes[-1], apart)))
            for first, second in takes:
                results.append(self.measures(0.5 * (first + second), 0.5 * (first - second), f[0], f[1], f[1] < 1000))
        return results


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
        results = Analysis(rate, sweeps, arguments.workers).run(channels)
        print(f"time {time.perf_counter() - begin:.6f} {time.process_time() - cpu_begin:.6f}")
    print(f"peak_mb {peak_mb():.1f}")
    if arguments.show:
        np.set_printoptions(precision=4, suppress=True, linewidth=120)
        for result in results:
            print(*result, sep="\n")


if __name__ == "__main__":
    main()
