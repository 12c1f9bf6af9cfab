"""What the filters of an answer do to the true responses, for the case `equaliser` of evaluate.py."""

from __future__ import annotations

from typing import Callable

import numpy as np

from room_simulator import Truth


def third_octave_db(transfer: np.ndarray, f_hz: np.ndarray) -> np.ndarray:
    """Pink-noise levels (positions, bands) of the third octaves with nominal centres 80 Hz-2 kHz; IEC 61260-1:2014,
    mid-bands 1000 G^(k/3), G = 10^0.3, edges G^(1/6) to each side."""
    rows = []
    for centre in 1000.0 * 10.0 ** (np.arange(-11, 4) / 10.0):
        inside = (f_hz >= centre * 10.0 ** -0.05) & (f_hz < centre * 10.0 ** 0.05)
        weight = 1.0 / f_hz[inside]
        rows.append((np.abs(transfer[:, inside]) ** 2 * weight).sum(axis=1) / weight.sum())
    return 10.0 * np.log10(np.array(rows).T)


def filters_apart_db(answer: dict, other: dict, equaliser_response: Callable) -> float:
    """Largest difference of the filters of two answers, 30 Hz-16 kHz, each speaker's mean gone."""
    f = np.geomspace(30.0, 16000.0, 500)
    worst = 0.0
    for a, b in zip(answer["speakers"], other["speakers"]):
        gains = [20.0 * np.log10(np.abs(equaliser_response(x["settings"].get("equaliser"), f))) for x in (a, b)]
        apart = gains[0] - gains[1]
        worst = max(worst, float(np.max(np.abs(apart - apart.mean()))))
    return worst


def mirrored(label: str) -> str:
    """The label on the other side."""
    return {"L": "R", "R": "L"}.get(label[0], label[0]) + label[1:]


def score(truth: Truth, given: dict, mains: list[str], answer: dict, equaliser_response: Callable) -> dict:
    """What the filters do to the true responses of the mains.

    `flatter`: standard deviation of the third-octave levels from 80 Hz to 2 kHz, power averaged over positions, after
    over before; mean over mains (`flatter_worst` the worst main). `spot_ratio`: the same at single positions, worst.
    `boost_over_db`: by how much the sum of all filters exceeds the interface's limit anywhere (<= 0 is good).
    `pair_gap_db`: largest difference of the two equalisers of a left-right pair more than half an octave above the
    transition.
    """
    f = truth.frequency_hz
    limit_db = answer["rig"]["interface"]["eq_gain_range_db"][1]
    bands = answer["rig"]["interface"]["eq_bands"]
    dense_hz = np.geomspace(10.0, 23900.0, 20000)
    ratios, spot_ratios, boosts, gains, counts = [], [], [], {}, []
    for k in mains:
        filters = given[k]["settings"].get("equaliser") or []
        counts.append(len(filters))
        before = third_octave_db(truth.transfer[k], f)
        after = third_octave_db(truth.transfer[k] * equaliser_response(filters, f), f)
        mean = [10.0 * np.log10(np.mean(10.0 ** (x / 10.0), axis=0)) for x in (before, after)]
        ratios.append(float(np.std(mean[1]) / np.std(mean[0])))
        spot_ratios += list(np.std(after, axis=1) / np.std(before, axis=1))
        gains[k] = 20.0 * np.log10(np.abs(equaliser_response(filters, dense_hz)))
        boosts.append(float(gains[k].max()) - limit_db)
    above = dense_hz > 1.414 * float((answer.get("correction") or {}).get("transition_hz") or 300.0)
    gaps = [float(np.max(np.abs(gains[k] - gains[mirrored(k)])[above])) for k in mains if mirrored(k) in gains]
    return {"flatter": float(np.mean(ratios)), "flatter_worst": max(ratios), "spot_ratio": float(max(spot_ratios)),
            "boost_over_db": max(boosts), "pair_gap_db": max(gaps) if gaps else 0.0,
            "filters_over": float(max(counts) - bands), "filters_mean": float(np.mean(counts))}
