#!/usr/bin/python3
"""Judges the program from outside, in rooms it has never seen.

For every room: writes a rig, lets the program make its stimulus, plays that through room_simulator.py, lets the program
calibrate from the recording, and compares calibration.json with the truth.

    evaluate.py --program build/ringtrue --case identical --rooms 20 --seed 1 --jobs 2 --max-delay-error-ms 0.02

One line a room, then what was worst. Exit status 0; 1 when a limit given by an option is broken; 2 when it could not
run.

What the figures mean (healthy mains only; silent, disturbed or otherwise spoiled speakers are left out):
  arrival   measured arrival, relative to the mean of the mains, against the truth; worst, ms
  delay     delay_ms + true arrival should be the same for all mains; worst departure from their mean, ms
            (rounding to the interface's step alone makes up to half a step)
  level     level_db relative to the mean of the mains, against the truth; worst, dB
  trim      true level through equaliser and trim_db should be the same for all mains; worst departure, dB
  sub       the same for subwoofers, relative to the mains: arrival (ms), level (dB), level after trims (dB; wanted is
            0 with bass management, +10 without; several together)
  covered   share of mains whose arrival (and level) error is within twice the stated uncertainty, and the rms of error
            over stated: 1 is just right, 1/3 means that it is stated three times too wide
`places` adds place and direction errors by what was known (spots exact or 1 cm off, with loopback or tape, or relative
without either) and `lost`, mains that should have been located and were not.
With several microphone positions delay and trim are judged at the first and on the mean over positions; the better
counts. `confident` lists speakers that a disturbance or clipping has touched and that are still called ok although
their arrival is off by more than 0.05 ms or their level by more than 0.5 dB. A finding counts as invented when it is a
warning or stop that no fault of the room explains.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

import bass_score
import equaliser_score
import random_rooms
from random_trouble import TROUBLES
import settings_cases
from random_rooms import ALL_FAULTS, CASES, Expected, Trial, make_trial
from room_simulator import Truth, level_band, pink_level_db, simulate, write_test_stimulus
from wav_files import open_wav

SERIOUS = ("warn", "stop")
ANY_SEVERITY = ("clock-drift", "noise-event", "low-signal-to-noise|hum|rumble")     # codes that may be a mere note
CONSEQUENCES = ("tolerance", "trim-out-of-range", "delay-out-of-range", "low-signal-to-noise")
TIMEOUT_S = 180.0
CONFIDENT_MS, CONFIDENT_DB = 0.05, 0.5


# ---- running the program -------------------------------------------------------------------------------------------

def run_program(command: list[str]) -> dict:
    """Run a command; exit status (None after TIMEOUT_S), seconds, peak memory in MB, last line of stderr."""
    started = time.monotonic()
    with tempfile.TemporaryFile() as errors:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=errors, stdin=subprocess.DEVNULL)
        status, usage = None, None
        while status is None and time.monotonic() - started < TIMEOUT_S:
            done, code, usage = os.wait4(process.pid, os.WNOHANG)
            if done:
                status = os.waitstatus_to_exitcode(code)
                process.returncode = status
            else:
                time.sleep(0.01)
        if status is None:
            process.kill()
            process.wait()
        errors.seek(0)
        lines = errors.read().decode("utf-8", "replace").strip().splitlines()
    return {"status": status, "seconds": time.monotonic() - started,
            "memory_mb": usage.ru_maxrss / 1024.0 if status is not None else None, "error": lines[-1] if lines else ""}


def run_trial(program: str, trial: Trial, keep: str | None) -> dict:
    """One room from rig to judgement; see judge() for the keys of the result."""
    directory = Path(tempfile.mkdtemp(prefix="ringtrue-evaluate-"))
    try:
        rig, stimulus, out = directory / "rig.toml", directory / "stimulus.wav", directory / "out"
        rig.write_text(trial.rig_toml, encoding="utf-8")
        made = run_program([program, "stimulus", str(rig), "--out", str(stimulus), *trial.stimulus_options])
        if made["status"] != 0 or not stimulus.exists():
            return {"failed": f"stimulus: status {made['status']}: {made['error']}"}
        if trial.harmonics:
            trial = distorting(trial, stimulus)
        played = stimulus
        if trial.wrong_stimulus:
            played = directory / "other.wav"
        if trial.wrong_stimulus not in ("", "foreign"):
            run_program([program, "stimulus", str(rig), "--out", str(played), *trial.wrong_stimulus.split()])
        elif trial.wrong_stimulus:
            write_test_stimulus(played, {s.output: (60.0, 18000.0) for s in trial.scene.speakers}, seconds=3.3)
        recordings = [directory / f"recording{p + 1}.wav" for p in range(len(trial.scene.recorders))]
        began = time.monotonic()
        truth = simulate(trial.scene, played, recordings)
        simulated_s = time.monotonic() - began
        command = [program, "calibrate", str(rig), "--out", str(out), "--stimulus", str(stimulus)]
        for path in [recordings[p] for p in trial.order] or recordings:
            command += ["--recording", str(path)]
        if trial.loopback:
            command += ["--loopback-channel", "2"]
        if trial.scene.mic_response:
            microphone = directory / "microphone.txt"
            microphone.write_text("".join(f"{f:.4f} {g:.3f}\n" for f, g in trial.scene.mic_response), encoding="utf-8")
            command += ["--mic-response", str(microphone)]
        if trial.known_distance:
            command += ["--known-distance", "{}={:.2f}".format(*trial.known_distance)]
        run = run_program(command)
        answer = None
        if (out / "calibration.json").exists():
            answer = json.loads((out / "calibration.json").read_text(encoding="utf-8"))
        if keep:
            (directory / "truth.json").write_text(truth.as_json() + "\n", encoding="utf-8")
        result = judge(trial, truth, answer, run["status"])
        if trial.case == "equaliser" and trial.scene.mic_response and answer:
            simulate(replace(trial.scene, mic_response=()), played, recordings)
            plain = directory / "plain"
            at = command.index("--mic-response")
            run_program([str(plain) if part == str(out) else part for part in command[:at]])
            other = json.loads((plain / "calibration.json").read_text(encoding="utf-8"))
            result["mic_trace_db"] = equaliser_score.filters_apart_db(answer, other, equaliser_response)
        result.update(run, simulated_s=simulated_s, stimulus_s=made["seconds"],
                      stimulus_length_s=open_wav(stimulus).duration_s)
        if trial.judge_crosstalk:
            result["crosstalk_db"] = crosstalk(program, trial, directory)
        return result
    finally:
        if keep:
            target = Path(keep) / f"{trial.case}-{trial.index}"
            shutil.rmtree(target, ignore_errors=True)
            shutil.move(directory, target)
        else:
            shutil.rmtree(directory, ignore_errors=True)


def distorting(trial: Trial, stimulus: Path) -> Trial:
    """The trial with every speaker distorting as `harmonics` says, at the level at which its sweep plays.

    x + a x^2 + b x^3 of a sine of amplitude A holds a A / 2 of second and b A^2 / 4 of third harmonic, as shares of A.
    """
    wave = open_wav(stimulus)
    speakers = []
    for s in trial.scene.speakers:
        peak = float(np.abs(wave.channel(s.output - 1, 0, wave.frames)).max())
        speakers.append(s.changed(second_order=2.0 * trial.harmonics[0] / peak,
                                  third_order=4.0 * trial.harmonics[1] / peak ** 2))
    return replace(trial, scene=replace(trial.scene, speakers=tuple(speakers)))


def crosstalk(program: str, trial: Trial, directory: Path) -> float | None:
    """Largest share of a main's response that is not there when its speaker plays alone, dB; no noise, no distortion
    in the run that is compared with. 100 Hz to 16 kHz, over what both responses cover."""
    still = replace(trial.scene.noise, signal_to_noise_db=140.0)
    answers = []
    for name, options, clean in (("overlapping", trial.stimulus_options, False), ("alone", (), True)):
        stimulus, out, heard = (directory / f"{name}{end}" for end in (".wav", "", "-recorded.wav"))
        run_program([program, "stimulus", str(directory / "rig.toml"), "--out", str(stimulus), *options])
        scene = replace(trial.scene, noise=still)
        if clean:
            scene = replace(scene, speakers=tuple(s.changed(second_order=0.0, third_order=0.0) for s in scene.speakers))
        simulate(scene, stimulus, [heard])
        run_program([program, "calibrate", str(directory / "rig.toml"), "--out", str(out), "--stimulus", str(stimulus),
                     "--recording", str(heard)])
        index = json.loads((out / "impulse-responses" / "index.json").read_text(encoding="utf-8"))
        answers.append({s["label"]: (s, open_wav(out / "impulse-responses" / s["file"])) for s in index["speakers"]
                        if s["file"]})
    worst = None
    for s in trial.scene.speakers:
        if s.kind == "main" and all(s.label in a for a in answers):
            share = _difference_db(*(a[s.label] for a in answers))
            worst = share if worst is None else max(worst, share)
    return worst


def _difference_db(first, second) -> float:
    """Energy of the difference of two saved responses against the second's, gain and time matched, dB."""
    size, spectra, starts, ends = 1 << 17, [], [], []
    for entry, wave in (first, second):
        starts.append((entry["first_sample_ms"] + entry["remainder_ms"][0]) * 1e-3 * wave.sample_rate_hz)
        ends.append(starts[-1] + wave.frames)
    rate = first[1].sample_rate_hz
    f = np.fft.rfftfreq(size, 1.0 / rate)
    band = np.clip(np.log2(np.maximum(f, 1.0) / 100.0), 0, 1) * np.clip(np.log2(16000.0 / np.maximum(f, 1.0)) * 4, 0, 1)
    for (_, wave), start in zip((first, second), starts):
        x = np.fft.rfft(wave.channel(0, 0, wave.frames), size) * band
        x *= np.exp(-2j * np.pi * f / rate * (start - min(starts)))
        spectra.append((np.fft.irfft(x, size), np.fft.irfft(2j * np.pi * f / rate * x, size)))
    edge = int(0.01 * rate)
    common = slice(int(max(starts) - min(starts)) + edge, int(min(ends) - min(starts)) - edge)
    (a, slope), (b, _) = ((x[common], y[common]) for x, y in spectra)
    # The zeros of time of the two runs differ by some nanoseconds: undone with the gain, by least squares.
    gain, shift = np.linalg.lstsq(np.stack((a, slope), axis=1), b, rcond=None)[0]
    a = gain * a + shift * slope
    return float(10.0 * np.log10(np.sum((a - b) ** 2) / np.sum(b ** 2)))


# ---- judging -------------------------------------------------------------------------------------------------------

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


def _spread(values: list[float]) -> float | None:
    """Largest departure from the mean; None for fewer than two values."""
    return float(np.max(np.abs(np.array(values) - np.mean(values)))) if len(values) > 1 else None


def _smaller(a: float | None, b: float | None) -> float | None:
    """The smaller of two numbers, either of which may be missing."""
    return min((x for x in (a, b) if x is not None), default=None)


def _is_number(x) -> bool:
    """True for a finite number."""
    return isinstance(x, (int, float)) and not isinstance(x, bool) and bool(np.isfinite(x))


def judge(trial: Trial, truth: Truth, answer: dict | None, status: int | None) -> dict:
    """Compare an answer (calibration.json or None) with the truth."""
    result = {"case": trial.case, "room": trial.index, "summary": trial.summary, "answered": answer is not None}
    result.update(judge_findings(trial, truth, answer, status))
    if answer is None:
        if not any(item.refusal for item in trial.expected):
            result["failed"] = f"no calibration.json, exit status {status}"
        return result
    given = {s["label"]: s for s in answer["speakers"]}
    missing = [s.label for s in trial.scene.speakers if s.label not in given]
    if missing:
        return result | {"failed": "not in calibration.json: " + ", ".join(missing)}
    left_out = set(trial.spoiled) | {k for group in ("touched", "clipped") for spot in truth.facts[group] for k in spot}
    left_out |= {k for k, fact in truth.speakers.items() if fact["silent"]}
    result["wrong_silence"] = [k for k, fact in truth.speakers.items()
                               if fact["silent"] != (given[k]["status"] == "silent") and k not in
                               (left_out if not fact["silent"] else ())]
    healthy = [k for k in truth.speakers if k not in left_out]
    result["unreliable"] = [k for k in healthy if given[k]["status"] != "ok"]
    healthy = [k for k in healthy if given[k]["status"] == "ok"]
    mains = [k for k in healthy if truth.speakers[k]["kind"] == "main"]
    subs = [k for k in healthy if truth.speakers[k]["kind"] == "sub"]
    result.update(judge_polarity(trial, truth, given, healthy))
    if trial.judge_accuracy and len(mains) > 1:
        result.update(judge_measures(truth, given, mains, subs, answer.get("time_reference") == "loopback",
                                     trial.judged_positions))
        result.update(judge_settings(trial, truth, given, mains, subs))
        result["confident"] = confidently_wrong(truth, given, mains, left_out - set(trial.spoiled))
        if (trial.case in ("bass", "subs") or trial.case == "equaliser" and trial.bass_managed) and subs \
                and "failed" not in result:
            result.update(bass_score.score(truth, given, mains, subs, trial.notes, equaliser_response))
        if trial.case == "equaliser":
            result.update(equaliser_score.score(truth, given, mains, answer, equaliser_response))
        if trial.case == "places":
            result.update(judge_places(trial, truth, given, mains))
    return result


def judge_polarity(trial: Trial, truth: Truth, given: dict, healthy: list[str]) -> dict:
    """Labels whose polarity is wrong or unsure, and mains whose invert setting does not undo their polarity."""
    said = {k: given[k]["measured"]["polarity"] for k in healthy}
    true = {k: truth.speakers[k]["polarity"] for k in healthy}
    return {"polarity_wrong": [k for k in healthy if said[k] not in (true[k], "unsure")],
            "polarity_unsure": [k for k in healthy if said[k] == "unsure"],
            "invert_differs": [k for k in healthy if truth.speakers[k]["kind"] == "main" and given[k].get("settings")
                               and bool(given[k]["settings"].get("invert")) != (true[k] == "inverted")]}


def judge_measures(truth: Truth, given: dict, mains: list[str], subs: list[str], absolute: bool,
                   positions: tuple[int, ...] | None = None) -> dict:
    """Errors of the measured arrivals and levels at all positions; see the top of this file."""
    arrival_errors, level_errors, sub_arrival, sub_level, absolute_errors, ratios, level_ratios = ([] for _ in range(7))
    for p in positions if positions is not None else range(len(truth.speakers[mains[0]]["positions"])):
        def error(label: str, key: str) -> float:
            return given[label]["measured"]["positions"][p][key] - truth.speakers[label]["positions"][p][key]

        arrival = {k: error(k, "arrival_ms") for k in mains}
        level = {k: error(k, "level_db") for k in mains}
        middle_ms, middle_db = np.mean(list(arrival.values())), np.mean(list(level.values()))
        for k in mains:
            arrival_errors.append(arrival[k] - middle_ms)
            level_errors.append(level[k] - middle_db)
            spot = given[k]["measured"]["positions"][p]
            if _is_number(spot.get("arrival_uncertainty_ms")) and spot["arrival_uncertainty_ms"] > 0:
                ratios.append((arrival[k] - middle_ms) / spot["arrival_uncertainty_ms"])
            if _is_number(spot.get("level_uncertainty_db")) and spot["level_uncertainty_db"] > 0:
                level_ratios.append((level[k] - middle_db) / spot["level_uncertainty_db"])
            if absolute:
                absolute_errors.append(arrival[k])
        for k in subs:
            sub_arrival.append(error(k, "arrival_ms") - middle_ms)
            sub_level.append(error(k, "level_db") - middle_db)
            spot = given[k]["measured"]["positions"][p]
            if _is_number(spot.get("level_uncertainty_db")) and spot["level_uncertainty_db"] > 0:
                level_ratios.append(sub_level[-1] / spot["level_uncertainty_db"])
    places = [float(np.linalg.norm(np.subtract(given[k]["measured"]["position_m"], truth.speakers[k]["position_m"])))
              for k in mains if given[k]["measured"].get("position_m")]
    result = {"arrival_error_ms": _worst(arrival_errors), "level_error_db": _worst(level_errors),
              "sub_arrival_error_ms": _worst(sub_arrival), "sub_level_error_db": _worst(sub_level),
              "absolute_arrival_error_ms": _worst(absolute_errors), "position_error_m": _worst(places),
              "uncertainty_ratios": ratios, "level_uncertainty_ratios": level_ratios}
    return result


def confidently_wrong(truth: Truth, given: dict, mains: list[str], doubtful: set[str]) -> list[str]:
    """Doubtful mains that are called ok and are badly wrong at the first position, against the healthy mains."""
    def error(label: str, key: str) -> float:
        true = truth.speakers[label]["positions"][0][key]
        said = given[label]["measured"]["positions"][0][key]
        return said - true if _is_number(said) and true is not None else float("inf")

    middle_ms = np.mean([error(k, "arrival_ms") for k in mains])
    middle_db = np.mean([error(k, "level_db") for k in mains])
    return sorted(k for k in doubtful if given[k]["status"] == "ok" and truth.speakers[k]["kind"] == "main"
                  and not truth.speakers[k]["silent"]
                  and (abs(error(k, "arrival_ms") - middle_ms) > CONFIDENT_MS
                       or abs(error(k, "level_db") - middle_db) > CONFIDENT_DB))


def _worst(values) -> float | None:
    """Largest modulus, or None."""
    return float(np.max(np.abs(values))) if len(values) else None


def judge_settings(trial: Trial, truth: Truth, given: dict, mains: list[str], subs: list[str]) -> dict:
    """What delays and trims leave behind when applied to the true responses."""
    settled = {}
    for k in mains + subs:
        settings = given[k].get("settings")
        if not settings or not _is_number(settings.get("delay_ms")) or not _is_number(settings.get("trim_db")):
            return {"failed": f"{k}: no delay_ms or trim_db in settings"}
        shaped = truth.transfer[k] * equaliser_response(settings.get("equaliser"), truth.frequency_hz)
        band = level_band(truth.speakers[k]["kind"])
        levels = [pink_level_db(h, truth.frequency_hz, band) + settings["trim_db"] for h in shaped]
        arrivals = [spot["arrival_ms"] + settings["delay_ms"] for spot in truth.speakers[k]["positions"]]
        settled[k] = {"first_db": levels[0], "mean_db": 10 * np.log10(np.mean(10 ** (np.array(levels) / 10))),
                      "first_ms": arrivals[0], "mean_ms": float(np.mean(arrivals))}

    judged = [k for k in mains if k not in trial.quiet]
    result = {"delay_error_ms": _smaller(*(_spread([settled[k][w] for k in mains]) for w in ("first_ms", "mean_ms"))),
              "trim_error_db": _smaller(*(_spread([settled[k][w] for k in judged]) for w in ("first_db", "mean_db")))}
    wanted = 0.0 if trial.bass_managed else 10.0
    if len(subs) > 1:       # they play together, so their sum counts; two LFE channels are not made here
        f = truth.frequency_hz
        together = sum(bass_score.with_settings(truth, given, k, f, equaliser_response) for k in subs)
        levels = np.array([pink_level_db(h, f, level_band("sub")) for h in together])
        result["sub_trim_error_db"] = min(
            abs(level - np.mean([settled[m][w] for m in judged]) - wanted)
            for level, w in ((levels[0], "first_db"), (10 * np.log10(np.mean(10 ** (levels / 10))), "mean_db")))
    elif subs:
        result["sub_trim_error_db"] = max(
            min(abs(settled[k][w] - np.mean([settled[m][w] for m in judged]) - wanted) for w in ("first_db", "mean_db"))
            for k in subs)
    return result


# ---- places --------------------------------------------------------------------------------------------------------

def judge_places(trial: Trial, truth: Truth, given: dict, mains: list[str]) -> dict:
    """Worst errors of found places and directions, in metres and degrees, by what was known.

    `place_exact`, `direction_exact`: spots exact, distances by loopback or tape; `place_off`, `direction_off`: spots 1 cm
    off; `direction_relative`: neither loopback nor tape, then a place counts by its stated uncertainty only. `lost`:
    mains without a direction, or without a place where the time is known. Ratios: error over stated uncertainty.
    """
    places, directions, lost, ratios = [], [], [], []
    absolute = trial.notes["time"] != "neither"
    for k in mains:
        measured, true = given[k]["measured"], np.array(truth.speakers[k]["position_m"])
        if not _is_number(measured.get("azimuth_deg")):
            lost.append(k)
            continue
        found = random_rooms.direction(measured["azimuth_deg"], measured["elevation_deg"])
        cosine = float(np.clip(found @ true / np.linalg.norm(true), -1.0, 1.0))
        directions.append(float(np.degrees(np.arccos(cosine))))
        ratios.append(directions[-1] / max(measured["direction_uncertainty_deg"], 1e-6) / np.sqrt(2.0))
        if measured.get("position_m"):
            places.append(float(np.linalg.norm(np.subtract(measured["position_m"], true))))
            away_m = measured["distance_m"] - float(np.linalg.norm(true))
            ratios.append(away_m / max(measured["distance_uncertainty_m"], 1e-6))
        elif absolute:
            lost.append(k)
    kind = "relative" if not absolute else "off" if trial.notes["off_m"] else "exact"
    return {f"place_{kind}_m": _worst(places), f"direction_{kind}_deg": _worst(directions), "lost": lost,
            "place_uncertainty_ratios": ratios}


# ---- findings ------------------------------------------------------------------------------------------------------

def _expected_labels(item: Expected, truth: Truth) -> set[str]:
    """Labels of which at least one has to be named."""
    if not item.by:
        return set(item.speakers)
    return {k for spot in truth.facts[item.by] for k in spot} or set(item.speakers)


def _names(finding: dict, labels: set[str]) -> bool:
    """True when a finding is about one of the labels, by its speaker or in its words."""
    message = finding.get("message", "")
    return finding.get("speaker") in labels or any(re.search(rf"(?<!\w){re.escape(k)}(?!\w)", message) for k in labels)


def judge_findings(trial: Trial, truth: Truth, answer: dict | None, status: int | None) -> dict:
    """Faults missed, faults found but not with the right speaker, and findings that nothing explains."""
    findings = answer.get("findings", []) if answer else []
    serious = [x for x in findings if x["severity"] in SERIOUS]
    explained: list[dict] = []
    missed, misnamed = [], []
    for item in trial.expected:
        labels = _expected_labels(item, truth)
        pool = findings if item.code in ANY_SEVERITY else serious
        hits = [x for x in pool if not item.code or x["code"] in item.code.split("|")]
        right = [x for x in hits if not labels or _names(x, labels) or (item.code and x.get("speaker") is None)]
        named = [x for x in hits if not labels or _names(x, labels)]
        explained += right if item.code else [x for x in hits if not labels or _names(x, labels)]
        explained += [x for x in serious if x.get("speaker") in labels or
                      (x["code"] in CONSEQUENCES and x.get("speaker") is None)]
        if item.refusal and (status == 2 or (serious and not item.code) or hits):
            explained += serious
            continue
        if item.required and not hits:
            missed.append(item.fault)
        elif item.required and not named:
            misnamed.append(item.fault)
    for p, peak in enumerate(truth.facts.get("peak", ())):  # noise alone drove the recorder beyond full scale
        explained += [x for x in serious if x["code"] == "clipped-recording" and peak >= 1.0
                      and f"recording{p + 1}.wav" in x["message"]]
    invented = [x for x in serious if not any(x is y for y in explained)]
    if not trial.judge_accuracy:
        invented = []
    wanted_status = 1 if serious else 0
    bad_status = status not in ((wanted_status, 2) if any(x.refusal for x in trial.expected) else (wanted_status,))
    return {"missed": missed, "misnamed": misnamed, "invented": [_short(x) for x in invented],
            "findings": [_short(x) for x in serious], "bad_status": bad_status,
            "faults_expected": sum(x.required for x in trial.expected)}


def _short(finding: dict) -> str:
    """code(speaker)."""
    speaker = finding.get("speaker")
    return finding["code"] + (f"({speaker})" if speaker else "")


# ---- reporting -----------------------------------------------------------------------------------------------------

COLUMNS = (("arrival", "arrival_error_ms", 4), ("delay", "delay_error_ms", 4), ("level", "level_error_db", 3),
           ("trim", "trim_error_db", 3), ("subarr", "sub_arrival_error_ms", 2), ("sublev", "sub_level_error_db", 2),
           ("subtrim", "sub_trim_error_db", 2), ("bass", "bass_loss_db", 2), ("basslog", "bass_log_loss_db", 2),
           ("bassmain", "bass_main_loss_db", 2), ("mainlog", "bass_main_log_loss_db", 2),
           ("bassvar", "bass_variance_db2", 1), ("together", "bass_variance_together_db2", 1),
           ("ends", "band_end_error_oct", 2))
EQUALISER_COLUMNS = (("flatter", "flatter", 3), ("flatmax", "flatter_worst", 3), ("spot", "spot_ratio", 3),
                     ("boost", "boost_over_db", 2), ("pairgap", "pair_gap_db", 2), ("filters", "filters_mean", 2),
                     ("mictrace", "mic_trace_db", 2))
EQUALISER_LIMITS = (("over", "filters_over", 0),)
PLACES = ("place_exact_m", "direction_exact_deg", "place_off_m", "direction_off_deg", "place_relative_m",
          "direction_relative_deg")
LIMITS = {  # option: (key in the totals, what is broken when it is larger)
    "max-arrival-error-ms": "arrival_error_ms", "max-delay-error-ms": "delay_error_ms",
    "max-level-error-db": "level_error_db", "max-trim-error-db": "trim_error_db",
    "max-sub-arrival-error-ms": "sub_arrival_error_ms", "max-sub-level-error-db": "sub_level_error_db",
    "max-sub-trim-error-db": "sub_trim_error_db", "max-bass-loss-db": "bass_loss_db",
    "max-bass-log-loss-db": "bass_log_loss_db", "max-bass-main-loss-db": "bass_main_loss_db",
    "max-bass-main-log-loss-db": "bass_main_log_loss_db", "max-band-end-error-oct": "band_end_error_oct",
    "max-flatter": "mean_flatter", "max-flatter-worst": "flatter_worst", "max-spot-ratio": "spot_ratio",
    "max-mic-trace-db": "mic_trace_db", "max-boost-over-db": "boost_over_db", "max-pair-gap-db": "pair_gap_db",
    "max-filters-over": "filters_over", "max-place-exact-m": "place_exact_m",
    "max-direction-exact-deg": "direction_exact_deg", "max-place-off-m": "place_off_m",
    "max-direction-off-deg": "direction_off_deg", "max-direction-relative-deg": "direction_relative_deg",
    "max-lost": "lost",
    "max-absolute-arrival-error-ms": "absolute_arrival_error_ms", "max-position-error-m": "position_error_m",
    "max-polarity-errors": "polarity_wrong", "max-polarity-unsure": "polarity_unsure", "max-missed": "missed",
    "max-misnamed": "misnamed", "max-invented": "invented", "max-unreliable": "unreliable",
    "max-wrong-silence": "wrong_silence", "max-confident": "confident",
    "max-false-alarms": "false_alarm", "max-missed-mistypes": "missed_mistype",
    "max-misnamed-values": "misnamed_value", "max-accused": "accused", "max-changed-others": "changed_others",
    "max-moved-delay-error-ms": "moved_delay_error_ms", "max-moved-trim-error-db": "moved_trim_error_db",
    "max-failures": "failed", "max-stimulus-seconds": "stimulus_length_s", "max-crosstalk-db": "crosstalk_db",
    "max-seconds": "seconds", "max-memory-mb": "memory_mb"}
LEAST = {  # option: (keys in the totals, what is broken when one of them is smaller)
    "min-covered": ("uncertainty_covered",), "min-level-covered": ("level_uncertainty_covered",),
    "min-rms-ratio": ("uncertainty_rms_ratio", "level_uncertainty_rms_ratio")}
COUNTED = ("polarity_wrong", "polarity_unsure", "invert_differs", "missed", "misnamed", "invented", "unreliable",
           "wrong_silence", "confident", "lost")


def columns_of(case: str) -> tuple:
    """What to show of a case."""
    return EQUALISER_COLUMNS + (COLUMNS[3], COLUMNS[6], *COLUMNS[7:]) if case == "equaliser" else COLUMNS


def room_line(result: dict) -> str:
    """One room in one line, and a second one for what was found."""
    cells = []
    for _, key, digits in columns_of(result["case"]):
        value = result.get(key)
        cells.append(f"{value:>8.{digits}f}" if value is not None else f"{'-':>8}")
    line = f"{result['room']:>4} " + "".join(cells) + f"  {result.get('seconds', 0.0):5.2f} s  {result['summary']}"
    notes = [f"{key}: {', '.join(result[key])}" for key in (*COUNTED, "findings") if result.get(key)]
    notes += [f"{key} {result[key]:.3f}" for key in PLACES if result.get(key) is not None]
    if result.get("bad_status"):
        notes.append(f"exit status {result['status']}")
    if result.get("status") not in (0, 1) and result.get("error"):
        notes.append(result["error"])
    if result.get("failed"):
        notes.append("FAILED " + result["failed"])
    return line + ("\n     " + " | ".join(notes) if notes else "")


def totals_of(results: list[dict]) -> dict:
    """Worst figures, counts and the statistics of stated uncertainty over all rooms."""
    totals: dict = {"rooms": len(results), "failed": sum(bool(r.get("failed")) for r in results)}
    for key in [key for _, key, _ in COLUMNS + EQUALISER_COLUMNS + EQUALISER_LIMITS] + [
            "absolute_arrival_error_ms", "position_error_m", *PLACES, "seconds", "memory_mb", "stimulus_length_s",
            "crosstalk_db", "bass_stake_db", "bass_log_stake_db", "simulated_s"]:
        values = [r[key] for r in results if r.get(key) is not None]
        if values:
            totals[key], totals["median_" + key] = max(values), float(np.median(values))
            totals["mean_" + key] = float(np.mean(values))
    for key in COUNTED:
        totals[key] = sum(len(r.get(key, ())) for r in results)
    totals["faults_expected"] = sum(r.get("faults_expected", 0) for r in results)
    totals["bad_status"] = sum(bool(r.get("bad_status")) for r in results)
    for name, key in (("uncertainty", "uncertainty_ratios"), ("level_uncertainty", "level_uncertainty_ratios"),
                      ("place_uncertainty", "place_uncertainty_ratios")):
        ratios = np.array([x for r in results for x in r.get(key, ())])
        if len(ratios):
            totals[name + "_covered"] = float(np.mean(np.abs(ratios) <= 2.0))
            totals[name + "_rms_ratio"] = float(np.sqrt(np.mean(ratios ** 2)))
    return totals


def totals_text(totals: dict) -> str:
    """The totals in words."""
    lines = [f"{totals['rooms']} rooms, {totals['failed']} could not be judged"]
    for name, key, digits in (*COLUMNS, *EQUALISER_COLUMNS, ("absolute", "absolute_arrival_error_ms", 4),
                              ("place", "position_error_m", 3),
                              *((key.rsplit("_", 1)[0], key, 3) for key in PLACES)):
        if key in totals:
            worst, median = totals[key], totals["median_" + key]
            lines.append(f"  {name:<10} worst {worst:.{digits}f}, median {median:.{digits}f}  ({key})")
    if "crosstalk_db" in totals:
        lines.append(f"  crosstalk  worst {totals['crosstalk_db']:.1f} dB; stimulus up to "
                     f"{totals['stimulus_length_s']:.1f} s")
    if "bass_stake_db" in totals:
        lines.append(f"  bass       the worst setting would have cost {totals['median_bass_stake_db']:.1f} dB, "
                     f"in basslog {totals['median_bass_log_stake_db']:.1f} dB (medians)")
    lines.append(f"  polarity   {totals['polarity_wrong']} wrong, {totals['polarity_unsure']} unsure, "
                 f"{totals['invert_differs']} settings differ")
    lines.append(f"  faults     {totals['faults_expected']} expected, {totals['missed']} missed, "
                 f"{totals['misnamed']} without the right speaker, {totals['invented']} invented")
    lines.append(f"  statuses   {totals['wrong_silence']} wrongly silent or not, {totals['unreliable']} healthy ones "
                 f"unreliable, {totals['confident']} confidently wrong, {totals['bad_status']} exit statuses wrong")
    for name, words in (("uncertainty", "arrival"), ("level_uncertainty", "level"), ("place_uncertainty", "place")):
        if name + "_covered" in totals:
            lines.append(f"  covered    {words}: {100 * totals[name + '_covered']:.1f} % within twice the stated "
                         f"uncertainty; rms of error / stated {totals[name + '_rms_ratio']:.2f}")
    if "seconds" in totals:
        lines.append(f"  run time   worst {totals['seconds']:.2f} s, median {totals['median_seconds']:.2f} s, "
                     f"{totals.get('memory_mb', 0):.0f} MB; "
                     f"simulation {totals.get('median_simulated_s', 0):.1f} s a room")
    return "\n".join(lines)


def broken_limits(totals: dict, options) -> list[str]:
    """Limits given on the command line that the totals break. A figure that is missing altogether breaks its limit."""
    broken = []
    for option, key in LIMITS.items():
        limit = getattr(options, option.replace("-", "_"))
        if limit is not None and not totals.get(key, np.inf) <= limit:
            broken.append(f"--{option} {limit:g}: {totals.get(key, 'no figure')}")
    for option, keys in LEAST.items():
        limit = getattr(options, option.replace("-", "_"))
        least = min(totals.get(key, 0.0) for key in keys)
        if limit is not None and not least >= limit:
            broken.append(f"--{option} {limit:g}: {least}")
    return broken


def _one_room(arguments: tuple) -> dict:
    """Worker: make, play and judge one room."""
    program, case, seed, index, faults, keep, custom_layout = arguments
    random_rooms.CUSTOM_LAYOUT = custom_layout
    if case in settings_cases.RUNNERS:
        try:
            return settings_cases.RUNNERS[case](program, run_program, seed, index, keep)
        except Exception as error:
            return {"case": case, "room": index, "summary": "", "failed": repr(error)}
    try:
        trial = make_trial(case, seed, index, faults)
    except Exception as error:          # a bug in here must not hide the other rooms
        return {"case": case, "room": index, "summary": "", "failed": f"making the room: {error!r}"}
    try:
        return {"case": case, "room": index, "summary": trial.summary} | run_trial(program, trial, keep)
    except Exception as error:          # also a calibration.json that does not follow the contract
        return {"case": case, "room": index, "summary": trial.summary, "failed": repr(error)}


def parse_options(arguments: list[str] | None = None) -> argparse.Namespace:
    """Command line; see the top of this file."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, help="the program to judge, e.g. build/ringtrue")
    parser.add_argument("--case", choices=(*CASES, *settings_cases.RUNNERS), default="identical")
    parser.add_argument("--rooms", type=int, default=20)
    parser.add_argument("--first-room", type=int, default=0, help="number of the first room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="rooms at a time")
    parser.add_argument("--fault", action="append", default=[], choices=sorted({*ALL_FAULTS, *TROUBLES}),
                        help="only with --case faults or trouble: this fault in every room; may be repeated")
    parser.add_argument("--custom-layout", default=random_rooms.CUSTOM_LAYOUT,
                        help="what rig.toml calls a layout that is no standard one")
    parser.add_argument("--json", help="write all results to this file")
    parser.add_argument("--keep", help="keep rigs, recordings and results in this directory (large)")
    for option, key in LIMITS.items():
        parser.add_argument("--" + option, type=float, metavar="LIMIT", help=f"exit 1 when {key} is larger")
    for option, keys in LEAST.items():
        parser.add_argument("--" + option, type=float, metavar="LIMIT", help=f"exit 1 when {keys[0]} is smaller")
    return parser.parse_args(arguments)


def main(arguments: list[str] | None = None) -> int:
    """Judge all rooms of a case and report."""
    options = parse_options(arguments)
    program = str(Path(options.program).resolve())
    if not os.access(program, os.X_OK):
        print(f"evaluate.py: {options.program}: no such program; build it first", file=sys.stderr)
        return 2
    work = [(program, options.case, options.seed, options.first_room + k, tuple(options.fault), options.keep,
             options.custom_layout) for k in range(options.rooms)]
    after_calibration = options.case in settings_cases.RUNNERS
    print(f"case {options.case}, seed {options.seed}\nroom "
          + ("" if after_calibration else "".join(f"{name:>8}" for name, _, _ in columns_of(options.case))))
    results = []
    with ProcessPoolExecutor(max_workers=options.jobs) as pool:
        for result in pool.map(_one_room, work):
            results.append(result)
            print(settings_cases.room_line(result) if after_calibration else room_line(result), flush=True)
    if after_calibration:
        lines, totals = settings_cases.report(results)
        print("\n".join(lines))
    else:
        totals = totals_of(results)
        print(totals_text(totals))
    if options.json:
        Path(options.json).write_text(json.dumps({"totals": totals, "rooms": results}, indent=1), encoding="utf-8")
    broken = broken_limits(totals, options)
    for line in broken:
        print("BROKEN " + line)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
