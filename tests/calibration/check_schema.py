#!/usr/bin/python3
"""Checks calibrations that the program writes against docs/calibration.schema.json, with Debian's python3-jsonschema.

    check_schema.py --program build/ringtrue --source .

Writes a calibration in a virtual room, with bass management, one of a silent speaker, and one of a re-check. Each must
follow the schema; each of a list of broken copies must not, so that the schema is known to refuse something.
"""

import argparse
import copy
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import jsonschema

RIG = """layout = "custom"
[bass_management]
[[speaker]]
label = "L"
output = 1
[[speaker]]
label = "R"
output = 2
[[speaker]]
label = "LFE"
output = 4
"""
ROOM = """[[speaker]]
label = "L"
position_m = [-1.0, 1.5, 0.0]
[[speaker]]
label = "R"
position_m = [1.0, {y}, 0.1]
model = "{model}"
[[speaker]]
label = "LFE"
position_m = [0.5, 1.4, -0.8]
"""
QUICK = ["--sweep-seconds", "1", "--decay-seconds", "0.5"]


def break_it(calibration: dict):
    """(what is wrong, a copy with that wrong)."""
    def broken(change):
        other = copy.deepcopy(calibration)
        change(other)
        return other

    yield "another schema", broken(lambda c: c.update(schema="ringtrue.calibration/2"))
    yield "no speakers", broken(lambda c: c.update(speakers=[]))
    yield "a delay in words", broken(lambda c: c["speakers"][0]["settings"].update(delay_ms="3.41"))
    yield "a negative delay", broken(lambda c: c["speakers"][0]["settings"].update(delay_ms=-1.0))
    yield "no trim", broken(lambda c: c["speakers"][0]["settings"].pop("trim_db"))
    yield "an unknown polarity", broken(lambda c: c["speakers"][0]["measured"].update(polarity="positive"))
    yield "a place of two numbers", broken(lambda c: c["speakers"][0]["measured"].update(position_m=[0.0, 1.0]))
    yield "an unknown severity", broken(lambda c: c.update(findings=[{"severity": "bad", "code": "a", "speaker": None,
                                                                      "message": "m"}]))
    yield "a filter without its Q", broken(lambda c: c["speakers"][0]["settings"].update(
        equaliser=[{"shape": "peak", "frequency_hz": 100.0, "gain_db": -1.0}]))


def main() -> int:
    """Write, check, break, check."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", required=True)
    parser.add_argument("--source", required=True)
    options = parser.parse_args()
    schema = json.loads((Path(options.source) / "docs/calibration.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    failures = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "rig.toml").write_text(RIG, encoding="utf-8")
        for room, y, model in (("room", 1.7, "two-way"), ("silent", 1.7, "silent"), ("moved", 1.9, "two-way")):
            (folder / f"{room}.toml").write_text(ROOM.format(y=y, model=model), encoding="utf-8")

        def run(*arguments: str) -> None:
            status = subprocess.run([str(Path(options.program).resolve()), *arguments, *QUICK], cwd=folder,
                                    stdout=subprocess.DEVNULL, check=False).returncode
            if status not in (0, 1):
                raise SystemExit(f"{' '.join(arguments)}: exit status {status}")

        run("calibrate", "rig.toml", "--virtual", "room.toml", "--out", "whole")
        run("calibrate", "rig.toml", "--virtual", "silent.toml", "--out", "silent")
        run("recheck", "rig.toml", "--against", "whole/calibration.json", "--speaker", "R", "--virtual", "moved.toml",
            "--out", "rechecked")
        for kind in ("whole", "silent", "rechecked"):
            calibration = json.loads((folder / kind / "calibration.json").read_text(encoding="utf-8"))
            for error in validator.iter_errors(calibration):
                print(f"{kind}: {error.json_path}: {error.message}")
                failures += 1
        whole = json.loads((folder / "whole" / "calibration.json").read_text(encoding="utf-8"))
        for what, broken in break_it(whole):
            if validator.is_valid(broken):
                print(f"the schema takes {what}")
                failures += 1
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
