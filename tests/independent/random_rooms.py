"""Random rooms, rigs and recordings for evaluate.py: one case, one seed and one number always give the same trial.

Angles of the layouts: ITU-R BS.2051-1 (2.0, 5.1, 7.1.4) and common practice (9.1.6); azimuth positive to the left.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, field, replace

import numpy as np

from recorder import Noise, Recorder
from room_simulator import Disturbance, Scene
from shoebox import Room, reflections_for_decay
from speaker_models import CROSSOVERS, Speaker, Subwoofer, TwoWay

LAYOUTS = {     # label: (azimuth, elevation) in degrees
    "2.0": {"L": (30, 0), "R": (-30, 0)},
    "5.1": {"L": (30, 0), "R": (-30, 0), "C": (0, 0), "LFE": None, "Ls": (110, 0), "Rs": (-110, 0)},
    "7.1.4": {"L": (30, 0), "R": (-30, 0), "C": (0, 0), "LFE": None, "Lss": (90, 0), "Rss": (-90, 0),
              "Lrs": (135, 0), "Rrs": (-135, 0), "Ltf": (45, 30), "Rtf": (-45, 30), "Ltr": (135, 30),
              "Rtr": (-135, 30)},
    "9.1.6": {"L": (30, 0), "R": (-30, 0), "C": (0, 0), "LFE": None, "Lss": (90, 0), "Rss": (-90, 0),
              "Lrs": (135, 0), "Rrs": (-135, 0), "Lw": (60, 0), "Rw": (-60, 0), "Ltf": (45, 30), "Rtf": (-45, 30),
              "Ltm": (90, 30), "Rtm": (-90, 30), "Ltr": (135, 30), "Rtr": (-135, 30)},
}
LAYOUTS["9.1.4"] = LAYOUTS["7.1.4"] | {"Lsc": (15, 0), "Rsc": (-15, 0)}      # BS.2051-1 system G
BS2051_NAMES = {"2.0": "0+2+0", "5.1": "0+5+0", "7.1.4": "4+7+0"}
CUSTOM_LAYOUT = "custom"        # the contract leaves open what a rig of no standard layout is called
CUSTOM_LABELS = ("north", "N-E", "Top 1", "desk left", "Überkopf", "8", "far_right", "Z")

RANGES = {      # where ITU-R BS.2051-1 lets them stand: azimuth low, high, elevation low, high; left side, right mirrors it
    "2.0": {"L": (30, 30, 0, 0)},
    "5.1": {"L": (30, 30, 0, 0), "C": (0, 0, 0, 0), "Ls": (100, 120, 0, 15)},
    "7.1.4": {"L": (30, 45, 0, 0), "C": (0, 0, 0, 0), "Lss": (85, 110, 0, 0), "Lrs": (120, 150, 0, 0),
              "Ltf": (30, 45, 30, 55), "Ltr": (100, 150, 30, 55)},
    "9.1.4": {"L": (30, 45, 0, 0), "C": (0, 0, 0, 0), "Lss": (85, 110, 0, 0), "Lrs": (120, 150, 0, 0),
              "Ltf": (30, 45, 30, 55), "Ltr": (100, 150, 30, 55), "Lsc": (5, 25, 0, 0)},     # 60, but inside of L
    "9.1.6": {"L": (22.5, 30, 0, 5), "C": (0, 0, 0, 5), "Lss": (90, 90, 0, 15), "Lrs": (110, 135, 0, 15),
              "Lw": (45, 60, 0, 5), "Ltf": (45, 60, 30, 45), "Ltm": (90, 90, 30, 45), "Ltr": (110, 135, 30, 45)},
}
FOUR_SPOTS_M = ((0.0, 0.0, 0.0), (0.25, 0.0, 0.0), (0.0, 0.25, 0.0), (0.0, 0.0, 0.25))
FIVE_SPOTS_M = ((0.0, 0.0, 0.0), (0.25, 0.0, 0.0), (0.0, 0.25, 0.0), (0.0, 0.0, 0.25), (-0.2, -0.2, 0.1))
FOUR_SPOTS_M = ((0.0, 0.0, 0.0), (0.25, 0.0, 0.0), (0.0, 0.25, 0.0), (0.0, 0.0, 0.25))
THREE_SPOTS_M = ((0.0, 0.0, 0.0), (0.3, 0.1, 0.0), (-0.3, -0.1, 0.05))

RIG_FAULTS = ("silent", "polarity", "swapped")
RECORDING_FAULTS = ("clipping", "clipping-low", "dropout-zeros", "dropout-lost", "dropout-repeated", "drift",
                    "low-snr", "slam", "voice", "lorry")
UNCODED_RIG_FAULTS = ("doubled", "tweeter-dead", "woofer-dead", "quiet")
UNCODED_RECORDING_FAULTS = ("dropout-inserted", "automatic-gain", "noise-gate", "mic-silent", "channels-swapped",
                            "cut-short", "nan", "wrong-stimulus")
CODED_FAULTS = RIG_FAULTS + RECORDING_FAULTS
ALL_FAULTS = CODED_FAULTS + UNCODED_RIG_FAULTS + UNCODED_RECORDING_FAULTS
CASES = ("identical", "noisy", "mixed", "drift", "loopback", "layouts", "bass", "subs", "lfe", "equaliser", "healthy",
         "faults", "faults-uncoded", "trouble", "uncertainty", "places", "interleaved")
SLOPES = ("LR12", "LR24", "LR36", "LR48", "BW12", "BW18", "BW24")


@dataclass(frozen=True)
class Expected:
    """A finding that has to come (or may come, when not required).

    code: as in the contract, "" for any code, "a|b" for either; speakers: labels of which at least one must be named, () when none in
    particular; by: "touched" or "clipped" when the labels are only known once the stimulus is; refusal: exit status 2
    is as good.
    """

    fault: str
    code: str
    speakers: tuple[str, ...] = ()
    by: str = ""
    required: bool = True
    refusal: bool = False


@dataclass(frozen=True)
class Trial:
    """One rig in one room with its recordings, and what has to be said about it."""

    case: str
    index: int
    rig_toml: str
    scene: Scene
    bass_managed: bool
    expected: tuple[Expected, ...] = ()
    spoiled: tuple[str, ...] = ()           # labels whose figures are not judged
    quiet: tuple[str, ...] = ()             # labels whose level settings are not judged
    judge_accuracy: bool = True
    wrong_stimulus: str = ""                # "foreign": other sweeps; else options of another stimulus of the program
    rig_offsets_m: tuple = ()               # microphone offsets as the rig has them, where they are not the true ones
    order: tuple[int, ...] = ()             # recordings as they are handed over, where that is not their order
    judged_positions: tuple[int, ...] | None = None     # whose figures are judged; None: all
    faults: tuple[str, ...] = ()
    notes: dict = field(default_factory=dict)
    stimulus_options: tuple[str, ...] = ()  # of `ringtrue stimulus`
    harmonics: tuple[float, float] | None = None  # second and third of every speaker while a sweep plays, share of it
    judge_crosstalk: bool = False           # against the same ring measured one speaker after another

    @property
    def known_distance(self) -> tuple[str, float] | None:
        """A speaker whose distance was taken by tape, and metres."""
        return self.notes.get("known_distance")

    @property
    def loopback(self) -> bool:
        """True when channel 2 of the recordings is the loopback."""
        return self.scene.recorders[0].loopback

    @property
    def summary(self) -> str:
        """One line: what room this is."""
        room = self.scene.room
        size = " x ".join(f"{x:.1f}" for x in (room.size_m[1], room.size_m[0], room.size_m[2]))
        words = [self.notes.get("layout", ""), f"{size} m", f"{float(room.decay_time_s(1000.0)[0]):.2f} s"]
        if len(self.scene.recorders) > 1:
            words.append(f"{len(self.scene.recorders)} spots")
        if self.loopback:
            words.append("loopback")
        recorder = self.scene.recorders[0]
        if recorder.clock_error_ppm:
            words.append(f"{recorder.clock_error_ppm:+.0f} ppm")
        return ", ".join(words + list(self.faults))


# ---- rooms and speakers --------------------------------------------------------------------------------------------

def direction(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """Unit vector (right, front, up); azimuth positive to the left, elevation positive up."""
    az, el = np.radians((azimuth_deg, elevation_deg))
    return np.array([-np.sin(az) * np.cos(el), np.cos(az) * np.cos(el), np.sin(el)])


def random_room(rng: np.random.Generator, decay_s: tuple[float, float] = (0.2, 0.4)) -> Room:
    """A room of 3.5-7 x 3-5.5 x 2.3-3 m with a reverberation time at 1 kHz inside decay_s."""
    width, length, height = rng.uniform(3.0, 5.5), rng.uniform(3.5, 7.0), rng.uniform(2.3, 3.0)
    temperature_c = round(rng.uniform(17.0, 27.0), 1)
    weights = np.concatenate((rng.uniform(0.6, 1.6, 4), rng.uniform(0.5, 2.0, 2)))
    size = (width, length, height)
    ear = (width / 2 + rng.uniform(-0.15, 0.15), length * rng.uniform(0.42, 0.58), round(rng.uniform(1.1, 1.3), 2))
    return Room(size, ear, temperature_c, reflections_for_decay(size, rng.uniform(*decay_s), weights, temperature_c),
                side_shelf_db=rng.uniform(-1.0, -0.3), level_shelf_db=rng.uniform(-1.5, -0.5),
                shelf_hz=rng.uniform(1800.0, 4000.0), diffuse_seed=int(rng.integers(1 << 30)))


def clearance_m(room: Room, position_m) -> float:
    """Distance from a place (relative to the ear point) to the nearest wall, metres; negative outside."""
    place = room.from_ear(position_m)
    return float(min(place.min(), (np.array(room.size_m) - place).min()))


def place_main(room: Room, angles, rng: np.random.Generator) -> tuple[float, float, float] | None:
    """A place at 1.5-2.2 m and within 2 degrees of its nominal direction, clear of the walls; None if there is none."""
    for _ in range(12):
        azimuth, elevation = np.asarray(angles) + rng.uniform(-2.0, 2.0, 2)
        position = rng.uniform(1.5, 2.2) * direction(azimuth, elevation)
        if clearance_m(room, position) > 0.22:
            return tuple(float(x) for x in position)
    return None


def place_sub(room: Room, rng: np.random.Generator) -> tuple[float, float, float] | None:
    """A place on the floor at 1.2-2.8 m in front or to the side."""
    for _ in range(40):
        position = rng.uniform(1.2, 2.8) * direction(rng.uniform(-100.0, 100.0), 0.0)
        position[2] = 0.25 - room.ear_m[2]
        if clearance_m(room, position) > 0.2:
            return tuple(float(x) for x in position)
    return None


def furnished_room(rng: np.random.Generator, layout: dict) -> tuple[Room, dict]:
    """A random room that all speakers of the layout fit into, and label -> position."""
    for _ in range(5000):
        room = random_room(rng)
        places = {}
        for label, angles in layout.items():
            places[label] = place_sub(room, rng) if angles is None else place_main(room, angles, rng)
            if places[label] is None:
                break
        else:
            return room, places
    raise RuntimeError("no room found for this layout")


def random_two_way(rng: np.random.Generator, crossover: str | None = None) -> TwoWay:
    """A two-way monitor of random crossover, box and small bumps."""
    vented = rng.random() < 0.5
    bumps = tuple((float(np.exp(rng.uniform(np.log(150.0), np.log(12000.0)))), rng.uniform(-2.0, 2.0),
                   rng.uniform(1.0, 3.0)) for _ in range(rng.integers(1, 4)))
    return TwoWay(crossover or str(rng.choice(CROSSOVERS)), rng.uniform(1500.0, 3500.0), 4 if vented else 2,
                  rng.uniform(45.0, 70.0), rng.uniform(0.6, 0.85), rng.uniform(22000.0, 30000.0), bumps,
                  rear_shelf_db=rng.uniform(-12.0, -6.0), rear_shelf_hz=rng.uniform(1200.0, 2500.0))


def random_subwoofer(rng: np.random.Generator, delay_ms: tuple[float, float] = (0.0, 4.0)) -> Subwoofer:
    """A subwoofer of random corners with an internal delay in the given range, ms."""
    return Subwoofer(rng.uniform(20.0, 30.0), int(rng.choice((2, 4))), rng.uniform(100.0, 150.0),
                     rng.uniform(*delay_ms))


def custom_layout(rng: np.random.Generator) -> dict:
    """Three to eight mains with odd labels, at least 25 degrees apart, and perhaps a subwoofer."""
    count = int(rng.integers(3, 9))
    azimuths = (np.arange(count) * 360.0 / count + rng.uniform(-8.0, 8.0, count) + 180.0) % 360.0 - 180.0
    layout = {label: (float(a), float(rng.choice((0.0, 0.0, 25.0)))) for label, a in zip(CUSTOM_LABELS, azimuths)}
    if rng.random() < 0.5:
        layout["sub bass"] = None
    return layout


def make_speakers(rng: np.random.Generator, places: dict, layout: dict, outputs: dict, models, bass_managed: bool,
                  spread_db: float, sub_delay_ms: tuple[float, float]) -> tuple[Speaker, ...]:
    """Speakers at their places; mains take their models in turn, pair by pair. spread_db: how far gains differ, +-."""
    speakers, mains = [], 0
    for label, position in places.items():
        if layout[label] is None:
            gain_db = rng.uniform(-3.0, 3.0) + (0.0 if bass_managed else 10.0)
            model = random_subwoofer(rng, sub_delay_ms)
            speakers.append(Speaker(label, outputs[label], "sub", position, model, gain_db))
        else:
            model = models[(mains // 2) % len(models)]
            mains += 1
            speakers.append(Speaker(label, outputs[label], "main", position, model, rng.uniform(-spread_db, spread_db)))
    return tuple(speakers)


# ---- rig.toml ------------------------------------------------------------------------------------------------------

def rig_toml(name: str, layout: str, room: Room, speakers, bass_managed: bool, offsets_m, notes: dict) -> str:
    """The rig as the contract writes it; the interface is left at its defaults."""
    w, l, h = room.size_m
    lines = [f"name = {json.dumps(name)}", f'layout = "{layout}"', "", "[room]",
             f"size_m = [{l:.3f}, {w:.3f}, {h:.3f}]", f"ear_height_m = {room.ear_m[2]:.3f}",
             f"temperature_c = {room.temperature_c:.1f}", "", "[interface]", "sample_rate_hz = 48000",
             "delay_step_ms = 0.01", "trim_step_db = 0.1"]
    if bass_managed:
        lines += ["", "[bass_management]", f"crossover_hz = {notes.get('crossover_hz', 80.0):g}", "lfe_gain_db = 10"]
        if "slope" in notes:
            lines.append(f'slope = "{notes["slope"]}"')
    for s in speakers:
        band = "[20, 250]" if s.kind == "sub" else "[50, 20000]"
        lines += ["", "[[speaker]]", f"label = {json.dumps(s.label, ensure_ascii=False)}", f"output = {s.output}",
                  f'kind = "{s.kind}"', f"band_hz = {band}"]
        if notes.get("layout") == "custom" and s.label in notes.get("nominal", {}):
            lines.append("azimuth_deg = {:.1f}\nelevation_deg = {:.1f}".format(*notes["nominal"][s.label]))
        if s.label in notes.get("own_crossover_hz", {}):
            lines.append(f"crossover_hz = {notes['own_crossover_hz'][s.label]:g}")
    if len(offsets_m) > 1:
        for offset in offsets_m:
            lines += ["", "[[position]]", "offset_m = [" + ", ".join(f"{x:.3f}" for x in offset) + "]"]
    return "\n".join(lines) + "\n"


# ---- cases ---------------------------------------------------------------------------------------------------------

def make_trial(case: str, seed: int, index: int, faults: tuple[str, ...] = ()) -> Trial:
    """The trial number `index` of a case. `faults` forces certain faults (cases "faults" and "faults-uncoded")."""
    if case not in CASES:
        raise ValueError(f"unknown case {case!r}; known are {', '.join(CASES)}")
    rng = np.random.default_rng([zlib.crc32(case.encode()), seed, index])
    layout_name = "7.1.4"
    if case == "layouts":
        layout_name = ("2.0", "5.1", "7.1.4", "9.1.6", "custom")[index % 5]
    elif case in ("bass", "equaliser"):
        layout_name = ("5.1", "7.1.4")[index % 2]
    elif case in ("subs", "lfe"):
        layout_name = "5.1"
    elif case == "places":
        layout_name = ("7.1.4", "5.1", "custom", "9.1.6", "2.0", "7.1.4", "9.1.4")[index % 7]
    elif case == "interleaved":
        layout_name = ("7.1.4", "7.1.4", "9.1.6", "5.1", "7.1.4", "2.0")[index % 6]
    layout = custom_layout(rng) if layout_name == "custom" else LAYOUTS[layout_name]
    if case in ("subs", "lfe"):
        layout = layout | {f"Sub{k + 2}": None for k in range(index % 3)}
    elif case == "interleaved" and index % 6 == 3:  # from one to four subwoofers
        layout = layout | {f"Sub{k + 2}": None for k in range((2 + index // 6) % 4)}
    room, places = furnished_room(rng, layout)
    has_sub = None in layout.values()
    bass_managed = has_sub and case != "lfe" and (case in ("bass", "subs") or rng.random() < 0.5)
    outputs = dict(zip(layout, range(1, len(layout) + 1)))
    if layout_name == "custom" or (case == "layouts" and rng.random() < 0.5):
        outputs = dict(zip(layout, (int(k) for k in rng.permutation(24)[:len(layout)] + 1)))
    models = [random_two_way(rng)]
    if case in ("mixed", "healthy") or (case == "uncertainty" and index % 2):
        models = [random_two_way(rng, kind) for kind in rng.permutation(CROSSOVERS)[:rng.integers(2, 4)]]
        if case == "mixed" and all(m.crossover != "LR2" for m in models):
            models[-1] = random_two_way(rng, "LR2")
    sub_delay_ms = (2.0, 9.0) if case in ("bass", "subs") else (0.0, 4.0)
    spread_db = 4.0 if case in ("mixed", "layouts") else 2.5
    speakers = make_speakers(rng, places, layout, outputs, models, bass_managed, spread_db, sub_delay_ms)
    seeds = int(rng.integers(1 << 30))
    recorder = Recorder(latency_s=rng.uniform(0.003, 0.04), start_s=round(rng.uniform(-0.2, 0.2) * 48000) / 48000)
    scene = Scene(room, speakers, (recorder,), noise=Noise(signal_to_noise_db=45.0, seed=seeds))
    written = CUSTOM_LAYOUT if layout_name == "custom" else \
        BS2051_NAMES.get(layout_name, layout_name) if index % 2 else layout_name
    trial = Trial(case, index, "", scene, bass_managed, notes={"layout": layout_name, "written": written})
    if case == "places":
        trial.notes["nominal"] = {label: angles for label, angles in layout.items() if angles is not None}
    if case == "trouble":
        from random_trouble import trouble      # which builds on this file
        trial = trouble(trial, rng, faults)
    else:
        trial = _VARIATIONS[case](trial, rng, faults)
    scene = trial.scene
    text = rig_toml(f"{case} {index}", written, room, scene.speakers, bass_managed,
                    trial.notes.get("rig_offsets_m") or trial.rig_offsets_m or scene.mic_offsets_m, trial.notes)
    return replace(trial, rig_toml=text)


def _with(trial: Trial, **scene_changes) -> Trial:
    """The trial with some fields of its scene replaced."""
    return replace(trial, scene=replace(trial.scene, **scene_changes))


def _changed_recorder(trial: Trial, position: int = 0, **changes) -> Trial:
    """The trial with some settings of one recorder replaced."""
    recorders = list(trial.scene.recorders)
    recorders[position] = replace(recorders[position], **changes)
    return _with(trial, recorders=tuple(recorders))


def _changed_speaker(trial: Trial, label: str, **changes) -> Trial:
    """The trial with some properties of one speaker replaced."""
    return _with(trial, speakers=tuple(s.changed(**changes) if s.label == label else s for s in trial.scene.speakers))


def _as_is(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """Nothing is changed."""
    return trial


def _room_noise(rng: np.random.Generator, seed: int) -> Noise:
    """White noise of -58 dBFS with mains hum and ventilation."""
    return Noise(white_dbfs=-58.0, hum_dbfs=rng.uniform(-60.0, -52.0), hum_hz=float(rng.choice((50.0, 60.0))),
                 rumble_dbfs=rng.uniform(-55.0, -46.0), seed=seed)


def _noisy(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """The quiet room's noise replaced by an audible one."""
    return _with(trial, noise=_room_noise(rng, trial.scene.noise.seed))


def _mixed(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """Other speaker models in one ring, some with delays of their own and mild distortion; at times one is miswired."""
    speakers = []
    for s in trial.scene.speakers:
        if s.kind == "main" and rng.random() < 0.3:
            s = s.changed(extra_delay_ms=rng.uniform(0.2, 3.0))
        if rng.random() < 0.4:
            s = s.changed(second_order=rng.uniform(0.0, 0.03), third_order=rng.uniform(-0.2, 0.2))
        speakers.append(s)
    trial = _with(trial, speakers=tuple(speakers))
    if rng.random() < 0.5:
        label = str(rng.choice([s.label for s in speakers if s.kind == "main"]))
        trial = _changed_speaker(trial, label, inverted=True)
        trial = replace(trial, faults=(f"polarity {label}",),
                        expected=(Expected("polarity", "inverted-polarity", (label,)),))
    return trial


def _uncertainty(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """One model or several in noise of any strength: is what is stated as uncertainty true?"""
    if rng.random() < 0.5:
        trial = _mixed(trial, rng, faults)
    noise = replace(trial.scene.noise, signal_to_noise_db=rng.uniform(0.0, 45.0))
    return replace(_with(trial, noise=noise), expected=trial.expected + (
        Expected("noise", "low-signal-to-noise|unsure-polarity", required=False),))


def _drift(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """A separate recorder at 44.1 kHz with another clock, started by hand."""
    ppm = float(rng.choice((-150.0, 150.0))) if rng.random() < 0.5 else rng.uniform(-150.0, 150.0)
    start_s = rng.choice((-1.0, 1.0)) * rng.uniform(0.3, 0.4)
    trial = _changed_recorder(trial, sample_rate_hz=44100, clock_error_ppm=ppm, start_s=start_s)
    return replace(trial, expected=(Expected("drift", "clock-drift", required=abs(ppm) > 50.0),))


def _loopback(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """A loopback on channel 2; other rates, formats and gains; in every third room another clock."""
    ppm = rng.uniform(-190.0, 190.0) if trial.index % 3 == 2 else 0.0
    rate = int(rng.choice((44100, 48000, 88200, 96000))) if trial.index % 2 else 48000
    trial = _changed_recorder(trial, loopback=True, loopback_gain_db=rng.uniform(-20.0, 6.0), clock_error_ppm=ppm,
                              start_s=round(rng.uniform(-0.49, 0.49) * 48000) / 48000, sample_rate_hz=rate,
                              latency_s=rng.uniform(0.002, 0.06), mic_gain_db=rng.uniform(-6.0, 6.0),
                              sample_format=str(rng.choice(("int16", "int24", "int32", "float32"))))
    return replace(trial, expected=(Expected("drift", "clock-drift", required=abs(ppm) > 50.0),)) if ppm else trial


def _spots(trial: Trial, rng: np.random.Generator, offsets_m) -> Trial:
    """One recording per microphone position, each started at another moment."""
    recorders = tuple(replace(trial.scene.recorders[0], start_s=round(rng.uniform(-0.4, 0.4) * 48000) / 48000)
                      for _ in offsets_m)
    return _with(trial, recorders=recorders, mic_offsets_m=tuple(offsets_m))


def _bass(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """A late subwoofer of either polarity, heard at three places."""
    if rng.random() < 0.5:
        trial = _changed_recorder(trial, loopback=True)
    trial = _spots(trial, rng, THREE_SPOTS_M)
    label = next(s.label for s in trial.scene.speakers if s.kind == "sub")
    if rng.random() < 0.5:
        trial = _changed_speaker(trial, label, inverted=True)
        trial = replace(trial, faults=(f"inverted {label}",),
                        expected=(Expected("polarity", "inverted-polarity", (label,), required=False),))
    return trial


def _subs(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """One to three late subwoofers of either polarity; any slope and crossover; small mains or one group of mains with
    a crossover of its own now and then; three places."""
    trial = _spots(trial, rng, THREE_SPOTS_M)
    slope, crossover_hz = str(rng.choice(SLOPES)), float(rng.choice((60, 70, 80, 90, 100, 120)))
    notes = dict(trial.notes, slope=slope, crossover_hz=crossover_hz)
    words = [slope, f"{crossover_hz:g} Hz"]
    if rng.random() < 0.4:
        own_hz = float(rng.choice((100, 120, 150)))
        notes["own_crossover_hz"] = {"Ls": own_hz, "Rs": own_hz}
        words.append(f"Ls and Rs {own_hz:g} Hz")
    if rng.random() < 0.4:
        box_hz = rng.uniform(75.0, 120.0)
        speakers = tuple(s.changed(model=replace(s.model, box_hz=box_hz)) if s.kind == "main" else s
                         for s in trial.scene.speakers)
        trial = _with(trial, speakers=speakers)
        words.append(f"small mains ({box_hz:.0f} Hz)")
    expected = []
    for label in [s.label for s in trial.scene.speakers if s.kind == "sub"]:
        if rng.random() < 0.5:
            trial = _changed_speaker(trial, label, inverted=True)
            words.append(f"inverted {label}")
            expected.append(Expected("polarity", "inverted-polarity", (label,), required=False))
    return replace(trial, notes=notes, faults=tuple(words), expected=tuple(expected))


def _lfe(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """One to three subwoofers that play the LFE channel alone: no bass management; three places."""
    trial = _spots(trial, rng, THREE_SPOTS_M)
    labels = [s.label for s in trial.scene.speakers if s.kind == "sub"]
    return replace(trial, faults=(f"{len(labels)} of the LFE alone",))


def _equaliser(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """Four spots around the listener; in every third room a microphone with bumps of 3 dB and a file that says so."""
    trial = _spots(trial, rng, FOUR_SPOTS_M)
    if trial.index % 3 != 2:
        return trial
    f_hz = 20.0 * 10.0 ** (np.arange(0, 241) / 80.0)
    centres = np.exp(rng.uniform(np.log((100.0, 400.0, 1500.0)), np.log((300.0, 1200.0, 6000.0))))
    signs = rng.choice((-1.0, 1.0), 3)
    gains = sum(3.0 * sign * np.exp(-(np.log2(f_hz / centre) / 0.4) ** 2) for sign, centre in zip(signs, centres))
    return _with(trial, mic_response=tuple((float(f), round(float(g), 3)) for f, g in zip(f_hz, gains)))


def _healthy(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """Nothing is wrong; how it is recorded varies."""
    speakers = tuple(s.changed(second_order=rng.uniform(0.0, 0.02)) for s in trial.scene.speakers)
    trial = _with(trial, speakers=speakers)
    if rng.random() < 0.5:
        trial = _noisy(trial, rng, faults)
    if rng.random() < 0.5:
        trial = _changed_recorder(trial, loopback=True, loopback_gain_db=rng.uniform(-12.0, 0.0))
    if rng.random() < 0.3:
        trial = _changed_recorder(trial, sample_rate_hz=int(rng.choice((44100, 96000))))
    return trial


# ---- places --------------------------------------------------------------------------------------------------------

def range_of(layout_name: str, label: str, places: dict) -> tuple[float, float, float, float]:
    """Azimuth low and high, elevation low and high of a label; those of the right side are mirrored. `places`: nominal
    ones of a layout that has no ranges."""
    own = RANGES.get(layout_name, {})
    if layout_name == "custom":
        azimuth, elevation = places[label]
        return azimuth, azimuth, elevation, elevation
    if label in own:
        return own[label]
    low, high, el_low, el_high = own["L" + label[1:]]
    return -high, -low, el_low, el_high


def _in_range(trial: Trial, rng: np.random.Generator) -> Trial:
    """Every main anywhere inside its range, as far as the room takes it."""
    layout = trial.notes["layout"]
    for s in trial.scene.speakers:
        if s.kind == "sub":
            continue
        low, high, el_low, el_high = range_of(layout, s.label, trial.notes["nominal"])
        position = rng.uniform(1.5, 2.2) * direction(rng.uniform(low, high), rng.uniform(el_low, el_high))
        if clearance_m(trial.scene.room, position) > 0.2:
            trial = _changed_speaker(trial, s.label, position_m=tuple(float(x) for x in position))
    return trial


def _elsewhere(trial: Trial, rng: np.random.Generator, kind: str) -> Trial:
    """One main more than 10 degrees outside its range: turned, at a wrong height, or on the other side."""
    layout = trial.notes["layout"]
    mains = [s for s in trial.scene.speakers if s.kind == "main" and (kind != "mirrored" or s.label != "C")]
    for _ in range(500):
        s = mains[int(rng.integers(len(mains)))]
        low, high, el_low, el_high = range_of(layout, s.label, trial.notes["nominal"])
        azimuth, elevation = rng.uniform(low, high), rng.uniform(el_low, el_high)
        if kind == "mirrored":
            azimuth = -azimuth
        elif kind == "height":
            elevation = el_high + rng.uniform(12.0, 35.0) if rng.random() < 0.7 else el_low - rng.uniform(12.0, 25.0)
        else:
            away = rng.uniform(11.5, 40.0)
            azimuth = high + away if rng.random() < 0.5 else low - away
        position = rng.uniform(1.3, 2.2) * direction(azimuth, elevation)
        others = [t for t in trial.scene.speakers if t.label != s.label]
        free = all(np.linalg.norm(np.subtract(position, t.position_m)) > 0.25 for t in others)
        if free and clearance_m(trial.scene.room, position) > 0.15:
            trial = _changed_speaker(trial, s.label, position_m=tuple(float(x) for x in position))
            return _noted(trial, f"{kind} {s.label} at {azimuth:.0f}, {elevation:.0f}",
                          Expected("elsewhere", "wrong-place", (s.label,)))
    return trial


def _places(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """Four or five mic spots, exact or 1 cm off, at 30 dB, with a loopback, a taped distance or neither; at times two
    or three cables are crossed or a speaker stands in a wrong place."""
    if rng.random() < 0.5:
        trial = _in_range(trial, rng)
    spots = FIVE_SPOTS_M if rng.random() < 0.35 else FOUR_SPOTS_M
    off_m = 0.01 if trial.index % 2 else 0.0
    time = ("loopback", "tape", "loopback", "neither")[trial.index // 2 % 4]
    if time == "loopback":
        trial = _changed_recorder(trial, loopback=True)
    ways = rng.normal(size=(len(spots), 3))
    ways[0] = 0.0                                        # the first spot is what makes the ear point
    lengths = np.maximum(np.linalg.norm(ways, axis=1, keepdims=True), 1e-9)
    true_spots = np.array(spots) + off_m * ways / lengths
    trial = _spots(trial, rng, [tuple(float(x) for x in spot) for spot in true_spots])
    trial = _with(trial, noise=replace(trial.scene.noise, signal_to_noise_db=30.0))
    kind = faults[0] if faults else str(rng.choice(
        ("none", "swapped", "sides", "circle", "turned", "height", "mirrored"), p=(0.25, 0.2, 0.1, 0.1, 0.15, 0.1, 0.1)))
    mains = [s.label for s in trial.scene.speakers if s.kind == "main"]
    mixed = [str(label) for label in rng.permutation(mains)]
    lefts = [label for label in mixed if label.startswith("L") and "R" + label[1:] in mains]
    if kind == "sides" and lefts:
        trial = _swapped(trial, rng, kind, [lefts[0], "R" + lefts[0][1:]])
    elif kind == "circle" and len(mains) > 2:
        output = {s.label: s.output for s in trial.scene.speakers}
        three = mixed[:3]
        trial = _rewired(trial, {a: [output[b]] for a, b in zip(three, three[1:] + three[:1])})
        trial = _noted(trial, "swapped " + " ".join(three),
                       Expected(kind, "swapped-outputs", tuple(three)))
    elif kind in ("swapped", "sides", "circle"):
        trial = _swapped(trial, rng, kind, mixed)
    elif kind != "none":
        trial = _elsewhere(trial, rng, kind)
    # Every name counts. And two speakers without a loopback tell no more than how their directions differ.
    expected = [replace(item, speakers=(label,)) for item in trial.expected for label in item.speakers]
    if trial.notes["layout"] == "2.0" and time != "loopback":
        expected = [replace(item, code=item.code + "|place-unsure") for item in expected]
    trial = replace(trial, expected=tuple(expected))
    notes = dict(trial.notes, rig_offsets_m=spots, off_m=off_m, time=time)
    if time == "tape":
        fed = {label: out for out, label in trial.scene.wires or [(s.output, s.label) for s in trial.scene.speakers]}
        straight = [s for s in trial.scene.speakers if s.kind == "main" and fed[s.label] == s.output]
        taped = straight[int(rng.integers(len(straight)))] if straight else None
        if taped:
            notes["known_distance"] = (taped.label, round(float(np.linalg.norm(taped.position_m)), 2))
        else:
            notes["time"] = "neither"
    words = f"{'1 cm off' if off_m else 'exact'}, {notes['time']}"
    return replace(trial, notes=notes, faults=(words,) + trial.faults)


# ---- faults --------------------------------------------------------------------------------------------------------

def _exclusive(name: str) -> str:
    """Faults of one kind do not come together."""
    if name.startswith(("clipping", "dropout")):
        return name.split("-")[0]
    return "event" if name in ("slam", "voice", "lorry") else name


def pick_faults(rng: np.random.Generator, pool: tuple[str, ...], count: int) -> list[str]:
    """`count` different kinds of fault from a pool."""
    chosen: list[str] = []
    for name in rng.permutation(pool):
        if len(chosen) < count and all(_exclusive(str(name)) != _exclusive(c) for c in chosen):
            if "low-snr" in (*chosen, str(name)) and any(c not in RIG_FAULTS + ("low-snr",) for c in (*chosen, name)):
                continue
            chosen.append(str(name))
    return chosen


def _faults(trial: Trial, rng: np.random.Generator, forced: tuple[str, ...]) -> Trial:
    """One to three of the faults that have a code of their own in the contract."""
    names = list(forced) or pick_faults(rng, CODED_FAULTS, int(rng.integers(1, 4)))
    return _apply(trial, rng, names)


def _faults_uncoded(trial: Trial, rng: np.random.Generator, forced: tuple[str, ...]) -> Trial:
    """One of the faults for which the contract has no code."""
    pool = UNCODED_RIG_FAULTS + UNCODED_RECORDING_FAULTS
    return _apply(trial, rng, list(forced) or [pool[trial.index % len(pool)]])


def _apply(trial: Trial, rng: np.random.Generator, names: list[str]) -> Trial:
    """Put faults into a healthy trial, each on another speaker."""
    if rng.random() < 0.5 or "channels-swapped" in names:
        trial = _changed_recorder(trial, loopback=True)
    if "swapped" in names:
        trial = _spots(trial, rng, FIVE_SPOTS_M)
    mains = [s.label for s in trial.scene.speakers if s.kind == "main"]
    targets = [str(label) for label in rng.permutation(mains)]
    for name in names:
        trial = _FAULTS[_exclusive(name)](trial, rng, name, targets)
    return trial


def _noted(trial: Trial, words: str, expected: Expected, **changes) -> Trial:
    """The trial with one more fault on its list."""
    return replace(trial, faults=trial.faults + (words,), expected=trial.expected + (expected,), **changes)


def _silent(trial, rng, name, targets):
    """A speaker is switched off; it may be the subwoofer."""
    subs = [s.label for s in trial.scene.speakers if s.kind == "sub"]
    label = subs[0] if subs and rng.random() < 0.15 else targets.pop()
    trial = _changed_speaker(trial, label, silent=True)
    return _noted(trial, f"silent {label}", Expected(name, "silent-output", (label,)), spoiled=trial.spoiled + (label,))


def _polarity(trial, rng, name, targets):
    """A speaker is wired backwards."""
    label = targets.pop()
    trial = _changed_speaker(trial, label, inverted=True)
    return _noted(trial, f"inverted {label}", Expected(name, "inverted-polarity", (label,)))


def _rewired(trial: Trial, changes: dict[str, list[int]]) -> Trial:
    """New wiring: label of a speaker -> the outputs that feed it."""
    wires = []
    for s in trial.scene.speakers:
        wires += [(output, s.label) for output in changes.get(s.label, [s.output])]
    return _with(trial, wires=tuple(wires))


def _swapped(trial, rng, name, targets):
    """Two cables are crossed."""
    a, b = targets.pop(), targets.pop()
    output = {s.label: s.output for s in trial.scene.speakers}
    trial = _rewired(trial, {a: [output[b]], b: [output[a]]})
    return _noted(trial, f"swapped {a} {b}", Expected(name, "swapped-outputs", (a, b)))


def _doubled(trial, rng, name, targets):
    """One output feeds a second speaker besides its own."""
    a, b = targets.pop(), targets.pop()
    output = {s.label: s.output for s in trial.scene.speakers}
    trial = _rewired(trial, {b: [output[b], output[a]]})
    return _noted(trial, f"{a} also plays from {b}", Expected(name, "", (a, b)), spoiled=trial.spoiled + (a,))


def _dead_driver(trial, rng, name, targets):
    """A driver of a two-way speaker plays nothing."""
    label, driver = targets.pop(), name.split("-")[0]
    model = next(s.model for s in trial.scene.speakers if s.label == label)
    trial = _changed_speaker(trial, label, model=replace(model, dead=driver))
    return _noted(trial, f"{driver} dead in {label}", Expected(name, "", (label,)), spoiled=trial.spoiled + (label,))


def _quiet(trial, rng, name, targets):
    """An input gain is 15 dB too low."""
    label = targets.pop()
    gain_db = next(s.gain_db for s in trial.scene.speakers if s.label == label)
    trial = _changed_speaker(trial, label, gain_db=gain_db - 15.0)
    return _noted(trial, f"{label} 15 dB down", Expected(name, "", (label,)), quiet=trial.quiet + (label,))


def _clipping(trial, rng, name, targets):
    """The microphone's preamplifier clips, at full scale or below it."""
    at_dbfs = -6.0 if name == "clipping-low" else 0.0
    trial = _changed_recorder(trial, clip_fraction=rng.uniform(0.6, 0.93), clip_at_dbfs=at_dbfs)
    return _noted(trial, f"clips at {at_dbfs:.0f} dBFS", Expected(name, "clipped-recording", by="clipped"))


def _dropout(trial, rng, name, targets):
    """Samples are missing, silenced or doubled during a sweep."""
    kind, label = name.split("-")[1], targets.pop()
    samples = int(rng.choice((64, 256, 512, 1024, 4800)))
    gap = Disturbance(kind, label, rng.uniform(0.3, 0.85), samples)
    trial = _with(trial, disturbances=trial.scene.disturbances + (gap,))
    return _noted(trial, f"{samples} samples {kind} during {label}", Expected(name, "dropout", (label,), by="touched"))


def _event(trial, rng, name, targets):
    """A noise during a sweep."""
    label = targets.pop()
    peak_db = {"slam": rng.uniform(-6.0, 6.0), "voice": rng.uniform(-12.0, 0.0), "lorry": rng.uniform(-9.0, 0.0)}[name]
    trial = _with(trial, disturbances=trial.scene.disturbances
                  + (Disturbance(name, label, rng.uniform(0.25, 0.7), peak_db),))
    return _noted(trial, f"{name} {peak_db:+.0f} dB during {label}",
                  Expected(name, "noise-event", (label,), by="touched"))


def _clock(trial, rng, name, targets):
    """The recorder runs on another clock."""
    ppm = rng.choice((-1.0, 1.0)) * rng.uniform(70.0, 190.0)
    for p in range(len(trial.scene.recorders)):
        trial = _changed_recorder(trial, p, clock_error_ppm=ppm)
    return _noted(trial, f"clock {ppm:+.0f} ppm", Expected(name, "clock-drift"))


def _low_snr(trial, rng, name, targets):
    """The room is louder than the sweeps."""
    ratio_db = rng.uniform(-8.0, -2.0)
    trial = _with(trial, noise=replace(trial.scene.noise, signal_to_noise_db=ratio_db))
    return _noted(trial, f"signal to noise {ratio_db:.0f} dB", Expected(name, "low-signal-to-noise"),
                  judge_accuracy=False)


def _whole_recording(trial, rng, name, targets):
    """Faults that spoil the recording as such; refusing it is as good as a finding."""
    settings = {"automatic-gain": {"automatic_gain": 0.6}, "noise-gate": {"noise_gate": 30.0},
                "mic-silent": {"mic_silent": True}, "channels-swapped": {"channels_swapped": True},
                "cut-short": {"cut_short": rng.uniform(0.3, 0.8)},
                "nan": {"nan_at": rng.uniform(0.1, 0.9), "sample_format": "float32"}, "wrong-stimulus": {}}[name]
    trial = _changed_recorder(trial, **settings)
    return _noted(trial, name, Expected(name, "", refusal=True), judge_accuracy=False,
                  wrong_stimulus="foreign" if name == "wrong-stimulus" else "")


def _interleaved(trial: Trial, rng: np.random.Generator, faults) -> Trial:
    """Overlapping sweeps, every speaker with 3 % of second and 1 % of third harmonic; other clocks, loopbacks, faults.

    The stimulus is made for the longest decay of these rooms, 0.4 s, its default.
    """
    trial = replace(trial, stimulus_options=("--interleave",), harmonics=(0.03, 0.01),
                    judge_crosstalk=trial.index % 6 == 0)
    kind = trial.index % 6
    if kind == 1:
        trial = _drift(trial, rng, faults)
    elif kind == 2:
        trial = _changed_recorder(trial, loopback=True, loopback_gain_db=rng.uniform(-20.0, 6.0))
    elif kind == 4:
        targets = [str(s.label) for s in rng.permutation([s for s in trial.scene.speakers if s.kind == "main"])]
        for name in ("silent", "polarity"):
            trial = _FAULTS[name](trial, rng, name, targets)
    return trial


_VARIATIONS = {"identical": _as_is, "noisy": _noisy, "mixed": _mixed, "drift": _drift, "loopback": _loopback,
               "layouts": _as_is, "bass": _bass, "subs": _subs, "lfe": _lfe, "equaliser": _equaliser,
               "healthy": _healthy, "faults": _faults, "uncertainty": _uncertainty,
               "faults-uncoded": _faults_uncoded, "places": _places, "interleaved": _interleaved}
_FAULTS = {"silent": _silent, "polarity": _polarity, "swapped": _swapped, "doubled": _doubled, "quiet": _quiet,
           "tweeter-dead": _dead_driver, "woofer-dead": _dead_driver, "clipping": _clipping, "dropout": _dropout,
           "event": _event, "drift": _clock, "low-snr": _low_snr}
_FAULTS.update({name: _whole_recording for name in UNCODED_RECORDING_FAULTS if not name.startswith("dropout")})
