"""The case "trouble": one to three faults of any kind in one room, also those for which the contract has no code.

Wider than the case "faults": several microphone positions, faults of one position only, hum and rumble, exchanged cables
of mains and sub, weak automatic gain, a recorder of its own that starts early or late, another stimulus of the program.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from random_rooms import (FIVE_SPOTS_M, THREE_SPOTS_M, Expected, Trial, _changed_recorder, _changed_speaker,
                          _noted, _rewired, _spots, _with, random_two_way)
from speaker_models import TwoWay, treble_shelf


@dataclass(frozen=True)
class Covered(TwoWay):
    """A two-way monitor behind a curtain: a shelf takes its treble."""

    shelf_db: float = -18.0

    def on_axis(self, f_hz: np.ndarray) -> np.ndarray:
        """As TwoWay, damped above some 1 kHz."""
        return super().on_axis(f_hz) * treble_shelf(f_hz, 1200.0, self.shelf_db)


def _subs(trial: Trial) -> list[str]:
    return [s.label for s in trial.scene.speakers if s.kind == "sub"]


def _speaker(trial: Trial, label: str):
    return next(s for s in trial.scene.speakers if s.label == label)


def _every_recorder(trial: Trial, **changes) -> Trial:
    for p in range(len(trial.scene.recorders)):
        trial = _changed_recorder(trial, p, **changes)
    return trial


# ---- of the rig ----------------------------------------------------------------------------------------------------

def _sub_swapped(trial, rng, name, targets):
    """The sub's cable and a main's are exchanged."""
    sub, main = _subs(trial)[0], targets.pop()
    output = {s.label: s.output for s in trial.scene.speakers}
    trial = _rewired(trial, {sub: [output[main]], main: [output[sub]]})
    return _noted(trial, f"exchanged {sub} {main}", Expected(name, "swapped-outputs", (sub, main)),
                  spoiled=trial.spoiled + (sub, main))


def _sub_plays_mid(trial, rng, name, targets):
    """The sub's output leads to a full-range speaker."""
    sub = _subs(trial)[0]
    trial = _changed_speaker(trial, sub, model=random_two_way(rng))
    return _noted(trial, f"{sub} is full-range", Expected(name, "", (sub,), required=False), spoiled=trial.spoiled + (sub,))


def _main_plays_bass(trial, rng, name, targets):
    """A main's output leads to a second sub."""
    label = targets.pop()
    sub = _speaker(trial, _subs(trial)[0])
    trial = _changed_speaker(trial, label, model=sub.model)
    return _noted(trial, f"{label} plays bass only", Expected(name, "", (label,)), spoiled=trial.spoiled + (label,))


def _doubled_to_sub(trial, rng, name, targets):
    """The sub's output also plays a main."""
    sub, main = _subs(trial)[0], targets.pop()
    output = {s.label: s.output for s in trial.scene.speakers}
    trial = _rewired(trial, {main: [output[main], output[sub]]})
    return _noted(trial, f"{sub} also plays from {main}", Expected(name, "", (sub, main), required=False),
                  spoiled=trial.spoiled + (sub,))


def _covered(trial, rng, name, targets):
    """A speaker that is dull."""
    label, shelf_db = targets.pop(), rng.uniform(-24.0, -16.0)
    model = _speaker(trial, label).model
    trial = _changed_speaker(trial, label, model=Covered(**vars(model), shelf_db=shelf_db))
    return _noted(trial, f"{label} dull by {shelf_db:.0f} dB", Expected(name, "", (label,)),
                  spoiled=trial.spoiled + (label,))


def _weak(trial, rng, name, targets):
    """An input gain is 12 to 25 dB too low."""
    label, down_db = targets.pop(), rng.uniform(12.0, 25.0)
    trial = _changed_speaker(trial, label, gain_db=_speaker(trial, label).gain_db - down_db)
    return _noted(trial, f"{label} {down_db:.0f} dB down", Expected(name, "", (label,)), quiet=trial.quiet + (label,),
                  spoiled=trial.spoiled + (label,))


def _off_in_one_spot(trial, rng, name, targets):
    """A speaker drops out before one of the later positions is recorded."""
    label, spot = targets.pop(), int(rng.integers(1, len(trial.scene.recorders)))
    trial = _with(trial, silent_at=trial.scene.silent_at + ((label, spot),))
    return _noted(trial, f"{label} silent at spot {spot + 1}", Expected(name, "", (label,)),
                  spoiled=trial.spoiled + (label,))


# ---- of the recording ----------------------------------------------------------------------------------------------

def _hum(trial, rng, name, targets):
    """Mains hum through the microphone's cable."""
    level_db, line_hz = rng.uniform(-25.0, -3.0), float(rng.choice((50.0, 60.0)))
    noise = replace(trial.scene.noise, hum_re_signal_db=level_db, hum_hz=line_hz)
    return _noted(_with(trial, noise=noise), f"hum {line_hz:.0f} Hz {level_db:.0f} dB",
                  Expected(name, "low-signal-to-noise|hum|rumble"))


def _rumble(trial, rng, name, targets):
    """Ventilation and traffic."""
    level_db = rng.uniform(-15.0, 5.0)
    noise = replace(trial.scene.noise, rumble_re_signal_db=level_db)
    return _noted(_with(trial, noise=noise), f"rumble {level_db:.0f} dB",
                  Expected(name, "low-signal-to-noise|hum|rumble"))


def _own_recorder(trial, rng, name, targets):
    """A recorder of its own: another clock and rate, started early or late."""
    ppm = rng.choice((-1.0, 1.0)) * rng.uniform(55.0, 200.0)
    start_s, rate = rng.choice((-0.5, 0.5)), int(rng.choice((44100, 48000, 96000)))
    trial = _every_recorder(trial, clock_error_ppm=ppm, start_s=start_s, sample_rate_hz=rate)
    return _noted(trial, f"{rate} Hz {ppm:+.0f} ppm {start_s:+.1f} s", Expected(name, "clock-drift"))


def _clipping(trial, rng, name, targets):
    """Flat tops anywhere below full scale, at one position."""
    at_dbfs, spot = rng.uniform(-20.0, 0.0), int(rng.integers(len(trial.scene.recorders)))
    trial = _changed_recorder(trial, spot, clip_fraction=rng.uniform(0.4, 0.93), clip_at_dbfs=at_dbfs,
                              sample_format=str(rng.choice(("int16", "int24", "float32"))))
    # This recorder's gain is set for the clipping, so that it differs from the other spots': saying so is right.
    trial = _noted(trial, f"clips at {at_dbfs:.0f} dBFS, spot {spot + 1}",
                   Expected(name, "clipped-recording", by="clipped"))
    return replace(trial, expected=trial.expected + (Expected("spot-gain", "spot-differs", required=False),))


def _automatic_gain(trial, rng, name, targets):
    """Weak or strong automatic gain."""
    share = rng.uniform(0.15, 0.6)
    return _noted(_every_recorder(trial, automatic_gain=share), f"automatic gain {share:.2f}",
                  Expected(name, "input-processing", refusal=True), judge_accuracy=False)


def _noise_gate(trial, rng, name, targets):
    """A gate of any depth."""
    by_db = rng.uniform(10.0, 60.0)
    return _noted(_every_recorder(trial, noise_gate=by_db), f"gate {by_db:.0f} dB",
                  Expected(name, "input-processing", refusal=True), judge_accuracy=False)


def _wrong_stimulus(trial, rng, name, targets):
    """Another stimulus file of the program."""
    options = str(rng.choice(("--sweep-seconds 3", "--sweep-seconds 2.3", "--decay-seconds 1.2",
                              "--decay-seconds 0.8")))
    return _noted(trial, f"stimulus {options}", Expected(name, "wrong-stimulus", refusal=True),
                  judge_accuracy=False, wrong_stimulus=options)


def _spot_gain(trial, rng, name, targets):
    """The microphone's gain was changed before one of the later positions."""
    spot, by_db = int(rng.integers(1, len(trial.scene.recorders))), rng.choice((-1.0, 1.0)) * rng.uniform(3.0, 10.0)
    trial = _changed_recorder(trial, spot, mic_gain_db=trial.scene.recorders[spot].mic_gain_db + by_db)
    return _noted(trial, f"spot {spot + 1} {by_db:+.0f} dB", Expected(name, "spot-differs|spot-misplaced"),
                  judged_positions=(0,))


def _spot_moved(trial, rng, name, targets):
    """The microphone did not stand where the rig says, at one of the later positions."""
    spot, offsets = int(rng.integers(1, len(trial.scene.recorders))), list(trial.scene.mic_offsets_m)
    way = rng.standard_normal(3) * (1.0, 1.0, 0.3)
    way *= rng.uniform(0.15, 0.6) / np.linalg.norm(way)
    true = tuple(float(x) for x in np.add(offsets[spot], way))
    rig = trial.rig_offsets_m or tuple(offsets)
    offsets[spot] = true
    return _noted(_with(trial, mic_offsets_m=tuple(offsets)), f"spot {spot + 1} off by {np.linalg.norm(way):.2f} m",
                  Expected(name, "spot-differs|spot-misplaced"), judged_positions=(0,), rig_offsets_m=rig)


def _spot_order(trial, rng, name, targets):
    """Two of the later recordings are handed over in the wrong order."""
    order = list(range(len(trial.scene.recorders)))
    a, b = (int(k) for k in rng.permutation(np.arange(1, len(order)))[:2])
    order[a], order[b] = order[b], order[a]
    return _noted(trial, f"recordings {a + 1} and {b + 1} exchanged", Expected(name, "spot-differs|spot-misplaced"),
                  judged_positions=(0,), order=tuple(order))


RIG = ("silent", "polarity", "swapped", "sub-swapped", "sub-plays-mid", "main-plays-bass", "doubled", "doubled-to-sub",
       "tweeter-dead", "woofer-dead", "dull", "weak", "off-in-one-spot")
RECORDING = ("clipping", "dropout-zeros", "dropout-lost", "dropout-repeated", "dropout-inserted", "own-recorder",
             "slam", "voice", "lorry", "hum", "rumble", "spot-gain", "spot-moved", "spot-order")
ALONE = ("low-snr", "automatic-gain", "noise-gate", "wrong-stimulus", "mic-silent", "channels-swapped", "cut-short",
         "nan")
TROUBLES = RIG + RECORDING + ALONE
NEEDS_SPOTS = ("off-in-one-spot", "spot-gain", "spot-moved", "spot-order")
_OWN = {"sub-swapped": _sub_swapped, "sub-plays-mid": _sub_plays_mid, "main-plays-bass": _main_plays_bass,
        "doubled-to-sub": _doubled_to_sub, "dull": _covered, "weak": _weak, "off-in-one-spot": _off_in_one_spot,
        "hum": _hum, "rumble": _rumble, "own-recorder": _own_recorder, "clipping": _clipping,
        "automatic-gain": _automatic_gain, "noise-gate": _noise_gate, "wrong-stimulus": _wrong_stimulus,
        "spot-gain": _spot_gain, "spot-moved": _spot_moved, "spot-order": _spot_order}


def _kind(name: str) -> str:
    """Faults of one kind do not come together."""
    for kind, names in {"bass": ("sub-swapped", "sub-plays-mid", "main-plays-bass", "doubled-to-sub"),
                        "wires": ("swapped", "doubled", "sub-swapped", "doubled-to-sub"),
                        "gap": ("dropout-zeros", "dropout-lost", "dropout-repeated", "dropout-inserted"),
                        "event": ("slam", "voice", "lorry"), "noise": ("hum", "rumble"),
                        "spot": ("spot-gain", "spot-moved", "spot-order", "swapped")}.items():
        if name in names:
            return kind
    return name


def pick_troubles(rng: np.random.Generator) -> list[str]:
    """One to three faults that can be told apart; those that spoil a whole recording come alone."""
    if rng.random() < 0.2:
        return [str(rng.choice(ALONE))]
    chosen: list[str] = []
    for name in (str(n) for n in rng.permutation(RIG + RECORDING)):
        kinds = [_kind(c) for c in chosen]
        bass_twice = {"bass", "wires"} & set(kinds) and _kind(name) in ("bass", "wires")
        if _kind(name) not in kinds and not bass_twice and len(chosen) < 3:
            chosen.append(name)
    return chosen[:int(rng.integers(1, 4))]


def trouble(trial: Trial, rng: np.random.Generator, forced: tuple[str, ...]) -> Trial:
    """A healthy trial made troublesome."""
    names = list(forced) or pick_troubles(rng)
    if "swapped" in names or any(n in NEEDS_SPOTS for n in names):
        trial = _spots(trial, rng, FIVE_SPOTS_M)
    elif rng.random() < 0.25:
        trial = _spots(trial, rng, THREE_SPOTS_M)
    if rng.random() < 0.4 or "channels-swapped" in names:
        trial = _every_recorder(trial, loopback=True)
    mains = [s.label for s in trial.scene.speakers if s.kind == "main"]
    targets = [str(label) for label in rng.permutation(mains)]
    for name in names:
        trial = _OWN[name](trial, rng, name, targets) if name in _OWN else _apply_one(trial, rng, name, targets)
    return trial


def _apply_one(trial: Trial, rng: np.random.Generator, name: str, targets: list[str]) -> Trial:
    """A fault of the case "faults"."""
    from random_rooms import _FAULTS, _exclusive
    return _FAULTS[_exclusive(name)](trial, rng, name, targets)
