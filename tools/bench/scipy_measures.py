"""The measures of all speakers at once, a row each, in plain numpy and scipy. Part of scipy_steps.py."""
import numpy as np
from scipy import fft, signal


def band_weights(f, low, high, octaves=0.5):
    """Raised cosine over log frequency inside the band."""
    with np.errstate(divide="ignore"):
        inside = np.minimum(np.log2(f / low), np.log2(high / f))
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(inside / octaves, 0.0, 1.0))


def hann_weights(f, low, high):
    return np.where((f > low) & (f < high), 0.5 - 0.5 * np.cos(2 * np.pi * (f - low) / (high - low)), 0.0)


class Measures:
    """@param mean, noise  of the two takes, a row a speaker  @param zero  sample of zero latency"""

    def __init__(self, mean, noise, rate, zero, low, high, workers):
        self.mean, self.noise, self.rate, self.zero = mean, noise, rate, zero
        self.low, self.high, self.workers = low, high, workers
        self.size, self.signal = self.spectra(mean, 512)
        _, self.background = self.spectra(noise, 512)
        self.f = np.arange(self.size // 2 + 1) * rate / self.size

    def spectra(self, rows, pad):
        size = fft.next_fast_len(rows.shape[1] + pad, real=True)
        return size, fft.rfft(rows, size, axis=1, workers=self.workers)

    def inverse(self, spectrum, size):
        return fft.irfft(spectrum, size, axis=1, workers=self.workers)

    def envelope(self, spectrum, weights, size):
        filtered = spectrum * weights
        real = self.inverse(filtered, size)
        return np.sqrt(real ** 2 + self.inverse(-1j * filtered, size) ** 2)

    def crops(self, rows, first, length):
        return np.array([row[n:n + length] for row, n in zip(rows, first)])

    def arrivals(self):
        """First peak within 18 dB of the highest: index, uncertainty, height over the noise, dispersion."""
        low = max(self.low, min(self.high, 20e3) * 2 ** -3.5)
        weights = hann_weights(self.f, low, self.high)
        envelope = self.envelope(self.signal, weights, self.size)[:, :self.mean.shape[1]]
        in_band = np.abs(self.background * weights) ** 2
        scale = 2.0 / self.size / self.noise.shape[1]
        floor = np.sqrt(scale * in_band.sum(axis=1))
        sine = np.sin(2 * np.pi * (self.f - (low + self.high) / 2) / self.rate)
        noise_slope = np.sqrt(scale * (in_band * sine ** 2).sum(axis=1))
        threshold = np.maximum(0.126 * envelope.max(axis=1), 8.0 * floor)[:, None]
        middle = envelope[:, 1:-1]
        peaks = (middle >= threshold) & (middle >= envelope[:, :-2]) & (middle > envelope[:, 2:])
        n = 1 + np.argmax(peaks, axis=1)
        before, here, after = (np.take_along_axis(envelope, n[:, None] + k, axis=1)[:, 0] for k in (-1, 0, 1))
        a, b, c = np.log(before), np.log(here), np.log(after)
        self.arrival = n + (a - c) / (2 * (a - 2 * b + c))
        later = self.later_slope(envelope, n, (self.high - low) / self.rate)
        uncertainty = np.hypot(noise_slope, later) / -(before - 2 * here + after)
        return self.arrival, uncertainty, 20 * np.log10(here / np.maximum(floor, 1e-15)), self.dispersion(low)

    def later_slope(self, envelope, n, per_sample):
        """What all later sound's side lobes add to the slope at the peak."""
        x = per_sample * np.arange(np.ceil(2 / per_sample), np.ceil(200 / per_sample))
        rows = np.array([np.resize(row[p + int(x[0] / per_sample):], x.size) for row, p in zip(envelope, n)])
        slope = rows * per_sample / (x * (x ** 2 - 1))
        return 0.6 * np.sqrt((0.5 * slope ** 2 * per_sample / 1.5).sum(axis=1))

    def dispersion(self, low):
        """How much later the lower half of the band peaks, near the arrival."""
        around, reach = int(0.01 * self.rate), int(0.3e-3 * self.rate)
        crop = self.crops(self.mean, self.arrival.astype(int) - around, 2 * around)
        size, spectra = self.spectra(crop, 0)
        f = np.arange(size // 2 + 1) * self.rate / size
        half = 0.5 * (low + self.high)
        places = []
        for band in ((low, half), (half, self.high)):
            near = self.envelope(spectra, hann_weights(f, *band), size)[:, around - reach:around + reach]
            n = np.clip(np.argmax(near, axis=1), 1, near.shape[1] - 2)
            a, b, c = (np.log(np.take_along_axis(near, n[:, None] + k, axis=1)[:, 0]) for k in (-1, 0, 1))
            places.append(n + (a - c) / (2 * (a - 2 * b + c)))
        return places[0] - places[1]

    def woofer_signs(self):
        around = int(0.08 * self.rate)
        first = np.maximum(0, self.arrival.astype(int) - around)
        filtered = []
        for rows in (self.mean, self.noise):
            size, spectra = self.spectra(self.crops(rows, first, 2 * around), 0)
            weights = band_weights(np.arange(size // 2 + 1) * self.rate / size, 150.0, 1200.0, 1.0)
            filtered.append(self.inverse(spectra * weights, size))
        at = self.arrival.astype(int) - first
        lobes = self.crops(filtered[0], at + int(-0.15e-3 * self.rate), int(0.5e-3 * self.rate))
        up, down, floor = lobes.max(axis=1), -lobes.min(axis=1), filtered[1].std(axis=1)
        sure = (np.maximum(up, down) > 5 * floor) & (np.minimum(up, down) < 0.84 * np.maximum(up, down))
        return np.where(sure, np.sign(up - down), 0)

    def levels(self, main_band, lead_s):
        """Level of pink noise, its uncertainty and signal to noise, in a band and in all octaves within the sweep's."""
        first = np.maximum(0, self.arrival - lead_s * self.rate).astype(int)
        keep = np.arange(self.mean.shape[1]) >= first[:, None]
        mean2, noise2 = (np.abs(fft.rfft(rows * keep, self.size, axis=1, workers=self.workers)) ** 2
                         for rows in (self.mean, self.noise))
        centres = 1000.0 * 10 ** (0.3 * np.arange(-5, 5))
        octaves = [(c * 10 ** -0.15, c * 10 ** 0.15) for c in centres]
        bands = [main_band] + [b for b in octaves if b[0] >= self.low and b[1] <= self.high]
        padding = self.size / (self.mean.shape[1] - first)
        found = []
        for low, high in bands:
            k = slice(max(1, int(np.ceil(low * self.size / self.rate))), int(high * self.size / self.rate) + 1)
            w = 1.0 / self.f[k]
            power, s2 = mean2[:, k] - noise2[:, k], 2 * noise2[:, k]
            total, noise = power @ w, 0.5 * s2 @ w
            variance = (np.maximum(power, 0) * s2 + 0.5 * s2 ** 2) @ w ** 2
            found.append((10 * np.log10(np.maximum(total, 1e-30) / w.sum()),
                          10 / np.log(10) * np.sqrt(variance * padding) / total, 10 * np.log10(total / noise)))
        return found

    def decays(self):
        """T20, T30 of 354-1414 Hz; EDT, T20, T30 in octaves and third octaves; clarity in octaves."""
        mid = np.square(self.inverse(self.signal * band_weights(self.f, 297.0, 1682.0), self.size))
        floor = np.square(self.inverse(self.background * band_weights(self.f, 297.0, 1682.0), self.size)).mean(axis=1)
        found = [self.decay_times(mid[:, :self.mean.shape[1]:4], floor, self.rate / 4, 0.01)]
        size, mean = self.spectra(self.mean, int(0.25 * self.rate))
        _, noise = self.spectra(self.noise, int(0.25 * self.rate))
        for parts, ks in ((1, range(-4, 4)), (3, range(-13, 11))):
            for k in ks:
                centre, half = 1000.0 * 10 ** (0.3 * k / parts), 0.15 / parts
                if centre * 10 ** -half < self.low or centre * 10 ** half > self.high:
                    continue
                found.append(self.band_decay(mean, noise, size, centre, half))
        return found

    def band_decay(self, mean, noise, size, centre, half):
        reach, df = 10 ** (1.72 * half), self.rate / size
        k = np.arange(max(1, int(centre / reach / df)), min(int(centre * reach / df), mean.shape[1] - 2))
        lg = half - np.abs(np.log10(k * df / centre))
        weights = np.sin(0.5 * np.pi * np.clip(0.5 + lg / (1.44 * half), 0.0, 1.0))
        small = fft.next_fast_len(max(2 * k.size + 4, int(2000.0 / df)))
        rows = np.zeros((mean.shape[0], small), complex)
        rows[:, 1:1 + k.size] = mean[:, k] * weights
        squared = np.abs(fft.ifft(rows, axis=1, workers=self.workers, overwrite_x=True)) ** 2
        rate = self.rate * small / size
        floor = np.square(np.abs(noise[:, k] * weights)).sum(axis=1) / (small * self.mean.shape[1] * rate / self.rate)
        squared = squared[:, :int(self.mean.shape[1] / self.rate * rate)]
        width = centre * 2 * np.sinh(half * np.log(10))
        times = self.decay_times(squared, floor, rate, float(np.clip(2 / width, 0.01, 0.05)))
        return times if half < 0.1 else (*times, *self.clarity(squared - floor[:, None], rate))

    def from_arrival(self, rows, rate):
        first = np.round(self.arrival / self.rate * rate).astype(int)
        return self.crops(rows, first, rows.shape[1] - first.max())

    def clarity(self, energy, rate):
        energy = self.from_arrival(energy, rate)
        early = [energy[:, :int(s * rate)].sum(axis=1) for s in (0.05, 0.08)]
        total = energy.sum(axis=1)
        centre = energy @ np.arange(energy.shape[1]) / total / rate
        return [10 * np.log10(np.maximum(e / (total - e), 1e-9)) for e in early] + [centre]

    def decay_times(self, squared, floor, rate, block_s):
        """Backward integral to where the decay meets the noise; lines through EDT's, T20's and T30's range."""
        squared = self.from_arrival(squared, rate)
        block = max(1, int(block_s * rate))
        blocks = squared[:, :squared.shape[1] // block * block].reshape(len(squared), -1, block).mean(axis=2)
        end = block * np.argmax(np.hstack((blocks, np.zeros((len(blocks), 1)))) < 5 * floor[:, None], axis=1)
        n = np.arange(squared.shape[1])
        energy = np.where(n < np.maximum(end, block)[:, None], squared - floor[:, None], 0.0)
        curve = np.maximum(np.cumsum(energy[:, ::-1], axis=1)[:, ::-1], 1e-300)
        curve_db = 10 * np.log10(curve / curve[:, :1])
        times = []
        for top, bottom in ((0.0, -10.0), (-5.0, -25.0), (-5.0, -35.0)):
            use = (curve_db <= top) & (curve_db >= bottom)
            count, sx, sy = use.sum(axis=1), use @ n, (curve_db * use).sum(axis=1)
            slope = (count * ((curve_db * use) @ n) - sx * sy) / np.maximum(count * (use @ n ** 2) - sx ** 2, 1)
            times.append(np.where(slope < 0, -60 / np.minimum(slope, -1e-12) / rate, np.nan))
        return times

    def reflections(self):
        """Peaks of the envelope of 1 to 8 kHz within 20 ms of the direct sound: delay in ms and dB."""
        before, after = int(0.004 * self.rate), int(0.026 * self.rate)
        first = np.round(self.arrival).astype(int) - before
        fade = signal.windows.tukey(before + after, 0.13)
        envelopes = []
        for rows in (self.mean, self.noise):
            size, spectra = self.spectra(self.crops(rows, first, before + after) * fade, before + after)
            f = np.arange(size // 2 + 1) * self.rate / size
            weights = band_weights(f, 1000 * 2 ** -0.5, 8000 * 2 ** 0.5, 1.0)
            envelopes.append(self.envelope(spectra, weights, size)[:, :before + after])
        found = []
        for heard, floor in zip(envelopes[0], envelopes[1].std(axis=1)):
            db = 20 * np.log10(np.maximum(heard, 3 * floor) / heard[before])
            stretch = db[before + int(0.6e-3 * self.rate):before + int(0.020 * self.rate)]
            peaks, _ = signal.find_peaks(stretch, height=-20.0, prominence=3.0)
            found.append([(p / self.rate * 1e3, stretch[p]) for p in peaks[:12]])
        return found

    def harmonics(self, early_mean, early_noise, rate_constant):
        """Second and third harmonic by third octaves of the fundamental, dB, and their noise."""
        lead, length = 0.02, 0.2
        frames, early = int((lead + length) * self.rate), early_mean.shape[1]
        size = fft.next_fast_len(max(frames, int(self.rate / 3.0)), real=True)
        fade = signal.windows.tukey(frames, 0.2)
        power = []
        for head, tail in ((early_mean, self.mean), (early_noise, self.noise)):
            rows = np.hstack((head, tail))
            for order in (1, 2, 3):
                at = early + self.arrival - (rate_constant * np.log(order) + lead) * self.rate
                gated = self.crops(rows, np.maximum(0, at).astype(int), frames) * fade
                power.append(np.abs(fft.rfft(gated, size, axis=1, workers=self.workers)) ** 2)
        df, edge, found = self.rate / size, 10 ** 0.05, []
        for centre in 1000.0 * 10 ** (0.1 * np.arange(-15, 11)):
            if centre / edge < self.low or 2 * centre * edge > self.high:
                continue
            means = []
            for i, p in enumerate(power):
                order = i % 3 + 1
                k = np.arange(max(1, int(order * centre / edge / df)), int(order * centre * edge / df) + 1)
                k = k[k < p.shape[1]]
                means.append(p[:, k] @ (1.0 / k) / (1.0 / k).sum() if k.size else np.zeros(len(p)))
            first = np.maximum(means[0] - means[3], 1e-30)
            found.append([10 * np.log10(np.maximum(means[i] - means[i + 3], 1e-30) / first) for i in (1, 2)])
        return found
