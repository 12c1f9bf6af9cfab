#!/usr/bin/python3
"""Checks of the simulator and the judge themselves, against closed forms, hand-computed values and scipy.

    /usr/bin/python3 -m unittest discover -s tests/independent
"""

from __future__ import annotations

import io
import stat
import struct
import sys
import tempfile
import unittest
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import numpy as np
from scipy import fft, signal
from scipy.io import wavfile

import bass_score
import evaluate
import recorder as recording
import room_simulator as simulator
import speaker_models as models
from random_rooms import CASES, LAYOUTS, ALL_FAULTS, Expected, clearance_m, direction, make_trial
from recorder import Noise, Recorder, apply_dropout, evaluate_between_samples
from room_simulator import Disturbance, Scene
from shoebox import (TAPS, Room, eyring_constant, image_sources, kernel, place_impulses, reflections_for_decay,
                     room_response, speed_of_sound)
from speaker_models import Speaker, Subwoofer, TwoWay
from wav_files import find_active_segments, open_wav, write_wav

RATE = 48000


def decibels(x) -> np.ndarray:
    """20 log10 |x|."""
    return 20.0 * np.log10(np.maximum(np.abs(x), 1e-30))


def decay_time(h: np.ndarray, centre_hz: float, from_db: float = -5.0, to_db: float = -25.0) -> float:
    """Reverberation time in an octave by backward integration (Schroeder 1965); the filter runs backwards in time."""
    sos = signal.butter(3, (centre_hz / np.sqrt(2), centre_hz * np.sqrt(2)), "bandpass", fs=RATE, output="sos")
    band = signal.sosfilt(sos, h[::-1])[::-1]
    curve = 10 * np.log10(np.cumsum(band[::-1] ** 2)[::-1] / np.sum(band ** 2) + 1e-12)
    used = (curve < from_db) & (curve > to_db)
    slope, _ = np.polyfit(np.flatnonzero(used) / RATE, curve[used], 1)
    return -60.0 / slope


def small_room(**changes) -> Room:
    """A room of 4 x 5 x 2.6 m with a reverberation time of 0.3 s."""
    size = (4.0, 5.0, 2.6)
    room = Room(size, (2.0, 2.4, 1.2), 20.0, reflections_for_decay(size, 0.3, (1,) * 6, 20.0))
    return replace(room, **changes)


def dead_room() -> Room:
    """A room without reflections worth mentioning."""
    return small_room(reflection=(1e-4,) * 6)


class TemporaryDirectory(unittest.TestCase):
    """A test with a directory of its own."""

    def setUp(self):
        held = tempfile.TemporaryDirectory()
        self.addCleanup(held.cleanup)
        self.directory = Path(held.name)


class WavFiles(TemporaryDirectory):
    """Our writer and reader against scipy's, and the long format."""

    def setUp(self):
        super().setUp()
        self.samples = np.random.default_rng(1).uniform(-0.9, 0.9, (1001, 3))

    def test_what_is_written_is_read_back(self):
        for name, step in (("int16", 2.0 ** -15), ("int24", 2.0 ** -23), ("int32", 2.0 ** -31), ("float32", 1e-7)):
            path = self.directory / f"{name}.wav"
            write_wav(path, self.samples, 44100, name)
            wav = open_wav(path)
            self.assertEqual((wav.sample_rate_hz, wav.channels, wav.frames), (44100, 3, 1001))
            read = np.stack([wav.channel(k) for k in range(3)], axis=1)
            self.assertLess(np.abs(read - self.samples).max(), 0.51 * step + 1e-12, name)

    def test_scipy_reads_the_same(self):
        for name, scale in (("int16", 2.0 ** 15), ("int24", 2.0 ** 31), ("int32", 2.0 ** 31), ("float32", 1.0)):
            path = self.directory / f"{name}.wav"
            write_wav(path, self.samples, 48000, name)
            rate, read = wavfile.read(path)
            self.assertEqual(rate, 48000)
            self.assertLess(np.abs(read / scale - self.samples).max(), 2.0 ** -15, name)

    def test_rf64_and_extensible(self):
        samples = self.samples.astype("<f4")
        guid_rest = bytes.fromhex("000000001000800000aa00389b71")
        fields = struct.pack("<HHIIHHHHI", 0xFFFE, 3, RATE, RATE * 12, 12, 32, 22, 32, 0) + b"\x03\x00" + guid_rest
        body = b"WAVEds64" + struct.pack("<IQQQI", 28, 0, samples.nbytes, len(samples), 0) \
            + b"fmt " + struct.pack("<I", len(fields)) + fields + b"data\xff\xff\xff\xff" + samples.tobytes()
        path = self.directory / "long.wav"
        path.write_bytes(b"RF64\xff\xff\xff\xff" + body)
        wav = open_wav(path)
        self.assertEqual((wav.channels, wav.frames, wav.is_float), (3, 1001, True))
        np.testing.assert_array_equal(wav.channel(2), samples[:, 2])

    def test_active_segments(self):
        samples = np.zeros((RATE, 2))
        samples[5000:9000, 0] = 0.1
        samples[9500:12000, 0] = 0.1            # 10 ms later: one segment
        samples[30000:31000, 0] = 0.1
        write_wav(self.directory / "a.wav", samples, RATE, "float32")
        first, second = find_active_segments(open_wav(self.directory / "a.wav"))
        self.assertEqual(len(first), 2)
        self.assertEqual(second, [])
        self.assertLessEqual(first[0].start, 5000)
        self.assertGreaterEqual(first[0].stop, 12000)
        self.assertLess(5000 - first[0].start + first[0].stop - 12000, 512)


class SpeakerModels(unittest.TestCase):
    """Analogue prototypes against scipy and their defining properties."""

    f = np.geomspace(10.0, 23000.0, 400)

    def test_linkwitz_riley_4_is_butterworth_2_twice(self):
        low, high = models.linkwitz_riley_4(self.f, 2000.0)
        for branch, kind in ((low, "low"), (high, "high")):
            b, a = signal.butter(2, 2 * np.pi * 2000.0, kind, analog=True)
            _, once = signal.freqs(b, a, 2 * np.pi * self.f)
            np.testing.assert_allclose(branch, once ** 2, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(np.abs(low + high), 1.0, rtol=1e-12)
        at_crossover = models.linkwitz_riley_4(np.array([2000.0]), 2000.0)[0]
        self.assertAlmostEqual(float(decibels(at_crossover)[0]), -6.0206, places=4)

    def test_butterworth_3_against_scipy(self):
        for branch, kind in zip(models.butterworth_3(self.f, 1800.0), ("low", "high")):
            b, a = signal.butter(3, 2 * np.pi * 1800.0, kind, analog=True)
            _, wanted = signal.freqs(b, a, 2 * np.pi * self.f)
            np.testing.assert_allclose(branch, wanted, rtol=1e-9, atol=1e-12)

    def test_box_and_roll_off_against_scipy(self):
        for order in (2, 4):
            for kind, made in (("high", models.high_pass(self.f, 50.0, order)),
                               ("low", models.low_pass(self.f, 50.0, order))):
                b, a = signal.butter(order, 2 * np.pi * 50.0, kind, analog=True)
                _, wanted = signal.freqs(b, a, 2 * np.pi * self.f)
                np.testing.assert_allclose(made, wanted, rtol=1e-9, atol=1e-12)

    def test_every_crossover_is_flat_and_its_woofer_positive(self):
        for crossover, tweeter in (("LR4", 1.0), ("LR2", -1.0), ("BW3", 1.0)):
            model = TwoWay(crossover, 2000.0, box_hz=0.01, roll_off_hz=1e9)
            response = model.on_axis(self.f)
            np.testing.assert_allclose(np.abs(response), 1.0, atol=1e-3)
            self.assertGreater(response[np.searchsorted(self.f, 60.0)].real, 0.99, crossover)
            far_above = model.on_axis(np.array([2e6]))[0].real
            self.assertAlmostEqual(far_above, tweeter, places=2)

    def test_bumps_and_shelves(self):
        self.assertAlmostEqual(float(decibels(models.peak(np.array([500.0]), 500.0, -3.0, 2.0))[0]), -3.0, places=9)
        shelf = decibels(models.treble_shelf(np.array([1e-3, 1000.0, 1e9]), 1000.0, -8.0))
        np.testing.assert_allclose(shelf, [0.0, -4.0, -8.0], atol=1e-6)

    def test_dead_drivers(self):
        f = np.array([200.0, 15000.0])
        whole = np.abs(TwoWay().on_axis(f))
        no_tweeter, no_woofer = np.abs(TwoWay(dead="tweeter").on_axis(f)), np.abs(TwoWay(dead="woofer").on_axis(f))
        self.assertAlmostEqual(no_tweeter[0] / whole[0], 1.0, places=3)
        self.assertLess(no_tweeter[1] / whole[1], 0.01)
        self.assertLess(no_woofer[0] / whole[0], 0.01)

    def test_distortion_makes_the_harmonics_of_the_polynomial_and_no_aliases(self):
        n, k = 1 << 15, 6001                  # 8.79 kHz: the third harmonic, 26.4 kHz, must not fold back
        x = 0.5 * np.cos(2 * np.pi * k * np.arange(n) / n)
        # one period of a periodic signal is cut out of a longer stretch, so that its ends do not matter
        y = models.distort(np.tile(x, 3), 0.1, 0.2)[n:2 * n]
        spectrum = 2.0 * np.abs(np.fft.rfft(y)) / n
        self.assertAlmostEqual(spectrum[k], 0.5 + 0.2 * 0.75 * 0.125, places=4)
        self.assertAlmostEqual(spectrum[2 * k], 0.1 * 0.5 * 0.25, places=4)
        self.assertLess(spectrum[n - 3 * k], 1e-5)


class Shoebox(unittest.TestCase):
    """Images, absorption and decay against what can be worked out by hand."""

    def test_speed_of_sound(self):
        self.assertAlmostEqual(speed_of_sound(20.0), 343.2)
        self.assertAlmostEqual(speed_of_sound(0.0), 331.2859, places=3)

    def test_first_order_images_by_hand(self):
        room = small_room(reflection=(0.9, 0.8, 0.7, 0.6, 0.5, 0.4))
        source, receiver = np.array([1.0, 4.0, 1.5]), np.array([2.5, 2.0, 1.1])
        by_hand = {     # mirror the source at each wall
            0.9: np.hypot(np.hypot(2.5 + 1.0, 2.0), 0.4), 0.8: np.hypot(np.hypot(7.0 - 2.5, 2.0), 0.4),
            0.7: np.hypot(np.hypot(1.5, 4.0 + 2.0), 0.4), 0.6: np.hypot(np.hypot(1.5, 6.0 - 2.0), 0.4),
            0.5: np.hypot(np.hypot(1.5, 2.0), 1.5 + 1.1), 0.4: np.hypot(np.hypot(1.5, 2.0), 3.7 - 1.1)}
        images = image_sources(room, source, receiver, (0.0, 0.0, 1.0), 20.0)
        first = images.side_hits + images.level_hits == 1
        self.assertEqual(int(first.sum()), 6)
        found = dict(zip(np.round(images.amplitude[first], 6), images.distance_m[first]))
        for factor, distance in by_hand.items():
            self.assertAlmostEqual(found[factor], distance, places=9)
        self.assertEqual(int(((images.side_hits + images.level_hits) == 2).sum()), 18)

    def test_direction_in_which_a_reflection_left(self):
        room = small_room()
        source, receiver = np.array([1.0, 2.5, 1.3]), np.array([3.0, 2.5, 1.3])
        images = image_sources(room, source, receiver, (1.0, 0.0, 0.0), 8.0)   # the speaker looks at the receiver
        first = images.side_hits + images.level_hits == 1
        ends = first & (np.abs(images.distance_m - 4.0) < 1e-9)    # off the wall behind it and off the opposite one
        np.testing.assert_allclose(sorted(images.axis_cosine[ends]), [-1.0, 1.0], atol=1e-12)
        floor = first & (images.level_hits == 1)
        np.testing.assert_allclose(images.axis_cosine[floor], 2.0 / np.hypot(2.0, 2.6), atol=1e-12)

    def test_number_of_images_is_the_volume_of_the_sphere(self):
        room = small_room()
        count = len(image_sources(room, (1.1, 2.1, 1.3), (2.0, 3.0, 1.2), (0, 1, 0), 40.0).distance_m)
        self.assertAlmostEqual(count / (4 / 3 * np.pi * 40.0 ** 3 / room.volume_m3), 1.0, delta=0.02)

    def test_fractional_impulse_is_a_pure_delay(self):
        time, n = 200.37, 512
        h = place_impulses(np.array([time]), np.array([0.8]), np.array([0]), (1, n))[0]
        f = fft.rfftfreq(n)
        band = f < 0.425
        error = fft.rfft(h)[band] - 0.8 * np.exp(-2j * np.pi * f[band] * time)
        self.assertLess(np.abs(error).max(), 1e-3)
        self.assertLess(np.abs(error[f[band] < 0.4]).max(), 2e-5)

    def test_impulses_are_windowed_sincs(self):
        times = np.array([100.0, 100.25, 100.5, 100.9999, 101.0])
        placed = place_impulses(times, np.ones(5), np.arange(5), (5, 256))
        for row, time in zip(placed, times):
            first = int(time) - TAPS // 2 + 1
            np.testing.assert_allclose(row[first:first + TAPS], kernel(np.array([time % 1.0]))[0], atol=1e-13)

    def test_absorption_gives_the_wanted_eyring_time(self):
        for size in ((3.0, 3.5, 2.3), (5.5, 7.0, 3.0)):
            for wanted in (0.2, 0.3, 0.4):
                reflection = reflections_for_decay(size, wanted, (0.6, 1.6, 1, 1, 2.0, 0.5), 22.0)
                room = Room(size, (1, 1, 1), 22.0, reflection)
                self.assertAlmostEqual(float(room.decay_time_s(1000.0)[0]), wanted, places=6)
                self.assertLess(float(room.decay_time_s(8000.0)[0]), wanted)

    def test_eyring_by_hand(self):
        # 5 x 4 x 2.7 m, absorption 0.25 everywhere, 343.2 m/s: 0.3411 s
        room = Room((4.0, 5.0, 2.7), (1, 1, 1), 20.0, (np.sqrt(0.75),) * 6, side_shelf_db=0.0, level_shelf_db=0.0)
        self.assertAlmostEqual(float(room.decay_time_s(1000.0)[0]), 0.3411, places=4)
        self.assertAlmostEqual(eyring_constant(343.2), 0.16102, places=5)

    def response(self, room: Room, **options) -> tuple[np.ndarray, float]:
        size = simulator.grid_size(RATE)
        f = fft.rfftfreq(size, 1 / RATE)
        h, distance = room_response(room, (0.9, 1.4, 0.05), (0.0, 0.0, 0.0), None, f, RATE, low_frequency=False,
                                    stream=3, **options)
        return fft.irfft(h, size), distance

    def test_direct_sound_has_its_exact_time_and_level(self):
        h, distance = self.response(dead_room())
        f = fft.rfftfreq(len(h), 1 / RATE)
        wanted = np.exp(-2j * np.pi * f * distance / 343.2) / distance
        self.assertAlmostEqual(distance, float(np.sqrt(0.81 + 1.96 + 0.0025)))
        self.assertLess(np.abs(fft.rfft(h) - wanted)[:-1].max(), 5e-4)

    def test_decay_by_backward_integration(self):
        for wanted in (0.2, 0.3, 0.4):
            room = small_room(reflection=reflections_for_decay((4.0, 5.0, 2.6), wanted, (1, 1.3, 0.8, 1, 1.2, 0.9), 20))
            h, _ = self.response(room)
            for centre_hz in (500.0, 1000.0, 2000.0, 4000.0):
                target = float(room.decay_time_s(centre_hz)[0])
                self.assertAlmostEqual(decay_time(h, centre_hz, -20.0, -50.0) / target, 1.0, delta=0.12)
                self.assertAlmostEqual(decay_time(h, centre_hz) / target, 1.0, delta=0.35)
            self.assertLess(decay_time(h, 8000.0, -20.0, -50.0), decay_time(h, 1000.0, -20.0, -50.0))

    def test_tail_continues_the_images_without_a_step(self):
        steps = []
        for seed in range(6):
            h, _ = self.response(small_room(diffuse_seed=seed))
            band = signal.sosfiltfilt(signal.butter(3, (400, 4000), "bandpass", fs=RATE, output="sos"), h)
            t = np.arange(len(h)) / RATE
            level = lambda a, b: 10 * np.log10(np.mean(band[(t > a) & (t < b)] ** 2))
            steps.append(level(0.08, 0.1) - level(0.03, 0.05) + 60 * 0.05 / 0.3)
        self.assertAlmostEqual(float(np.mean(steps)), 0.0, delta=1.5)


class Clock(unittest.TestCase):
    """The resampler against the closed form of what it resamples."""

    def largest_error_db(self, wave, ratio: float, start: float, count: int, first: float, seconds: float = 3.0):
        t = np.arange(int(seconds * RATE)) / RATE
        ends = np.sin(0.5 * np.pi * np.clip(np.minimum(t, seconds - t) / 0.15, 0.0, 1.0)) ** 4   # no clicks at the ends
        out = evaluate_between_samples(wave(t) * ends, start, ratio, count)
        at = (start + ratio * np.arange(count)) / RATE
        inside = (at > first) & (at < seconds - first)
        return float(decibels(np.abs(out - wave(at))[inside].max()))

    def test_sine_under_drift(self):
        for f_hz in (20.0, 1000.0, 15000.0, 20000.0, 21500.0):
            for ppm in (-200.0, 37.0, 200.0):
                wave = lambda t: np.sin(2 * np.pi * f_hz * t + 0.3)
                error = self.largest_error_db(wave, 1.0 / (1.0 + ppm * 1e-6), -1234.56, 140000, 0.2)
                self.assertLess(error, -130.0, (f_hz, ppm))

    def test_sine_at_other_rates(self):
        for rate in (44100, 88200, 96000, 192000):
            for f_hz in (50.0, 5000.0, 19000.0, 20000.0):
                wave = lambda t: np.sin(2 * np.pi * f_hz * t)
                step = RATE / (rate * (1 + 150e-6))
                self.assertLess(self.largest_error_db(wave, step, 321.25, int(2.8 * rate), 0.2), -130.0, (rate, f_hz))

    def test_sweep_with_silence_around_it(self):
        seconds = 2.0
        rate = seconds / np.log(20000.0 / 20.0)

        def wave(t):
            u = np.clip(t - 0.5, 0.0, seconds)
            fade = np.sin(0.5 * np.pi * np.clip(np.minimum(u, seconds - u) / 0.05, 0.0, 1.0)) ** 4
            return fade * np.sin(2 * np.pi * 20.0 * rate * np.expm1(u / rate))

        self.assertLess(self.largest_error_db(wave, 1 / (1 + 150e-6), -300.7, 150000, -1.0), -110.0)
        self.assertLess(self.largest_error_db(wave, RATE / 44100 / (1 - 150e-6), 100.2, 130000, 0.0), -110.0)

    def test_what_the_new_rate_cannot_hold_is_gone(self):
        t = np.arange(3 * RATE) / RATE
        out = evaluate_between_samples(np.sin(2 * np.pi * 22800.0 * t), 0.0, RATE / 44100, 3 * 44100)
        self.assertLess(decibels(np.abs(out[10000:-10000]).max()), -100.0)

    def test_two_channels_in_one_complex_signal(self):
        x = np.random.default_rng(3).standard_normal((2, 60000))
        x = signal.sosfiltfilt(signal.butter(8, 18000, fs=RATE, output="sos"), x) * signal.windows.tukey(60000, 0.2)
        both = evaluate_between_samples(x[0] + 1j * x[1], 5.5, 1.0001, 50000)
        np.testing.assert_allclose(both.real, evaluate_between_samples(x[0], 5.5, 1.0001, 50000), atol=1e-10)
        np.testing.assert_allclose(both.imag, evaluate_between_samples(x[1], 5.5, 1.0001, 50000), atol=1e-10)

    def test_polyphase_resampling_of_scipy_agrees(self):
        x = signal.sosfiltfilt(signal.butter(8, 9000, fs=RATE, output="sos"),
                               np.random.default_rng(4).standard_normal(40000)) * signal.windows.tukey(40000, 0.5)
        ours = evaluate_between_samples(x, 0.0, 0.5, 80000)
        theirs = signal.resample(x, 80000)
        self.assertLess(decibels(np.abs(ours - theirs).max()), -80.0)


class Recording(unittest.TestCase):
    """Noise, start, faults of the recorder."""

    def setUp(self):
        self.mic = np.zeros(RATE)
        self.mic[10000] = 0.5
        t = np.arange(20000) / RATE
        self.mic[20000:40000] = 0.3 * np.sin(2 * np.pi * 700 * t)
        self.playing = [(20000 / RATE, 40000 / RATE)]

    def record(self, settings: Recorder, noise: Noise = Noise(), events=()) -> np.ndarray:
        loopback = self.mic if settings.loopback else None
        return recording.record(self.mic, loopback, RATE, settings, noise, events, self.playing, 1.0, 0.3)[0]

    def test_late_and_early(self):
        for start_s, place in ((0.1, 5200), (-0.25, 22000), (0.0, 10000)):
            samples = self.record(Recorder(start_s=start_s))
            self.assertAlmostEqual(samples[place, 0], 0.5, places=12)
            self.assertEqual(len(samples), round((1.3 - start_s) * RATE))

    def test_a_fast_clock_takes_more_samples(self):
        self.mic = np.zeros(RATE)
        self.mic[39000:41000] = signal.windows.gaussian(2000, 30.0)       # centred on sample 39999.5
        settings = Recorder(sample_rate_hz=44100, clock_error_ppm=150.0, start_s=-0.4)
        samples = self.record(settings)[:, 0]
        centre = np.sum(np.arange(len(samples)) * samples) / np.sum(samples)
        self.assertAlmostEqual(centre, (39999.5 / RATE + 0.4) * 44100 * (1 + 150e-6), places=4)
        self.assertEqual(len(samples), round((1.3 + 0.4) * 44100 * (1 + 150e-6)))

    def test_wanted_signal_to_noise(self):
        clean = self.record(Recorder())
        noise = self.record(Recorder(), Noise(signal_to_noise_db=45.0)) - clean
        ratio = 20 * np.log10(recording.rms(clean[20000:40000]) / recording.rms(noise))
        self.assertAlmostEqual(ratio, 45.0, delta=0.1)

    def test_levels_of_noise(self):
        for made in (Noise(white_dbfs=-58.0), Noise(hum_dbfs=-58.0), Noise(rumble_dbfs=-58.0)):
            noise = self.record(Recorder(), made) - self.record(Recorder())
            self.assertAlmostEqual(20 * np.log10(recording.rms(noise)), -58.0, delta=0.2)

    def test_rumble_falls_with_the_square_of_frequency(self):
        x = recording.rumble(60 * RATE, RATE, np.random.default_rng(1))
        f, power = signal.welch(x, RATE, nperseg=1 << 16)
        at = lambda hz: np.mean(power[(f > hz * 0.9) & (f < hz * 1.1)])
        self.assertAlmostEqual(10 * np.log10(at(25) / at(100)), 12.0, delta=0.7)
        self.assertLess(10 * np.log10(at(400) / at(100)), -40.0)

    def test_loopback_and_swapped_channels(self):
        samples = self.record(Recorder(loopback=True, loopback_gain_db=-12.0, mic_gain_db=6.0))
        self.assertAlmostEqual(samples[10000, 1], 0.5 * 10 ** -0.6, delta=1e-4)
        self.assertAlmostEqual(samples[10000, 0], 0.5 * 10 ** 0.3, places=9)
        swapped = self.record(Recorder(loopback=True, loopback_gain_db=-12.0, mic_gain_db=6.0, channels_swapped=True))
        np.testing.assert_array_equal(swapped, samples[:, ::-1])

    def test_clipping_below_full_scale(self):
        samples = self.record(Recorder(clip_fraction=0.8, clip_at_dbfs=-6.0))[:, 0]
        top = 10 ** -0.3
        self.assertAlmostEqual(samples.max(), top, places=12)
        self.assertGreater(int(np.sum(samples == samples.max())), 1000)
        untouched = self.record(Recorder())[:, 0]
        small = np.abs(untouched) < 0.2
        np.testing.assert_allclose(samples[small], untouched[small] * top / 0.24, atol=1e-12)

    def test_dropouts(self):
        x = np.arange(100.0)[:, None]
        self.assertEqual(apply_dropout(x, "zeros", 50, 10)[[49, 50, 59, 60], 0].tolist(), [49, 0, 0, 60])
        lost = apply_dropout(x, "lost", 50, 10)
        self.assertEqual((len(lost), lost[49, 0], lost[50, 0]), (90, 49, 60))
        self.assertEqual(apply_dropout(x, "repeated", 50, 10)[[49, 50, 59, 60], 0].tolist(), [49, 40, 49, 60])
        inserted = apply_dropout(x, "inserted", 50, 10)
        self.assertEqual((len(inserted), inserted[50, 0], inserted[60, 0]), (110, 40, 50))

    def test_events_have_their_peak_and_their_character(self):
        generator = np.random.default_rng(5)
        low = lambda x: np.sum(signal.sosfilt(signal.butter(4, 120, fs=RATE, output="sos"), x) ** 2) / np.sum(x ** 2)
        for kind, least, most in (("slam", 0.3, 1.0), ("voice", 0.0, 0.1), ("lorry", 0.9, 1.01)):
            x = recording.event_signal(kind, RATE, generator)
            self.assertAlmostEqual(np.abs(x).max(), 1.0)
            self.assertTrue(least <= low(x) <= most, (kind, low(x)))

    def test_processing_by_the_operating_system(self):
        t = np.arange(4 * RATE) / RATE
        x = np.where(t < 2.0, 0.4, 0.02) * np.sin(2 * np.pi * 500 * t)
        levelled, gated = recording.automatic_gain(x, RATE), recording.noise_gate(x, RATE)
        at = lambda y, a, b: 20 * np.log10(recording.rms(y[int(a * RATE):int(b * RATE)]))
        self.assertAlmostEqual(at(x, 1.5, 1.9) - at(x, 3.5, 3.9), 26.0, delta=0.1)
        self.assertLess(at(levelled, 1.5, 1.9) - at(levelled, 3.7, 3.9), 18.0)
        self.assertGreater(at(gated, 1.5, 1.9) - at(gated, 3.5, 3.9), 50.0)

    def test_short_silent_and_not_a_number(self):
        self.assertEqual(len(self.record(Recorder(cut_short=0.5))), RATE // 2)
        self.assertEqual(np.abs(self.record(Recorder(mic_silent=True))).max(), 0.0)
        self.assertEqual(int(np.isnan(self.record(Recorder(nan_at=0.5))).sum()), 16)


class WholeChain(TemporaryDirectory):
    """Stimulus in, recording out, truth beside it."""

    speakers = (Speaker("L", 1, "main", (-0.9, 1.4, 0.0), TwoWay("LR2", 2500.0), gain_db=-1.0),
                Speaker("R", 2, "main", (1.0, 1.5, 0.1), TwoWay("LR4", 1800.0), inverted=True, extra_delay_ms=1.0),
                Speaker("LFE", 4, "sub", (0.5, 1.5, -0.9), Subwoofer(internal_delay_ms=3.0), gain_db=6.0))

    def setUp(self):
        super().setUp()
        self.stimulus = self.directory / "stimulus.wav"
        simulator.write_test_stimulus(self.stimulus, {1: (50, 20000), 2: (50, 20000), 4: (20, 250)}, seconds=0.6,
                                      pause_s=0.7)

    def simulate(self, scene: Scene) -> tuple[simulator.Truth, np.ndarray]:
        path = self.directory / "recording.wav"
        truth = simulator.simulate(scene, self.stimulus, [path])
        wav = open_wav(path)
        return truth, np.stack([wav.channel(k) for k in range(wav.channels)], axis=1)

    def test_recording_is_the_plain_convolution(self):
        quiet = Recorder(latency_s=480 / RATE, sample_format="float32", extra_end_s=0.0)
        truth, samples = self.simulate(Scene(small_room(), self.speakers, (quiet,)))
        wav = open_wav(self.stimulus)
        wanted = np.zeros(wav.frames)
        for label, output in (("L", 1), ("R", 2), ("LFE", 4)):
            h = fft.irfft(truth.transfer[label][0], simulator.grid_size(RATE))
            wanted[480:] += signal.oaconvolve(wav.channel(output - 1), h)[:wav.frames - 480]
        self.assertLess(decibels(np.abs(samples[:, 0] - wanted).max()), -115.0)

    def test_arrival_in_a_dead_room_is_path_and_delays(self):
        truth, _ = self.simulate(Scene(dead_room(), self.speakers))
        for label, delay_ms in (("L", 0.0), ("R", 1.0), ("LFE", 3.0)):
            spot = truth.speakers[label]["positions"][0]
            model = next(s for s in self.speakers if s.label == label).model
            place = truth.speakers[label]["position_m"]
            self.assertAlmostEqual(spot["arrival_ms"], 1e3 * np.linalg.norm(place) / 343.2 + delay_ms, places=9)
            f = truth.frequency_hz[10:10000]
            bare = truth.transfer[label][0][10:10000] / model.on_axis(f)     # what is left is a pure delay
            slope = -np.gradient(np.unwrap(np.angle(bare)), 2 * np.pi * f) * 1e3
            self.assertAlmostEqual(float(np.median(slope)), spot["arrival_ms"], places=4)

    def test_level_polarity_and_silence(self):
        speakers = self.speakers[:2] + (self.speakers[2].changed(silent=True),)
        truth, samples = self.simulate(Scene(dead_room(), speakers))
        self.assertEqual([truth.speakers[k]["polarity"] for k in ("L", "R")], ["normal", "inverted"])
        self.assertEqual([truth.speakers[k]["silent"] for k in ("L", "R", "LFE")], [False, False, True])
        self.assertIsNone(truth.speakers["LFE"]["positions"][0]["level_db"])
        distance = truth.speakers["L"]["positions"][0]["distance_m"]
        level = truth.speakers["L"]["positions"][0]["level_db"]
        self.assertAlmostEqual(level, -1.0 - 20 * np.log10(distance), delta=0.1)
        self.assertLess(np.abs(samples[int(3.4 * RATE):]).max(), 1e-5)

    def test_level_is_what_pink_noise_would_show(self):
        truth, _ = self.simulate(Scene(small_room(), self.speakers))
        f = truth.frequency_hz
        low, high = (np.clip(f + half, 500, 2000) for half in (-f[1] / 2, f[1] / 2))  # part of each bin that is inside
        pink = np.sqrt(np.log(high / low))
        phase = np.exp(2j * np.pi * np.random.default_rng(1).random(len(f)))
        played, heard = fft.irfft(pink * phase), fft.irfft(pink * phase * truth.transfer["L"][0])
        shown = 20 * np.log10(recording.rms(heard) / recording.rms(played))
        self.assertAlmostEqual(truth.speakers["L"]["positions"][0]["level_db"], shown, places=6)

    def test_crossed_and_doubled_wires(self):
        straight, _ = self.simulate(Scene(small_room(), self.speakers))
        crossed, _ = self.simulate(Scene(small_room(), self.speakers, wires=((1, "R"), (2, "L"), (4, "LFE"))))
        np.testing.assert_array_equal(crossed.transfer["L"], straight.transfer["R"])
        self.assertEqual(crossed.speakers["L"]["polarity"], "inverted")
        self.assertEqual(crossed.speakers["L"]["positions"][0]["arrival_ms"],
                         straight.speakers["R"]["positions"][0]["arrival_ms"])
        wires = ((1, "L"), (1, "R"), (2, "R"), (4, "LFE"))
        doubled, _ = self.simulate(Scene(small_room(), self.speakers, wires=wires))
        np.testing.assert_allclose(doubled.transfer["L"], straight.transfer["L"] + straight.transfer["R"])

    def test_disturbances_are_placed_by_speaker(self):
        scene = Scene(small_room(), self.speakers, disturbances=(Disturbance("slam", "R", 0.5, 0.0),))
        truth, samples = self.simulate(scene)
        self.assertIn("R", truth.facts["touched"][0])
        self.assertNotIn("LFE", truth.facts["touched"][0])
        clean = self.simulate(replace(scene, disturbances=()))[1]
        difference = np.abs(samples - clean)[:, 0] > 1e-3
        begin, end = truth.speakers["R"]["sweep_s"][0]
        self.assertAlmostEqual(np.flatnonzero(difference)[0] / RATE, 0.5 * (begin + end) + 0.012, delta=0.01)

    def test_microphone_response_colours_the_recording_but_not_the_truth(self):
        scene = Scene(dead_room(), self.speakers[:1], (Recorder(sample_format="float32"),))
        flat_truth, flat = self.simulate(scene)
        truth, coloured = self.simulate(replace(scene, mic_response=((10.0, -6.0), (24000.0, -6.0))))
        np.testing.assert_allclose(coloured, flat * 10 ** -0.3, atol=1e-6)
        np.testing.assert_array_equal(truth.transfer["L"], flat_truth.transfer["L"])

    def test_loopback_is_the_delayed_sum_of_all_outputs(self):
        settings = Recorder(latency_s=960 / RATE, loopback=True, loopback_gain_db=0.0, sample_format="float32")
        _, samples = self.simulate(Scene(dead_room(), self.speakers, (settings,)))
        wav = open_wav(self.stimulus)
        total = sum(wav.channel(k) for k in range(wav.channels))
        self.assertLess(np.abs(samples[960:960 + wav.frames, 1] - total).max(), 1e-4)


class Rooms(unittest.TestCase):
    """The random trials."""

    def test_one_seed_one_room(self):
        for case in CASES:
            again, other = make_trial(case, 7, 3), make_trial(case, 8, 3)
            self.assertEqual(make_trial(case, 7, 3), again, case)
            self.assertNotEqual(other.scene, again.scene, case)

    def test_rooms_and_places_are_as_promised(self):
        for index in range(10):
            trial = make_trial("layouts", 2, index)
            room = trial.scene.room
            for size, least, most in zip(room.size_m, (3.0, 3.5, 2.3), (5.5, 7.0, 3.0)):
                self.assertTrue(least <= size <= most)
            self.assertTrue(0.199 < float(room.decay_time_s(1000.0)[0]) < 0.401)
            for s in trial.scene.speakers:
                self.assertGreater(clearance_m(room, s.position_m), 0.19)
                distance = np.linalg.norm(s.position_m)
                if s.kind == "main":
                    self.assertTrue(1.5 <= distance <= 2.2)
                angles = LAYOUTS.get(trial.notes["layout"], {}).get(s.label)
                if angles:
                    cosine = direction(*angles) @ np.array(s.position_m) / distance
                    self.assertGreater(cosine, np.cos(np.radians(3.0)))

    def test_azimuth_is_positive_to_the_left(self):
        np.testing.assert_allclose(direction(90, 0), (-1, 0, 0), atol=1e-12)
        np.testing.assert_allclose(direction(0, 30), (0, np.cos(np.pi / 6), 0.5), atol=1e-12)

    def test_every_fault_can_be_made(self):
        for fault in ALL_FAULTS:
            trial = make_trial("faults", 1, 0, (fault,))
            self.assertEqual(len(trial.expected), 1, fault)
            self.assertEqual(len(trial.faults), 1, fault)

    def test_rig_is_toml(self):
        import tomllib
        for index in range(5):
            trial = make_trial("layouts", 1, index)
            rig = tomllib.loads(trial.rig_toml)
            self.assertEqual([s["label"] for s in rig["speaker"]], [s.label for s in trial.scene.speakers])
            self.assertEqual("bass_management" in rig, trial.bass_managed)


def perfect_answer(trial, truth: simulator.Truth) -> dict:
    """A calibration.json without any error beyond rounding."""
    live = [k for k, fact in truth.speakers.items() if not fact["silent"]]
    first = {k: truth.speakers[k]["positions"][0] for k in live}
    latest = max(first[k]["arrival_ms"] for k in live)
    mains = [k for k in live if truth.speakers[k]["kind"] == "main"]
    floor = min(first[k]["level_db"] - (0.0 if k in mains or trial.bass_managed else 10.0) for k in live)
    speakers, findings = [], []
    for label, fact in truth.speakers.items():
        spots = [{"arrival_ms": s["arrival_ms"] + 4.2, "arrival_uncertainty_ms": 0.002, "level_db": s["level_db"],
                  "distance_m": None} for s in fact["positions"]]
        lift = 0.0 if label in mains or trial.bass_managed else 10.0
        settings = None if fact["silent"] else {
            "delay_ms": round(latest - first[label]["arrival_ms"], 2), "invert": fact["polarity"] == "inverted",
            "trim_db": round(floor + lift - first[label]["level_db"], 1), "equaliser": []}
        speakers.append({"label": label, "status": "silent" if fact["silent"] else "ok",
                         "measured": {"polarity": fact["polarity"], "positions": spots}, "settings": settings})
        if fact["silent"]:
            findings.append({"severity": "warn", "code": "silent-output", "speaker": label, "message": ""})
    return {"speakers": speakers, "findings": findings, "time_reference": "earliest arrival", "bass_management": None}


class Judge(unittest.TestCase):
    """evaluate.py with answers whose faults are known."""

    @staticmethod
    def truth(trial) -> simulator.Truth:
        truth = simulator.truth_of(trial.scene, RATE)
        truth.facts.update(touched=[[] for _ in trial.scene.recorders], clipped=[[] for _ in trial.scene.recorders])
        return truth

    def setUp(self):
        self.trial = make_trial("layouts", 3, 1)
        self.truth_ = self.truth(self.trial)
        self.answer = perfect_answer(self.trial, self.truth_)

    def judge(self, status: int = 0, trial=None) -> dict:
        return evaluate.judge(trial or self.trial, self.truth_, self.answer, status)

    def said(self, label: str) -> dict:
        return next(s for s in self.answer["speakers"] if s["label"] == label)

    def test_a_perfect_answer(self):
        result = self.judge()
        self.assertLess(result["arrival_error_ms"], 1e-9)
        self.assertLess(result["level_error_db"], 1e-9)
        self.assertLess(result["delay_error_ms"], 0.0101)
        self.assertLess(result["trim_error_db"], 0.101)
        self.assertLess(result["sub_trim_error_db"], 0.101)
        for key in evaluate.COUNTED:
            self.assertEqual(result.get(key, []), [], key)
        self.assertFalse(result["bad_status"])

    def test_errors_are_seen(self):
        mains = sum(s.kind == "main" for s in self.trial.scene.speakers)
        share = 1 - 1 / mains
        self.said("R")["measured"]["positions"][0]["arrival_ms"] += 0.1
        self.said("R")["measured"]["positions"][0]["level_db"] -= 0.5
        self.said("C")["measured"]["polarity"] = "inverted"
        self.said("L")["settings"]["delay_ms"] += 1.0
        self.said("L")["settings"]["trim_db"] -= 3.0
        self.answer["findings"].append({"severity": "warn", "code": "wrong-place", "speaker": "L", "message": ""})
        result = self.judge(status=0)
        self.assertAlmostEqual(result["arrival_error_ms"], 0.1 * share)
        self.assertAlmostEqual(result["level_error_db"], 0.5 * share)
        self.assertEqual(result["polarity_wrong"], ["C"])
        self.assertAlmostEqual(result["delay_error_ms"], share, delta=0.01)
        self.assertAlmostEqual(result["trim_error_db"], 3 * share, delta=0.1)
        self.assertEqual(result["invented"], ["wrong-place(L)"])
        self.assertTrue(result["bad_status"])

    def test_expected_findings(self):
        trial = replace(self.trial, expected=(Expected("polarity", "inverted-polarity", ("L",)),))
        self.assertEqual(self.judge(trial=trial)["missed"], ["polarity"])
        finding = {"severity": "warn", "code": "inverted-polarity", "speaker": "R", "message": "R is inverted"}
        self.answer["findings"] = [finding]
        wrong = self.judge(1, trial)
        self.assertEqual((wrong["missed"], wrong["misnamed"]), ([], ["polarity"]))
        self.assertEqual(wrong["invented"], ["inverted-polarity(R)"])
        finding.update(speaker=None, message="Speaker L, seen against its fellows, is inverted.")
        right = self.judge(1, trial)
        self.assertEqual((right["missed"], right["misnamed"], right["invented"]), ([], [], []))

    def test_silence_both_ways(self):
        self.said("C")["status"] = "silent"
        self.assertEqual(self.judge()["wrong_silence"], ["C"])
        silent = replace(self.trial, scene=replace(self.trial.scene, speakers=tuple(
            s.changed(silent=True) if s.label == "R" else s for s in self.trial.scene.speakers)),
            expected=(Expected("silent", "silent-output", ("R",)),), spoiled=("R",))
        self.truth_ = self.truth(silent)
        self.answer = perfect_answer(silent, self.truth_)
        self.assertEqual((self.judge(1, silent)["missed"], self.judge(1, silent)["wrong_silence"]), ([], []))
        self.said("R")["status"] = "ok"
        self.assertEqual(self.judge(1, silent)["wrong_silence"], ["R"])

    def test_no_answer(self):
        self.answer = None
        self.assertIn("failed", self.judge(2))
        refusable = replace(self.trial, expected=(Expected("nan", "", refusal=True),))
        self.assertNotIn("failed", self.judge(2, refusable))
        self.assertEqual(self.judge(2, refusable)["missed"], [])

    def test_confidently_wrong(self):
        self.truth_.facts["touched"] = [["R"]]
        self.assertEqual(self.judge()["confident"], [])
        self.said("R")["measured"]["positions"][0]["arrival_ms"] += 3.0
        self.assertEqual(self.judge()["confident"], ["R"])
        self.assertLess(self.judge()["arrival_error_ms"], 1e-9)
        self.said("R")["status"] = "unreliable"
        self.assertEqual(self.judge()["confident"], [])

    def test_equaliser_against_the_cookbook(self):
        f = np.array([0.001, 1000.0, 23999.9])
        shapes = {"peak": [0.0, -6.0, 0.0], "low_shelf": [-6.0, -3.0, 0.0], "high_shelf": [0.0, -3.0, -6.0]}
        for shape, wanted in shapes.items():
            item = {"shape": shape, "frequency_hz": 1000.0, "gain_db": -6.0, "q": 0.8}
            np.testing.assert_allclose(decibels(evaluate.equaliser_response([item], f)), wanted, atol=1e-3)

    def test_bass_score(self):
        trial = make_trial("bass", 1, 0)
        truth = self.truth(trial)
        answer = perfect_answer(trial, truth)
        given = {s["label"]: s for s in answer["speakers"]}
        mains = [s.label for s in trial.scene.speakers if s.kind == "main"]

        def score(answer, mains):
            return bass_score.score(truth, answer, mains, ["LFE"], trial.notes, evaluate.equaliser_response)

        before = score(given, mains)
        self.assertGreaterEqual(before["bass_loss_db"], 0.0)
        self.assertLessEqual(before["bass_loss_db"], before["bass_stake_db"])
        self.assertAlmostEqual(before["bass_main_loss_db"], 0.0, delta=0.05)    # it is aligned by arrival
        best = None
        for delay_ms in np.arange(-15.0, 15.0, 0.5):    # hand the judge the answer it found itself
            for invert in (False, True):
                tried = {k: dict(v, settings=dict(v["settings"])) for k, v in given.items()}
                tried["LFE"]["settings"]["delay_ms"] += delay_ms
                tried["LFE"]["settings"]["invert"] = invert
                loss = score(tried, mains[:1])["bass_loss_db"]
                best = loss if best is None else min(best, loss)
            if best is not None and best < 0.02:
                break
        self.assertLess(best, 0.05)

    def test_bass_levels_and_variance(self):
        one = np.ones((1, 100), complex)
        np.testing.assert_allclose(bass_score.level_db(one + one), 20 * np.log10(2.0))
        two_places = np.array([[1.0, 1.0], [10.0, 1.0]], complex)   # 0 and 20 dB at one frequency: variance 100 dB^2
        self.assertAlmostEqual(bass_score.spatial_variance_db2(two_places), 50.0)

    def test_crossover_branches(self):
        f = np.array([20.0, 80.0, 320.0])
        for slope in bass_score.SLOPES:
            low, high = bass_score.crossover(f, 80.0, slope)
            at_crossover = -6.0206 if slope.startswith("LR") else -3.0103
            np.testing.assert_allclose(decibels(low[1]), at_crossover, atol=1e-3)
            np.testing.assert_allclose(decibels(high[1]), at_crossover, atol=1e-3)
            self.assertLess(decibels(high[0]), -2 * float(slope[2:]) + 1.0)     # two octaves below
        low, high = bass_score.crossover(f, 80.0, "LR24")
        np.testing.assert_allclose(np.abs(low + high), 1.0, atol=1e-9)


class CommandLine(TemporaryDirectory):
    """evaluate.py from end to end with the plain stand-in for the program."""

    def run_evaluate(self, *extra: str) -> tuple[int, str]:
        program = self.directory / "program"
        here = Path(__file__).resolve().parent
        program.write_text(f"#!/bin/sh\nexec {sys.executable} {here / 'baseline_program.py'} \"$@\"\n")
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
        out = io.StringIO()
        with redirect_stdout(out), redirect_stderr(io.StringIO()):
            status = evaluate.main(["--program", str(program), *extra])
        return status, out.getvalue()

    def test_limits_kept_and_broken(self):
        status, text = self.run_evaluate("--case", "layouts", "--rooms", "1", "--max-arrival-error-ms", "0.01",
                                         "--max-delay-error-ms", "0.02", "--max-level-error-db", "0.1",
                                         "--max-failures", "0", "--max-polarity-errors", "0")
        self.assertEqual(status, 0, text)
        status, text = self.run_evaluate("--case", "layouts", "--rooms", "1", "--max-delay-error-ms", "0.0000001")
        self.assertEqual(status, 1)
        self.assertIn("BROKEN --max-delay-error-ms", text)

    def test_a_silent_output_is_looked_for(self):
        status, text = self.run_evaluate("--case", "faults", "--fault", "silent", "--rooms", "1", "--max-missed", "0",
                                         "--max-wrong-silence", "0", "--max-misnamed", "0")
        self.assertEqual(status, 0, text)

    def test_a_program_that_is_not_there(self):
        with redirect_stderr(io.StringIO()) as errors:
            self.assertEqual(evaluate.main(["--program", str(self.directory / "nothing")]), 2)
        self.assertIn("no such program", errors.getvalue())


if __name__ == "__main__":
    unittest.main()
