"""What guards a result, in plain numpy: clipping, lost and repeated buffers, disturbed takes, gain and noise that
wander, hum and the noise of the room. Part of scipy_steps.py.
"""
import numpy as np
from scipy import fft

MAINS_HZ = (50.0, 60.0)


def clipped(channel):
    """Samples that pile up at either extreme."""
    found = 0
    for sign in (1.0, -1.0):
        extreme = np.float32(channel.max() if sign > 0 else -channel.min())
        top = np.count_nonzero(sign * channel >= 0.985 * extreme)
        below = np.count_nonzero(sign * channel >= 0.97 * extreme) - top
        found += top if top >= 24 and top > 4 * below else 0
    return found


def dropped(channel):
    """Runs of 16 zeros or more with sound on both sides, as (first, last)."""
    zeros = np.flatnonzero(channel == 0)
    if zeros.size < 16:
        return []
    ends = np.flatnonzero(np.diff(zeros) > 1)
    firsts, lasts = zeros[np.r_[0, ends + 1]], zeros[np.r_[ends, zeros.size - 1]]
    threshold = 3e-4 * np.abs(channel).max()
    return [(a, b) for a, b in zip(firsts, lasts) if b - a >= 15 and a >= 48 and
            channel[a - 48:a].std() > threshold and channel[b + 1:b + 49].std() > threshold]


def repeated(channel, longest_back=12_000, shortest=60):
    """First run of equal samples within a quarter of a second: one pair of neighbours in eight is looked up."""
    bits = channel.view(np.uint32)
    prints = (bits[:-1] * np.uint32(0x9E3779B1)) ^ (bits[1:] * np.uint32(0x85EBCA77))
    at = np.flatnonzero(((prints & np.uint32(7 << 14)) == 0) & (bits[:-1] != bits[1:]))
    order = at[np.argsort(prints[at], kind="stable")]
    same = (prints[order[1:]] == prints[order[:-1]])
    back = order[1:] - order[:-1]
    for i in np.flatnonzero(same & (back >= shortest) & (back <= longest_back)):
        now, before = order[i + 1], order[i]
        size = min(shortest, channel.size - now)
        if np.array_equal(channel[now:now + size], channel[before:before + size]):
            return now
    return None


def block_energies(rows, block):
    whole = rows.shape[-1] // block * block
    return np.square(rows[..., :whole]).reshape(*rows.shape[:-1], -1, block).sum(axis=-1)


def disturbances(difference, block):
    """Blocks in which two takes of a speaker differ by more than usual, in three filters; a row a speaker."""
    first = np.diff(difference, axis=1)
    energies = (block_energies(np.diff(first, axis=1), block), block_energies(first, block),
                block_energies((difference[:, 64:] - difference[:, :-64]) / 64.0, block))
    usual = [np.maximum(np.median(e), np.median(e, axis=0)) for e in energies]
    disturbed = [e > ratio * np.maximum(u, 1e-18) for e, u, ratio in zip(energies, usual, (16.0, 16.0, 40.0))]
    return np.count_nonzero(disturbed[0] | disturbed[1][:, :disturbed[0].shape[1]]), energies[0]


def wandering(first, second):
    """Gain of the second take against the first, dB, and their likeness."""
    own, both, other = ((a * b).sum(axis=1) for a, b in ((first, first), (first, second), (second, second)))
    return 20.0 * np.log10(both / own), both / np.sqrt(own * other)


def smeared(first, stretches=12):
    """Share of the energy in two neighbouring twelfths of the window: low where another sweep was played."""
    treble = block_energies(np.diff(first, axis=1), first.shape[1] // stretches)
    return (treble[:, :-1] + treble[:, 1:]).max(axis=1) / treble.sum(axis=1)


def noise_gate(treble_of_differences, loudness):
    """Noise that comes with the sweeps over that around them, dB."""
    quiet = np.percentile(loudness, 5)
    return 10.0 * np.log10(0.5 * np.median(treble_of_differences) / quiet)


def background(channel, rate, begins, ends, workers):
    """Octave levels of the noise before the first and after the last sweep."""
    size = fft.next_fast_len(int(0.17 * rate), real=True)
    quiet = [channel[:begins], channel[ends:]]
    stretches = [part[n:n + size] for part in quiet for n in range(0, part.size - size + 1, size // 2)]
    if not stretches:
        return []
    window = np.hanning(size)
    power = np.square(np.abs(fft.rfft(np.array(stretches) * window, axis=1, workers=workers))).mean(axis=0)
    power *= 2.0 / (size * np.square(window).sum())
    f = np.arange(power.size) * rate / size
    centres = 1000.0 * 10.0 ** (0.3 * np.arange(-5, 4))
    return [10.0 * np.log10(power[(f >= c * 10 ** -0.15) & (f < c * 10 ** 0.15)].sum() + 1e-30) for c in centres]


def hum(channel, rate, quiet_until, workers):
    """Lines of the mains and rumble, from the median spectrum of the silences before the sweeps; power over floor."""
    length = int(0.34 * rate)
    starts = [n - length for n in quiet_until if n >= length]
    size = fft.next_fast_len(length, real=True)
    rows = np.array([channel[n:n + length] for n in starts]) * np.hanning(length)
    power = np.median(np.square(np.abs(fft.rfft(rows, size, axis=1, workers=workers)))[:, :size // 16], axis=0)
    df = rate / size
    found = {}
    for mains in MAINS_HZ:
        for multiple in range(1, 9):
            k = int(round(multiple * mains / df))
            floor = max(np.median(power[k - 7:k - 2]), np.median(power[k + 3:k + 8]))
            found[multiple * mains] = power[k - 1:k + 2].max() / floor
    rumble = np.median(power[int(15 / df):int(100 / df)]) / np.median(power[int(300 / df):int(1000 / df)])
    return found, rumble


def shared_outputs(mean):
    """How much of each speaker's treble is in every other one: correlations of all pairs."""
    treble = np.diff(mean, axis=1)
    products = treble @ treble.T
    late = treble[:, treble.shape[1] // 8:]
    return products / np.diag(products), (late @ late.T) / np.square(late).sum(axis=1)
