"""Two cases of evaluate.py that judge what happens after the calibration: `verify` and `recheck`.

verify   The room is calibrated; then its settings are typed in, once as they are and once with one value mistyped, and
         the same room is recorded again with other noise. `verify` has to pass the first and to fail the second, naming
         the speaker and the value.
recheck  The room is calibrated; then one speaker is moved by 3 to 50 cm and the room recorded again. `recheck` has to give
         the delay that lets the moved speaker arrive with the others and the trim that makes it as loud, and to leave
         the others' settings alone unless it must change them.
"""

from __future__ import annotations

import copy
import json
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

from random_rooms import CASES, clearance_m, make_trial
from room_simulator import Scene, equaliser_response, level_band, pink_level_db, simulate, truth_of

VERIFY_BASES = ("identical", "noisy", "layouts", "drift", "loopback", "bass", "healthy")
RECHECK_BASES = ("identical", "noisy", "layouts", "loopback", "bass", "healthy")
STEPS = {"delay_ms": (0.01, 2), "trim_db": (0.1, 1)}
SPEED_M_S, FOOT_M = 344.0, 0.3048


class Session:
    """One room in a temporary folder: stimulus made, calibrated once."""

    def __init__(self, program: str, run_program, trial, directory: Path, extra=()):
        self.program, self.run_program, self.trial, self.directory = program, run_program, trial, directory
        self.rig, self.stimulus = directory / "rig.toml", directory / "stimulus.wav"
        self.rig.write_text(trial.rig_toml, encoding="utf-8")
        made = run_program([program, "stimulus", str(self.rig), "--out", str(self.stimulus)])
        if made["status"] != 0:
            raise RuntimeError(f"stimulus: status {made['status']}: {made['error']}")
        self.truth = None
        recordings = self.record(trial.scene, "before")
        run = self.run("calibrate", [str(self.rig), "--out", str(directory / "out"), *extra], recordings)
        self.calibrated_status = run["status"]
        self.path = directory / "out" / "calibration.json"
        self.calibration = json.loads(self.path.read_text(encoding="utf-8"))

    def record(self, scene: Scene, name: str) -> list[Path]:
        """Recordings of a scene at all of its positions."""
        paths = [self.directory / f"{name}{p + 1}.wav" for p in range(len(scene.recorders))]
        self.truth = simulate(scene, self.stimulus, paths)
        return paths

    def run(self, command: str, arguments: list[str], recordings: list[Path]) -> dict:
        """Run a command of the program on recordings."""
        line = [self.program, command, *arguments, "--stimulus", str(self.stimulus)]
        for path in recordings:
            line += ["--recording", str(path)]
        if self.trial.loopback:
            line += ["--loopback-channel", "2"]
        return self.run_program(line)


def other_noise(scene: Scene, rng: np.random.Generator) -> Scene:
    """The same scene recorded another day: other noise, another start, another microphone gain."""
    gain_db = rng.uniform(-3.0, 3.0)
    recorders = tuple(replace(r, start_s=r.start_s + rng.uniform(-0.05, 0.05), mic_gain_db=r.mic_gain_db + gain_db)
                      for r in scene.recorders)
    return replace(scene, noise=replace(scene.noise, seed=int(rng.integers(1 << 30))), recorders=recorders)


# ---- verify --------------------------------------------------------------------------------------------------------

def give_equalisers(calibration: dict, rng: np.random.Generator) -> None:
    """Random filters for mains that have none, so that the equaliser is judged whatever the calibration thinks of it."""
    for speaker in calibration["speakers"]:
        settings = speaker["settings"]
        if speaker["kind"] == "sub" or settings["delay_ms"] is None or settings["equaliser"] or rng.random() < 0.3:
            continue
        for _ in range(rng.integers(1, 4)):
            frequency = 10.0 ** rng.uniform(np.log10(120.0), np.log10(9000.0))
            settings["equaliser"].append({
                "shape": str(rng.choice(("peak", "peak", "peak", "low_shelf", "high_shelf"))),
                "frequency_hz": float(f"{frequency:.3g}"), "gain_db": round(-rng.uniform(1.0, 8.0), 1),
                "q": round(float(rng.uniform(0.7, 4.0)), 2)})


def digit_slips(value: float, decimals: int, rng: np.random.Generator) -> float:
    """The value with two neighbouring digits exchanged, or with one digit wrong."""
    text = f"{value:.{decimals}f}"
    places = [i for i, c in enumerate(text) if c.isdigit()]
    letters = list(text)
    pairs = [(a, b) for a, b in zip(places, places[1:]) if letters[a] != letters[b]]
    if pairs and rng.random() < 0.5:
        a, b = pairs[rng.integers(len(pairs))]
        letters[a], letters[b] = letters[b], letters[a]
    else:
        place = places[rng.integers(len(places))]
        letters[place] = str(rng.choice([d for d in "0123456789" if d != letters[place]]))
    return float("".join(letters))


def mistype(calibration: dict, rng: np.random.Generator, kind: str) -> tuple[dict, list[str], list[str], str] | None:
    """(settings by label, labels at fault, values at fault, words) with one thing mistyped; None when it does not apply."""
    typed = {s["label"]: copy.deepcopy(s["settings"]) for s in calibration["speakers"]
             if s["settings"]["delay_ms"] is not None}
    kinds = {s["label"]: s["kind"] for s in calibration["speakers"]}
    label = str(rng.choice(list(typed)))
    settings = typed[label]
    was = copy.deepcopy(settings)
    if kind in ("delay", "trim"):
        key = {"delay": "delay_ms", "trim": "trim_db"}[kind]
        step, decimals = STEPS[key]
        ways = ["digits", "digits", "decimal", "left out", "partner"] + (["sign"] if kind == "trim" else ["unit"])
        way = str(rng.choice(ways))
        value = settings[key]
        if way == "digits":
            value = digit_slips(value, decimals, rng)
        elif way == "decimal":
            value = round(value * float(rng.choice((10.0, 0.1))), decimals)
        elif way == "left out":
            value = 0.0
        elif way == "sign":
            value = -value
        elif way == "unit":
            metres = value * SPEED_M_S / 1e3
            value = round(float(rng.choice((metres, metres / FOOT_M, value * 48.0, value / 48.0))), 2)
        else:
            other = {"L": "R", "R": "L"}.get(label[0], "") + label[1:]
            if other not in typed:
                return None
            value, typed[other][key] = typed[other][key], value
            settings[key] = value
            if abs(value - was[key]) < 2.0 * step:
                return None
            return typed, [label, other], [key], f"{key} of {label} and {other} exchanged"
        if abs(value - settings[key]) < 1.5 * step or abs(value) > (200.0 if kind == "delay" else 30.0):
            return None
        settings[key] = value
        return typed, [label], [key], f"{label} {key} {was[key]} -> {value} ({way})"
    if kind == "polarity":
        settings["invert"] = not settings["invert"]
        return typed, [label], ["invert"], f"{label} polarity"
    if not settings["equaliser"] or kinds[label] == "sub":
        return None
    index = int(rng.integers(len(settings["equaliser"])))
    item = settings["equaliser"][index]
    way = str(rng.choice(("gain sign", "gain digits", "frequency digits", "q digits", "frequency decimal", "left out",
                          "all left out")))
    value = f"equaliser[{index + 1}]"
    if way == "gain sign":
        item["gain_db"] = -item["gain_db"]
        value += ".gain_db"
    elif way == "gain digits":
        item["gain_db"] = digit_slips(item["gain_db"], 1, rng)
        value += ".gain_db"
    elif way == "frequency digits":
        item["frequency_hz"] = digit_slips(item["frequency_hz"], 0, rng)
        value += ".frequency_hz"
    elif way == "frequency decimal":
        item["frequency_hz"] *= float(rng.choice((10.0, 0.1)))
        value += ".frequency_hz"
    elif way == "q digits":
        item["q"] = digit_slips(item["q"], 2, rng)
        value += ".q"
    elif way == "left out":
        del settings["equaliser"][index]
    else:
        settings["equaliser"] = []
        value = "equaliser"
    if any(not 15.0 < x["frequency_hz"] < 20000.0 or not 0.1 <= x["q"] <= 40.0 or abs(x["gain_db"]) > 30.0
           for x in settings["equaliser"]):
        return None
    f = 10.0 ** np.linspace(np.log10(100.0), np.log10(12000.0), 200)
    change = 20.0 * np.log10(np.abs(equaliser_response(settings["equaliser"], f) / equaliser_response(was["equaliser"], f)))
    if np.max(np.abs(change - np.median(change))) < 0.5:
        return None         # too little to be heard or seen
    return typed, [label], [value], f"{label} {value} {was['equaliser'][index]} {way} -> " + (
        str(settings["equaliser"][index]) if "left out" not in way else "none")


def judge_verification(directory: Path, status: int | None, labels: list[str], values: list[str], words: str) -> dict:
    """What is wrong with a verification; `labels` empty: everything was right."""
    path = directory / "verification.json"
    if not path.exists():
        return {"failed": f"no verification.json, exit status {status}"}
    answer = json.loads(path.read_text(encoding="utf-8"))
    failing = {s["label"]: [x["value"] for x in s["suspicions"]] for s in answer["speakers"] if s["verdict"] != "pass"}
    if not labels:
        bad = [f"{k}: {', '.join(v)}" for k, v in failing.items()]
        if status != 0 or bad:
            return {"false_alarm": bad or [x["message"] for x in answer["findings"] if x["severity"] != "note"]}
        margins = {}
        for key in ("delay_ms", "level_db", "response_db"):
            margins[key] = max((abs(s[key]["error"]) for s in answer["speakers"] if s[key]), default=0.0)
        return {"margins": margins}
    result: dict = {}
    named = [x for x in answer["findings"] if x["severity"] != "note" and x["speaker"] in labels]
    if status != 1 or not named:
        result["missed_mistype"] = [words]
    elif not any(v in found for k in labels for v in values for found in [failing.get(k, [])]):
        silent = any(x["code"] == "silent-output" for x in named)
        if not (silent and values == ["trim_db"]):
            result["misnamed_value"] = [f"{words}: said {failing}"]
    extra = [k for k in failing if k not in labels]
    if extra:
        result["accused"] = [f"{words}: also {', '.join(f'{k} {failing[k]}' for k in extra)}"]
    return result


def run_verify(program: str, run_program, seed: int, index: int, keep: str | None) -> dict:
    """One room: verified as typed, then with one value mistyped."""
    base = VERIFY_BASES[index % len(VERIFY_BASES)]
    trial = make_trial(base, seed, index)
    rng = np.random.default_rng([seed, index, 77])
    directory = Path(tempfile.mkdtemp(prefix="ringtrue-verify-"))
    result = {"case": "verify", "room": index, "summary": f"{base}: {trial.summary}"}
    try:
        session = Session(program, run_program, trial, directory)
        give_equalisers(session.calibration, rng)
        session.path.write_text(json.dumps(session.calibration), encoding="utf-8")
        right = {s["label"]: s["settings"] for s in session.calibration["speakers"]
                 if s["settings"]["delay_ms"] is not None}
        wrong = None
        while wrong is None:
            wrong = mistype(session.calibration, rng, ("delay", "trim", "polarity", "equaliser")[index % 4])
        for name, (typed, labels, values, words) in (("right", (right, [], [], "")), ("wrong", wrong)):
            scene = replace(other_noise(trial.scene, rng), typed_in=typed)
            recordings = session.record(scene, name)
            out = directory / f"verified-{name}"
            run = session.run("verify", [str(session.rig), "--against", str(session.path), "--out", str(out)], recordings)
            result.update(judge_verification(out, run["status"], labels, values, words))
            result.setdefault("seconds", run["seconds"])
            if run["status"] not in (0, 1):
                result["failed"] = run["error"]
        result["summary"] += ", " + wrong[3]
        return result
    finally:
        _put_away(directory, keep, f"verify-{index}")


# ---- recheck -------------------------------------------------------------------------------------------------------

def moved_scene(trial, rng: np.random.Generator) -> tuple[Scene, str, np.ndarray]:
    """The trial's scene with one main moved by 3 to 50 cm; stays 0.3 m from every wall."""
    scene = trial.scene
    mains = [s for s in scene.speakers if s.kind == "main"]
    while True:
        speaker = mains[rng.integers(len(mains))]
        way = rng.normal(size=3)
        way *= rng.uniform(0.03, 0.5) / np.linalg.norm(way)
        place = tuple(np.array(speaker.position_m) + way)
        if clearance_m(scene.room, place) > 0.3:
            break
    speakers = tuple(s.changed(position_m=place) if s.label == speaker.label else s for s in scene.speakers)
    return replace(scene, speakers=speakers), speaker.label, way


def run_recheck(program: str, run_program, seed: int, index: int, keep: str | None) -> dict:
    """One room in which one speaker was moved."""
    base = RECHECK_BASES[index % len(RECHECK_BASES)]
    trial = make_trial(base, seed, index)
    rng = np.random.default_rng([seed, index, 78])
    directory = Path(tempfile.mkdtemp(prefix="ringtrue-recheck-"))
    result = {"case": "recheck", "room": index, "summary": f"{base}: {trial.summary}"}
    try:
        session = Session(program, run_program, trial, directory)
        old = session.calibration
        active = index % 3 == 2             # settings left in, or taken out as for a calibration
        scene, label, way = moved_scene(trial, rng)
        scene = other_noise(scene, rng)
        if active:
            scene = replace(scene, typed_in={s["label"]: s["settings"] for s in old["speakers"]
                                             if s["settings"]["delay_ms"] is not None})
        result["summary"] += f", {label} moved {100 * np.linalg.norm(way):.0f} cm" + (", settings in" if active else "")
        recordings = session.record(scene, "moved")
        out = directory / "rechecked"
        run = session.run("recheck", [str(session.rig), "--against", str(session.path), "--speaker", label, "--out",
                                      str(out)], recordings)
        result["seconds"], result["status"] = run["seconds"], run["status"]
        if not (out / "calibration.json").exists():
            return result | {"failed": f"no calibration.json, exit status {run['status']}: {run['error']}"}
        new = json.loads((out / "calibration.json").read_text(encoding="utf-8"))
        result.update(judge_recheck(session.truth, old, new, label))
        return result
    finally:
        _put_away(directory, keep, f"recheck-{index}")


def judge_recheck(truth, old: dict, new: dict, moved: str) -> dict:
    """Departure of the moved speaker from the others, and what else was changed."""
    before = {s["label"]: s for s in old["speakers"]}
    after = {s["label"]: s for s in new["speakers"]}
    mains = [k for k, s in after.items() if s["kind"] == "main" and s["status"] == "ok"]
    at, level = {}, {}
    for k in mains:
        settings = after[k]["settings"]
        shaped = truth.transfer[k][0] * equaliser_response(settings["equaliser"], truth.frequency_hz)
        at[k] = truth.speakers[k]["positions"][0]["arrival_ms"] + settings["delay_ms"]
        level[k] = pink_level_db(shaped, truth.frequency_hz, level_band("main")) + settings["trim_db"]
    others = [k for k in mains if k != moved]
    changed = [k for k in after if k != moved and after[k]["settings"] != before[k]["settings"]]
    said = any(x["code"] == "others-changed" for x in new["findings"])
    shifts = {key: {round(after[k]["settings"][key] - before[k]["settings"][key], 6) for k in changed}
              for key in ("delay_ms", "trim_db")}
    needed = not changed or (said and all(len(v) == 1 for v in shifts.values()))
    return {"moved_delay_error_ms": abs(at[moved] - float(np.mean([at[k] for k in others]))),
            "moved_trim_error_db": abs(level[moved] - float(np.mean([level[k] for k in others]))),
            "changed_others": [] if needed else changed, "shifted_all": bool(changed)}


def _put_away(directory: Path, keep: str | None, name: str) -> None:
    """Keep the folder or remove it."""
    if keep:
        target = Path(keep) / name
        shutil.rmtree(target, ignore_errors=True)
        shutil.move(directory, target)
    else:
        shutil.rmtree(directory, ignore_errors=True)


RUNNERS = {"verify": run_verify, "recheck": run_recheck}
COUNTED = ("false_alarm", "missed_mistype", "misnamed_value", "accused", "changed_others")


def report(results: list[dict]) -> tuple[list[str], dict]:
    """Lines of text and the totals."""
    totals = {"rooms": len(results), "failed": sum(bool(r.get("failed")) for r in results)}
    for key in COUNTED:
        totals[key] = sum(bool(r.get(key)) for r in results)
    for key in ("moved_delay_error_ms", "moved_trim_error_db", "seconds"):
        values = [r[key] for r in results if r.get(key) is not None]
        if values:
            totals[key] = max(values)
    totals["shifted_all"] = sum(bool(r.get("shifted_all")) for r in results)
    margins = [r["margins"] for r in results if r.get("margins")]
    for key in ("delay_ms", "level_db", "response_db"):
        if margins:
            totals["margin_" + key] = max(m[key] for m in margins)
    return [f"  {key:<22} {value:.4g}" for key, value in totals.items()], totals


def room_line(result: dict) -> str:
    """One room in a line or two."""
    line = f"{result['room']:>4}  {result.get('seconds', 0.0):5.2f} s  {result['summary']}"
    for key in ("moved_delay_error_ms", "moved_trim_error_db"):
        if key in result:
            line += f", {result[key]:.4f}"
    notes = [f"{key}: {result[key]}" for key in (*COUNTED, "failed") if result.get(key)]
    return line + "".join("\n      " + note for note in notes)
