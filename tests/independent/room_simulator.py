#!/usr/bin/python3
"""Plays a stimulus WAV through a ring of loudspeakers in a room and writes what a recorder would have made of it.

Written from the outward contract alone, to judge the program from outside: it shares no code with it. The truth about
every arrival, level and polarity comes with the recording.

    room_simulator.py stimulus --outputs 12 --out stimulus.wav          a plain sweep per output, to try things with
    room_simulator.py play --case identical --seed 1 --room 0 --stimulus stimulus.wav --out DIR
                                              rig.toml, recording1.wav ... and truth.json of one of evaluate.py's rooms

How a room is made up: exact direct sound; image sources with absorbent, treble-damping walls for the first 80 ms
(250 ms for subwoofers); then a diffuse tail of the right decay per octave. Speakers are analogue models. All of it is done per
sweep in the frequency domain, so silence costs nothing.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np
from scipy import fft

import recorder as recording
from recorder import Dropout, Event, Noise, Recorder
from shoebox import Room, room_response
from speaker_models import Speaker, distort
from wav_files import WavFile, find_active_segments, open_wav, write_wav

MAIN_BAND_HZ = (500.0, 2000.0)
SUB_BAND_HZ = (30.0, 80.0)
HEADROOM_DB = 3.0       # the microphone is turned down, at all positions alike, if a sweep would peak above -3 dBFS


@dataclass(frozen=True)
class Disturbance:
    """An event or dropout placed by what plays at that time, so that it does not depend on the length of sweeps.

    kind: as in recorder.Event or recorder.Dropout; during: label of the speaker whose sweep it falls into; fraction:
    where in that sweep, 0 to 1; amount: peak in dB re the sweeps' peak, or number of samples; position: index of the
    recording.
    """

    kind: str
    during: str
    fraction: float
    amount: float
    position: int = 0

    @property
    def is_event(self) -> bool:
        """True for a sound, false for a gap in the data."""
        return self.kind in recording.EVENT_SECONDS


@dataclass(frozen=True)
class Scene:
    """Everything that decides what the recordings hold, apart from the stimulus."""

    room: Room
    speakers: tuple[Speaker, ...]
    recorders: tuple[Recorder, ...] = (Recorder(),)
    mic_offsets_m: tuple[tuple[float, float, float], ...] = ((0.0, 0.0, 0.0),)
    noise: Noise = Noise()
    disturbances: tuple[Disturbance, ...] = ()
    wires: tuple[tuple[int, str], ...] | None = None     # (output, label) pairs; None = every speaker its own output
    mic_response: tuple[tuple[float, float], ...] = ()   # (frequency_hz, gain_db), straight lines over log frequency
    silent_at: tuple[tuple[str, int], ...] = ()          # (label, position): switched off while this one was recorded
    typed_in: dict[str, dict] = field(default_factory=dict)   # label: settings as in calibration.json, active on its output

    def speakers_on(self, output: int) -> list[int]:
        """Indices of the speakers that an interface output (counted from 1) really feeds."""
        if self.wires is None:
            return [i for i, s in enumerate(self.speakers) if s.output == output]
        return [i for i, s in enumerate(self.speakers) if (output, s.label) in self.wires]


@dataclass
class Truth:
    """What is true about each rig entry, seen from its output, at each microphone position.

    `transfer[label]` is the transfer function (positions, bins) on `frequency_hz`, from the file's full scale to the
    microphone, without the recorder's latency, gain and start; the microphone's own response is not in it.
    """

    frequency_hz: np.ndarray
    transfer: dict[str, np.ndarray]
    speakers: dict[str, dict]
    facts: dict = field(default_factory=dict)

    def as_json(self) -> str:
        """Everything but the transfer functions."""
        return json.dumps({"facts": self.facts, "speakers": list(self.speakers.values())}, indent=1)


def pink_level_db(transfer: np.ndarray, frequency_hz: np.ndarray, band_hz: tuple[float, float]) -> float | None:
    """Level of pink noise in a band: 10 log10 of the mean of |H|^2 weighted with 1/f; None when nothing sounds.

    A bin stands for half a bin to each side of it; of those at the band's edges only the part inside counts, as a
    mode of the room at 30 Hz is no rare thing.
    """
    half_bin_hz = 0.5 * (frequency_hz[1] - frequency_hz[0])
    low = np.clip(frequency_hz - half_bin_hz, *band_hz)
    high = np.clip(frequency_hz + half_bin_hz, *band_hz)
    inside = high > low
    weight = np.log(high[inside] / low[inside])
    power = float(np.sum(np.abs(transfer[inside]) ** 2 * weight) / weight.sum())
    return 10.0 * np.log10(power) if power > 1e-12 else None


def level_band(kind: str) -> tuple[float, float]:
    """The contract's band for the level of a main or a sub, Hz."""
    return SUB_BAND_HZ if kind == "sub" else MAIN_BAND_HZ


def grid_size(sample_rate_hz: float) -> int:
    """Length of impulse responses: a power of two of at least 1.3 s."""
    return 1 << int(np.ceil(np.log2(1.3 * sample_rate_hz)))


def converter_filter(f_hz: np.ndarray) -> np.ndarray:
    """Linear-phase band limit of the converters: flat to 0.9 of the Nyquist frequency, raised cosine to nothing.

    f_hz ends at the Nyquist frequency. It also keeps band-limited responses short enough for the grid.
    """
    return 0.5 + 0.5 * np.cos(np.pi * np.clip((f_hz / f_hz[-1] - 0.9) / 0.1, 0.0, 1.0))


def speaker_to_mic(scene: Scene, index: int, position: int, f_hz: np.ndarray, sample_rate_hz: float
                   ) -> tuple[np.ndarray, float]:
    """Transfer function of one speaker at one microphone position, and the distance in metres."""
    speaker = scene.speakers[index]
    response, distance = room_response(scene.room, speaker.position_m, scene.mic_offsets_m[position],
                                       speaker.model.rear(f_hz), f_hz, sample_rate_hz,
                                       low_frequency=speaker.kind == "sub", stream=100 * index + position)
    return response * speaker.on_axis(f_hz) * converter_filter(f_hz), distance


def truth_of(scene: Scene, sample_rate_hz: float) -> Truth:
    """Transfer functions, arrivals, levels and polarities of a scene, before anything is played."""
    f = fft.rfftfreq(grid_size(sample_rate_hz), 1.0 / sample_rate_hz)
    positions = range(len(scene.mic_offsets_m))
    wanted = sorted({i for s in scene.speakers for i in scene.speakers_on(s.output)})
    pairs = {(i, p): speaker_to_mic(scene, i, p, f, sample_rate_hz) for i in wanted for p in positions}
    truth = Truth(f, {}, {})
    for entry in scene.speakers:
        heard = scene.speakers_on(entry.output)
        transfer = np.array([sum((pairs[i, p][0] for i in heard), np.zeros(len(f), complex)) for p in positions])
        sounding = [i for i in heard if not scene.speakers[i].silent]
        own = scene.speakers[sounding[0] if sounding else scene.speakers.index(entry)]
        spots = []
        for p in positions:
            distance = float(np.linalg.norm(np.subtract(own.position_m, scene.mic_offsets_m[p])))
            level = pink_level_db(transfer[p], f, level_band(entry.kind))
            spots.append({"arrival_ms": 1e3 * distance / scene.room.speed_m_s + own.delay_ms,
                          "distance_m": distance, "level_db": level})
        truth.transfer[entry.label] = transfer
        truth.speakers[entry.label] = {
            "label": entry.label, "output": entry.output, "kind": entry.kind, "silent": not sounding,
            "polarity": "inverted" if own.inverted else "normal", "position_m": list(own.position_m),
            "positions": spots}
    truth.facts = {"speed_of_sound_m_s": scene.room.speed_m_s, "room_size_m": list(scene.room.size_m),
                   "decay_time_1khz_s": float(scene.room.decay_time_s(1000.0)[0]),
                   "decay_time_8khz_s": float(scene.room.decay_time_s(8000.0)[0]),
                   "mic_offsets_m": [list(offset) for offset in scene.mic_offsets_m]}
    return truth


def mic_filter(scene: Scene, f_hz: np.ndarray) -> np.ndarray | float:
    """The microphone's own response, zero phase, on a frequency grid."""
    if not scene.mic_response:
        return 1.0
    points = np.array(scene.mic_response)
    gain_db = np.interp(np.log(np.maximum(f_hz, 1e-3)), np.log(points[:, 0]), points[:, 1])
    return 10.0 ** (gain_db / 20.0)


def equaliser_response(filters: list[dict], f_hz: np.ndarray, sample_rate_hz: float = 48000.0) -> np.ndarray:
    """Response of peak and shelf filters (W3C Audio EQ Cookbook, shelves with Q)."""
    z = np.exp(-2j * np.pi * np.minimum(f_hz, sample_rate_hz / 2) / sample_rate_hz)
    total = np.ones(len(f_hz), complex)
    for item in filters or []:
        a = 10.0 ** (item["gain_db"] / 40.0)
        w = 2.0 * np.pi * item["frequency_hz"] / sample_rate_hz
        c, alpha = np.cos(w), np.sin(w) / (2.0 * item["q"])
        if item["shape"] == "peak":
            up, down = (1 + alpha * a, -2 * c, 1 - alpha * a), (1 + alpha / a, -2 * c, 1 - alpha / a)
        else:
            s = -1.0 if item["shape"] == "low_shelf" else 1.0     # the two shelves differ by the sign of the cosine
            r = 2.0 * np.sqrt(a) * alpha
            up = (a * ((a + 1) + s * (a - 1) * c + r), -2 * s * a * ((a - 1) + s * (a + 1) * c),
                  a * ((a + 1) + s * (a - 1) * c - r))
            down = ((a + 1) - s * (a - 1) * c + r, 2 * s * ((a - 1) - s * (a + 1) * c), (a + 1) - s * (a - 1) * c - r)
        total *= (up[0] + up[1] * z + up[2] * z * z) / (down[0] + down[1] * z + down[2] * z * z)
    return total


def settings_response(settings: dict, f_hz: np.ndarray, sample_rate_hz: float) -> np.ndarray:
    """What an interface does to an output: delay, trim, polarity and equaliser, as calibration.json names them."""
    sign = -1.0 if settings.get("invert") else 1.0
    gain = sign * 10.0 ** ((settings.get("trim_db") or 0.0) / 20.0)
    late = np.exp(-2j * np.pi * f_hz * 1e-3 * (settings.get("delay_ms") or 0.0))
    return gain * late * equaliser_response(settings.get("equaliser"), f_hz, sample_rate_hz)


def play(scene: Scene, stimulus: WavFile, truth: Truth) -> tuple[list[np.ndarray], np.ndarray | None]:
    """Signals at the microphone, one per position, and the electrical loopback (None when nobody records it).

    On the player's clock, latency of the respective recorder included, unit full scale. Adds to `truth` when each
    output plays (`sweep_s`, latency not included) and the peak it makes at each position.
    """
    rate = stimulus.sample_rate_hz
    f = truth.frequency_hz
    size = 2 * (len(f) - 1)
    frames = stimulus.frames + size
    latency = {r.latency_s for r in scene.recorders}
    if len(latency) != 1:
        raise ValueError("all positions share one latency")
    late = np.exp(-2j * np.pi * f * latency.pop())
    heard = [np.zeros(frames) for _ in scene.mic_offsets_m]
    loopback = np.zeros(frames) if any(r.loopback for r in scene.recorders) else None
    electrical = fft.irfft(late * converter_filter(f), size)
    active = find_active_segments(stimulus)
    for entry in scene.speakers:
        spans = active[entry.output - 1] if entry.output <= stimulus.channels else []
        fact = truth.speakers[entry.label]
        fact["sweep_s"] = [[span.start / rate, span.stop / rate] for span in spans]
        for spot in fact["positions"]:
            spot["peak"] = 0.0
        for span in spans:
            signal = stimulus.channel(entry.output - 1, span.start, span.stop - span.start)
            length = fft.next_fast_len(len(signal) + size, real=True)
            spectrum = fft.rfft(signal, length)
            where = slice(span.start, span.start + len(signal) + size - 1)
            if loopback is not None:
                loopback[where] += fft.irfft(spectrum * fft.rfft(electrical, length), length)[:len(signal) + size - 1]
            for p, spot in enumerate(fact["positions"]):
                if (entry.label, p) in scene.silent_at:
                    continue
                response = truth.transfer[entry.label][p] * late * mic_filter(scene, f)
                if entry.label in scene.typed_in:
                    response = response * settings_response(scene.typed_in[entry.label], f, rate)
                driven = _driven_spectrum(scene, entry, signal, spectrum, length)
                part = fft.irfft(driven * fft.rfft(fft.irfft(response, size), length), length)
                heard[p][where] += part[:len(signal) + size - 1]
                spot["peak"] = max(spot["peak"], float(np.abs(part).max()))
    return heard, loopback


def _driven_spectrum(scene: Scene, entry: Speaker, signal: np.ndarray, spectrum: np.ndarray, length: int) -> np.ndarray:
    """Spectrum of what the driver does with its input: distorted if the first speaker on this output distorts."""
    heard = scene.speakers_on(entry.output)
    box = scene.speakers[heard[0]] if heard else entry
    if box.second_order == 0.0 and box.third_order == 0.0:
        return spectrum
    return fft.rfft(distort(signal, box.second_order, box.third_order), length)


def _schedule(scene: Scene, truth: Truth, position: int) -> tuple[tuple[Event, ...], tuple[Dropout, ...], list[str]]:
    """Events and dropouts of one recording at real times, and the labels whose sweep or decay they touch."""
    events, gaps, touched = [], [], []
    latency = scene.recorders[position].latency_s
    for item in scene.disturbances:
        if item.position != position or not truth.speakers[item.during]["sweep_s"]:
            continue
        begin, end = truth.speakers[item.during]["sweep_s"][0]
        time_s = begin + item.fraction * (end - begin) + latency
        if item.is_event:
            events.append(Event(item.kind, time_s, item.amount))
            length = recording.EVENT_SECONDS[item.kind]
        else:
            gaps.append(Dropout(item.kind, time_s, int(item.amount)))
            length = item.amount / 48000.0
        for label, fact in truth.speakers.items():
            if any(a + latency < time_s + length and time_s < b + latency + 0.25 for a, b in fact["sweep_s"]):
                touched.append(label)
    return tuple(events), tuple(gaps), sorted(set(touched))


def simulate(scene: Scene, stimulus_path: str | Path, recording_paths: list[str | Path]) -> Truth:
    """Write one recording per microphone position and return the truth.

    truth.facts gets `touched` and `clipped`: per recording, the labels that a disturbance or clipping has touched.
    """
    stimulus = open_wav(stimulus_path)
    truth = truth_of(scene, stimulus.sample_rate_hz)
    heard, loopback = play(scene, stimulus, truth)
    playing = [(a, b) for fact in truth.speakers.values() for a, b in fact["sweep_s"]]
    truth.facts.update(touched=[], clipped=[], peak=[])
    turned_down_db = min(0.0, -HEADROOM_DB - max(20.0 * np.log10(np.abs(h).max() + 1e-9) + r.mic_gain_db
                                                 for h, r in zip(heard, scene.recorders)))
    for p, (settings, path) in enumerate(zip(scene.recorders, recording_paths)):
        settings = replace(settings, mic_gain_db=settings.mic_gain_db + turned_down_db)
        events, gaps, touched = _schedule(scene, truth, p)
        latency = settings.latency_s
        samples, threshold = recording.record(
            heard[p], loopback if settings.loopback else None, stimulus.sample_rate_hz,
            replace(settings, dropouts=settings.dropouts + gaps), replace(scene.noise, seed=scene.noise.seed + p),
            events, [(a + latency, b + latency) for a, b in playing], stimulus.duration_s,
            max(fact["positions"][p]["peak"] for fact in truth.speakers.values() if fact["kind"] == "main"))
        write_wav(path, samples, settings.sample_rate_hz, settings.sample_format)
        truth.facts["touched"].append(touched)
        truth.facts["clipped"].append([label for label, fact in truth.speakers.items()
                                       if fact["positions"][p]["peak"] > threshold])
        truth.facts["peak"].append(float(np.nanmax(np.abs(samples[:, 0]))))
    return truth


# ---- a stimulus of our own -----------------------------------------------------------------------------------------

def exponential_sweep(low_hz: float, high_hz: float, seconds: float, sample_rate_hz: float) -> np.ndarray:
    """Unit-amplitude exponential sweep with half-cosine fades of 50 ms and 5 ms.

    x(t) = sin(2 pi f1 L (exp(t/L) - 1)), L = T / ln(f2/f1): A. Farina, 108th AES Convention (2000), preprint 5093.
    """
    n = int(seconds * sample_rate_hz)
    t = np.arange(n) / sample_rate_hz
    rate = seconds / np.log(high_hz / low_hz)
    x = np.sin(2 * np.pi * low_hz * rate * np.expm1(t / rate))
    fade_in, fade_out = int(0.05 * sample_rate_hz), int(0.005 * sample_rate_hz)
    x[:fade_in] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(fade_in) / fade_in)
    x[-fade_out:] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fade_out) + 1) / fade_out)
    return x


def write_test_stimulus(path: str | Path, bands_hz: dict[int, tuple[float, float]], *, seconds: float = 4.0,
                        pause_s: float = 1.2, sample_rate_hz: int = 48000, peak_dbfs: float = -18.0) -> None:
    """One sweep per output, one after another; bands_hz maps outputs (from 1) to (low, high)."""
    step = int((seconds + pause_s) * sample_rate_hz)
    start = sample_rate_hz // 2
    samples = np.zeros((start + step * len(bands_hz), max(bands_hz)), dtype=np.float32)
    for k, (output, band_hz) in enumerate(sorted(bands_hz.items())):
        sweep = exponential_sweep(*band_hz, seconds, sample_rate_hz) * 10.0 ** (peak_dbfs / 20.0)
        samples[start + k * step:start + k * step + len(sweep), output - 1] = sweep
    write_wav(path, samples, sample_rate_hz, "float32")


def main() -> int:
    """Command line; see the top of this file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="command", required=True)
    make = commands.add_parser("stimulus", help="write a plain sweep per output")
    make.add_argument("--outputs", type=int, default=12)
    make.add_argument("--seconds", type=float, default=4.0)
    make.add_argument("--out", required=True)
    run = commands.add_parser("play", help="one of evaluate.py's rooms: rig, recordings, truth")
    run.add_argument("--case", default="identical")
    run.add_argument("--seed", type=int, default=1)
    run.add_argument("--room", type=int, default=0)
    run.add_argument("--fault", action="append", default=[], help="only with --case faults; may be repeated")
    run.add_argument("--rig-only", action="store_true", help="write rig.toml and stop")
    run.add_argument("--stimulus")
    run.add_argument("--out", required=True)
    options = parser.parse_args()
    if options.command == "stimulus":
        write_test_stimulus(options.out, {k: (40.0, 20000.0) for k in range(1, options.outputs + 1)},
                            seconds=options.seconds)
        return 0
    from random_rooms import make_trial
    trial = make_trial(options.case, options.seed, options.room, tuple(options.fault))
    directory = Path(options.out)
    directory.mkdir(parents=True, exist_ok=True)
    (directory / "rig.toml").write_text(trial.rig_toml, encoding="utf-8")
    if options.rig_only:
        return 0
    if not options.stimulus:
        parser.error("--stimulus is needed; make it from rig.toml, written with --rig-only")
    paths = [directory / f"recording{p + 1}.wav" for p in range(len(trial.scene.recorders))]
    truth = simulate(trial.scene, options.stimulus, paths)
    (directory / "truth.json").write_text(truth.as_json() + "\n", encoding="utf-8")
    print(f"{options.case}, seed {options.seed}, room {options.room}: {trial.summary}")
    print("\n".join(str(path) for path in paths))
    return 0


if __name__ == "__main__":
    sys.exit(main())
