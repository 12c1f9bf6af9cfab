#!/usr/bin/python3
"""The whole program against a virtual sound card: right numbers, and the right words when something fails.

Each case brings up a JACK server of its own (tools/virtual_card.py) and leaves nothing behind. Cases named real_* run
in real time, as failures do; fast_* in freewheel.
"""

import argparse
import concurrent.futures
import json
import os
import pathlib
import pty
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time

HERE = pathlib.Path(__file__).resolve()
SOURCE = HERE.parents[2]
sys.path.insert(0, str(SOURCE / "tools"))
from virtual_card import CardError, VirtualCard, end  # noqa: E402

SMALL_RIG = """layout = "3.0"
[interface]
sample_rate_hz = {rate}
{loopback}
[[speaker]]
label = "L"
output = 1
[[speaker]]
label = "R"
output = 2
[[speaker]]
label = "C"
output = {centre}
"""
SMALL_ROOM = """[room]
reverberation_time_s = 0.15
[noise]
white_dbfs = -80
[[speaker]]
label = "L"
position_m = [-1.0, 1.7, 0.0]
[[speaker]]
label = "R"
position_m = [1.0, 1.8, 0.0]
[[speaker]]
label = "C"
position_m = [0.1, 2.0, 0.0]
"""
QUICK = ["--sweep-seconds", "0.7", "--decay-seconds", "0.25"]
WORD_WITHIN_S = 2.0  # of the event
SLOW_MACHINE_S = 2.0  # on top: a loaded machine also starts and schedules late


class Failed(AssertionError):
    pass


def check(condition, complaint):
    if not condition:
        raise Failed(complaint)


class Session:
    """A folder with a rig and a room, the program, and a card."""

    def __init__(self, arguments, folder):
        self.program = arguments.program
        self.room_program = arguments.room
        self.folder = pathlib.Path(folder)

    def write(self, name, text):
        (self.folder / name).write_text(text)
        return self.folder / name

    def small(self, *, rate=48000, centre=3, loopback="", room=SMALL_ROOM):
        self.rig = self.write("rig.toml", SMALL_RIG.format(rate=rate, centre=centre, loopback=loopback))
        self.room = self.write("room.toml", room)
        return self

    def demo(self, positions=1):
        text = (SOURCE / "test_signals/demo/rig.toml").read_text()
        blocks = text.split("[[position]]")
        self.rig = self.write("rig.toml", "[[position]]".join(blocks[:1 + positions]))
        self.room = self.write("room.toml", (SOURCE / "test_signals/demo/room.toml").read_text())
        return self

    def card(self, **options):
        return VirtualCard(self.room_program, self.rig, self.room, **options)

    def start(self, card, *words, stdin=subprocess.DEVNULL):
        return subprocess.Popen([self.program, *map(str, words)], env=card.environment, cwd=self.folder, stdin=stdin,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def run(self, card, *words, timeout=120):
        process = self.start(card, *words)
        try:
            out, error = process.communicate(timeout=timeout)
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            raise Failed(f"hangs: {' '.join(map(str, words))}") from None
        return process.returncode, out, error

    def calibration(self, folder):
        return json.loads((self.folder / folder / "calibration.json").read_text())


def live(folder="live", *more, loopback=True):
    return ["calibrate", "rig.toml", "--out", folder, "--device", "jack:room", "--yes",
            *(["--loopback-channel", "2"] if loopback else []), *more]


def compare(session, one, two):
    """The limits of the issue: 0.005 ms and 0.05 dB."""
    a, b = session.calibration(one), session.calibration(two)
    worst_ms = worst_db = 0.0
    for x, y in zip(a["speakers"], b["speakers"]):
        check(x["status"] == y["status"] == "ok", f"{x['label']}: {x['status']} live, {y['status']} offline")
        check(x["measured"]["polarity"] == y["measured"]["polarity"], f"{x['label']}: another polarity")
        for p, q in zip(x["measured"]["positions"], y["measured"]["positions"]):
            worst_ms = max(worst_ms, abs(p["arrival_ms"] - q["arrival_ms"]))
            worst_db = max(worst_db, abs(p["level_db"] - q["level_db"]))
    print(f"largest difference {worst_ms:.5f} ms, {worst_db:.4f} dB")
    check(worst_ms <= 0.005, f"arrivals differ by {worst_ms} ms")
    check(worst_db <= 0.05, f"levels differ by {worst_db} dB")


def with_a_busy_core(work):
    busy = subprocess.Popen([sys.executable, "-c", "while True: pass"])
    try:
        work()
    finally:
        end(busy, 1)


def fast_equals_offline(session, period):
    session.demo()
    code, _, error = session.run(type("Here", (), {"environment": dict(os.environ)}), "calibrate", "rig.toml", "--out",
                                 "offline", "--virtual", "room.toml")
    check(code in (0, 1), f"offline: {code} {error}")
    with session.card(period=period, freewheel=True) as card:
        def work():
            code, _, error = session.run(card, *live())
            check(code in (0, 1), f"live: {code} {error}")
        with_a_busy_core(work)
    compare(session, "live", "offline")
    print("findings:", [finding["code"] for finding in session.calibration("live")["findings"]])


def wait_for_text(process, wanted, lines, deadline_s=30):
    """Reads stderr in the background until a line holds the text."""
    found = threading.Event()

    def read():
        for line in process.stderr:
            lines.append((time.monotonic(), line))
            if wanted in line:
                found.set()

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    check(found.wait(deadline_s), f"never said '{wanted}': {lines}")
    return thread


def expect_failure(process, thread, lines, since, words, status=3):
    """The message comes within two seconds of the event, in one line, and the program ends."""
    try:
        code = process.wait(WORD_WITHIN_S + SLOW_MACHINE_S)
    except subprocess.TimeoutExpired:
        process.kill()
        raise Failed(f"still runs after {WORD_WITHIN_S + SLOW_MACHINE_S} s; said {lines}") from None
    took = time.monotonic() - since
    thread.join(2)
    said = [line for _, line in lines if line.startswith("ringtrue:")]
    spoke = min((moment - since for moment, line in lines if line.startswith("ringtrue:")), default=took)
    print(f"said {spoke:.2f} s after the event, ended {took:.2f} s after it: exit {code}, {said}")
    check(code == status, f"exit {code}: {lines}")
    check(len(said) == 1 and re.search(words, said[0]), f"words: {said}")


def real_server_killed(session):
    session.small()
    with session.card() as card:
        process = session.start(card, *live("live", *QUICK))
        lines = []
        thread = wait_for_text(process, "sweeps at", lines)
        time.sleep(1.0)
        card.server.kill()
        expect_failure(process, thread, lines, time.monotonic(), "stopped answering|gave up|stream has stopped")
        check(not (session.folder / "live/calibration.json").exists(), "a result was written")


def real_device_gone(session):
    session.small()
    with session.card() as card:
        process = session.start(card, *live("live", *QUICK))
        lines = []
        thread = wait_for_text(process, "sweeps at", lines)
        time.sleep(1.0)
        card.room.kill()
        expect_failure(process, thread, lines, time.monotonic(), "deliver nothing|stopped answering|muted")


def real_microphone_muted(session):
    session.small()
    with session.card(room_options=["--fault", "mute-microphone@2+20000"]) as card:
        process = session.start(card, *live("live", *QUICK))
        lines = []
        thread = wait_for_text(process, "sweeps at", lines)
        time.sleep(1.0)
        expect_failure(process, thread, lines, time.monotonic(), "microphone's input delivers nothing")


def real_output_muted(session):
    session.small()
    with session.card(room_options=["--fault", "mute-output@2+10000"]) as card:
        process = session.start(card, *live("live", *QUICK))
        lines = []
        thread = wait_for_text(process, "sweeps at", lines)
        time.sleep(0.7)
        expect_failure(process, thread, lines, time.monotonic(), "muted or led elsewhere")


def real_room_frozen(session):
    session.small()
    with session.card(room_options=["--fault", "freeze@2+10000"]) as card:
        process = session.start(card, *live("live", *QUICK))
        lines = []
        thread = wait_for_text(process, "sweeps at", lines)
        time.sleep(0.7)
        expect_failure(process, thread, lines, time.monotonic(), "stopped answering|stream has stopped|deliver nothing")


def real_refusals(session):
    """What is known before the first sound is said before it, each in one line."""
    session.small(centre=17)
    here = session.folder
    with session.card() as card:
        def refused(words, *extra, folder="live"):
            since = time.monotonic()
            code, _, error = session.run(card, *live(folder, *extra))
            took = time.monotonic() - since
            print(f"{took:.2f} s: exit {code}, {error.strip()}")
            check(code == 3 and error.count("\n") == 1 and re.search(words, error), f"{code} {error}")
            check(took < WORD_WITHIN_S + SLOW_MACHINE_S, f"took {took} s")
            check(not (here / folder).exists(), "something was written")

        refused("has 16 outputs, but channel 17 is needed")
        session.small(rate=44100)
        refused("does not run at the rig's 44100 Hz")
        session.small()
        refused("has 2 inputs, but channel 5 is needed", "--input-channel", "5")
        code, _, error = session.run(card, "calibrate", "rig.toml", "--out", "live", "--device", "nosuch", "--yes")
        check(code == 3 and "no such audio device" in error, f"{code} {error}")
        code, out, error = session.run(card, "devices", "--json", "--rig", "rig.toml")
        check(code == 0, f"devices: {code} {error}")
        room = [device for device in json.loads(out)["devices"] if device["device"] == "jack:room"][0]
        check(room["outputs"] == 16 and room["inputs"] == 2 and room["can_play_rig"], f"{room}")


def codes(calibration):
    return [(finding["code"], finding["speaker"]) for finding in calibration["findings"]]


def fast_loss_is_repaired(session):
    """64 frames lost inside a sweep: that speaker alone is played again, and the numbers are those of a whole take."""
    session.small()
    with session.card(freewheel=True) as card:
        code, _, error = session.run(card, *live("whole", *QUICK))
        check(code == 0, f"whole: {code} {error}")
    with session.card(freewheel=True, room_options=["--fault", "drop=64@3+12000"]) as card:
        code, _, error = session.run(card, *live("live", *QUICK))
        check(code == 0, f"repaired: {code} {error}")
    check("played-again" in [code for code, _ in codes(session.calibration("live"))], f"{codes(session.calibration('live'))}")
    compare(session, "live", "whole")
    check((session.folder / "live/takes/position1.wav").exists(), "no take was kept")


def fast_loss_without_loopback(session):
    """The same with nothing but a microphone."""
    session.small()
    with session.card(freewheel=True) as card:
        code, _, error = session.run(card, *live("whole", *QUICK, loopback=False))
        check(code == 0, f"whole: {code} {error}")
    with session.card(freewheel=True, room_options=["--fault", "drop=64@3+12000"]) as card:
        code, _, error = session.run(card, *live("live", *QUICK, loopback=False))
        check(code in (0, 1), f"{code} {error}")
    print(codes(session.calibration("live")))
    check("played-again" in [code for code, _ in codes(session.calibration("live"))], "nothing was played again")
    compare(session, "live", "whole")


def fast_loss_every_time(session):
    """Samples lost in the same speaker's sweep at every repeat: a dropout, and no settings for it."""
    session.small()
    faults = [word for onset in (2, 8, 9, 10, 11) for word in ("--fault", f"drop=64@{onset}+12000")]
    with session.card(freewheel=True, room_options=faults) as card:
        code, _, error = session.run(card, *live("live", *QUICK))
        check(code == 1, f"{code} {error}")
    result = session.calibration("live")
    print(codes(result))
    spoiled = [speaker["label"] for speaker in result["speakers"] if speaker["status"] != "ok"]
    check(len(spoiled) == 1 and ("dropout", spoiled[0]) in codes(result), f"{spoiled}")


def start_other_program(card, *words):
    """Another JACK client that plays into the room. Returns it when its first sound has been played."""
    program = pathlib.Path(card.command[0]).with_name("ringtrue_other_program")
    other = subprocess.Popen([str(program), *words], env=card.environment, stdin=subprocess.DEVNULL,
                             stdout=subprocess.PIPE, text=True)
    check(other.stdout.readline() == "playing\n", "the other program does not play")
    return other


def real_second_client_mid_sweep(session):
    """A second program begins at different moments of sweeps of ordinary length, on one output or on all."""
    session.small()
    all_outputs = [word for output in range(1, 17) for word in ("--output", str(output))]
    programs = [("noise", "-45", 0.9, ["--output", "3"]), ("tone", "-30", 1.7, ["--output", "2"]),
                ("music", "-12", 2.4, ["--output", "1", "--output", "2"]), ("beeps", "-30", 3.3, all_outputs)]
    with session.card() as card:
        for kind, level, moment, outputs in programs:
            process = session.start(card, *live(f"live-{kind}"))
            lines = []
            thread = wait_for_text(process, "sweeps at", lines)
            time.sleep(moment)
            other = start_other_program(card, "--kind", kind, "--level-dbfs", level, *outputs)
            try:
                print(kind, level, end=": ")
                expect_failure(process, thread, lines, time.monotonic(), "something else plays")
            finally:
                end(other, 3)


def real_second_client_reads(session):
    """A second program that only listens does no harm."""
    session.small()
    with session.card() as card:
        code, _, error = session.run(card, *live("alone", *QUICK))
        check(code == 0, f"alone: {code} {error}")
        other = session.start(card, "level", "rig.toml", "--device", "jack:room", "--yes")
        try:
            code, _, error = session.run(card, *live("live", *QUICK))
            check(code == 0, f"{code} {error} {codes(session.calibration('live'))}")
        finally:
            end(other, 3)
    compare(session, "live", "alone")


def real_second_client(session):
    """A second program that plays on the same outputs, before and while ringtrue plays."""
    session.small()
    with session.card() as card:
        other = session.start(card, "linecheck", "rig.toml", "--device", "jack:room", "--yes", "--level-dbfs", "-20")
        try:
            time.sleep(2.5)
            since = time.monotonic()
            code, _, error = session.run(card, *live("live", *QUICK))
            print(f"{time.monotonic() - since:.2f} s: exit {code}, {error.strip().splitlines()[-1]}")
            check(code == 3 and re.search("something else plays|led elsewhere|mixed with others", error),
                  f"{code} {error}")
        finally:
            end(other, 3)


def real_stop_and_resume(session):
    """ctrl-C in the second position: silence at once, the first is kept, --resume goes on with the second."""
    session.small()
    with open(session.rig, "a", encoding="utf-8") as rig:
        rig.write("[[position]]\noffset_m = [0, 0, 0]\n[[position]]\noffset_m = [0.2, 0, 0]\n")
    with session.card() as card:
        process = session.start(card, *live("live", *QUICK), stdin=subprocess.PIPE)
        process.stdin.write("\n")
        process.stdin.flush()
        lines = []
        thread = wait_for_text(process, "position 2 of 2: sweeps at", lines, 60)
        time.sleep(1.0)
        since = time.monotonic()
        process.send_signal(signal.SIGINT)
        expect_failure(process, thread, lines, since, "stopped as you asked", status=130)
        check((session.folder / "live/takes/position1.wav").exists(), "position 1 is lost")
        check(not (session.folder / "live/calibration.json").exists(), "a result was written")
        process = session.start(card, *live("live", *QUICK, "--resume"), stdin=subprocess.PIPE)
        out, error = process.communicate("\n", timeout=60)
        check(process.returncode in (0, 1), f"{process.returncode} {error}")  # this room's microphone stays where it is
        check("position 1 of 2" not in error and "position 2 of 2: sweeps" in error, error)
        for speaker in session.calibration("live")["speakers"]:
            check(len(speaker["measured"]["positions"]) == 2, "not two positions")
        code, _, error = session.run(card, *live("live", *QUICK, "--again", "2"))
        check(code in (0, 1), f"--again: {code} {error}")
        check("position 1 of 2" not in error and "position 2 of 2: sweeps" in error, error)


def fast_last_position_again(session):
    """At a keyboard the last position can be recorded anew too, before anything is computed."""
    session.small()
    ours, its = pty.openpty()
    with session.card(freewheel=True) as card:
        words = [word for word in live("live", *QUICK) if word != "--yes"]
        process = session.start(card, *words, stdin=its)
        os.close(its)
        for answer in ("\n", "a\n", "\n", "\n"):  # begin; again; the microphone is there; use it
            os.write(ours, answer.encode())
        try:
            _, error = process.communicate(timeout=60)
        except subprocess.TimeoutExpired:
            process.kill()
            raise Failed("hangs") from None
    os.close(ours)
    check(process.returncode == 0, f"{process.returncode} {error}")
    check(error.count("sweeps at") == 2 and error.count("a: record it again") == 2, error)
    index = json.loads((session.folder / "live/takes/takes.json").read_text())
    check([take["position"] for take in index["takes"]] == [1], f"{index}")
    for speaker in session.calibration("live")["speakers"]:
        check(len(speaker["measured"]["positions"]) == 1, "not one position")


def real_asynchronous(session):
    """A server that does not wait for late clients: a right number, or one that is said to be none."""
    session.small()
    with session.card(freewheel=True) as card:
        code, _, error = session.run(card, *live("whole", *QUICK))
        check(code == 0, f"whole: {code} {error}")
    late = [word for onset in (2, 3, 4, 6) for word in ("--fault", f"late=40@{onset}+9000")]
    with session.card(synchronous=False, room_options=late) as card:
        code, _, error = session.run(card, *live("live", *QUICK))
        print(f"exit {code}", error.strip().splitlines()[-1])
        if code == 3:
            return  # it says that it cannot; that is no wrong number
        check(code in (0, 1), f"{code} {error}")
    one, two = session.calibration("live"), session.calibration("whole")
    print(codes(one))
    for x, y in zip(one["speakers"], two["speakers"]):
        if x["status"] != "ok":
            continue
        for p, q in zip(x["measured"]["positions"], y["measured"]["positions"]):
            check(abs(p["arrival_ms"] - q["arrival_ms"]) <= 0.005, f"{x['label']}: {p['arrival_ms']} {q['arrival_ms']}")
            check(abs(p["level_db"] - q["level_db"]) <= 0.05, f"{x['label']}: {p['level_db']} {q['level_db']}")


def fast_line_check(session):
    """Silent and inverted speakers, named over a real stream."""
    session.small(room=SMALL_ROOM.replace('label = "R"', 'label = "R"\nmodel = "silent"'))
    with session.card(freewheel=True) as card:
        code, out, error = session.run(card, "linecheck", "rig.toml", "--device", "room", "--yes", "--json",
                                       "--loopback-channel", "2")
        check(code == 1, f"{code} {error}")
        result = json.loads(out)
        check([line["heard"] for line in result["lines"]] == [True, False, True], out)
        check([(f["code"], f["speaker"]) for f in result["findings"]] == [("silent-output", "R")], out)


def fast_sound_pressure(session):
    """The noise over a real stream calibrates the rig; what would be too loud then is not played, --yes or not."""
    session.small()
    with session.card(freewheel=True) as card:
        code, out, error = session.run(card, "level", "rig.toml", "--device", "jack:room", "--yes", "--json", "--meter", "70",
                                       "--speaker", "R")
        check(code == 0, f"level: {code} {error}")
        check(abs(json.loads(out)["c_mean_db"] - 70) < 3 and json.loads(out)["written"], out)
        code, _, error = session.run(card, *live("spl", *QUICK))
        check(code == 0, f"{code} {error}")
        result = session.calibration("spl")
        check(result["level_unit"] == "dB SPL" and "listening-level" in [code for code, _ in codes(result)], f"{codes(result)}")
        print("full scale", result["rig"]["microphone"], "levels",
              [speaker["measured"]["positions"][0]["level_db"] for speaker in result["speakers"]])
        text = session.rig.read_text()
        session.rig.write_text(re.sub("full_scale_spl_db = .*", "full_scale_spl_db = 150.0", text))
        for words in (live("loud", *QUICK), ["linecheck", "rig.toml", "--device", "jack:room", "--yes", "--level-dbfs", "-6"]):
            code, _, error = session.run(card, *words)
            print(error.strip().splitlines()[-1])
            check(code == 2 and re.search("would reach 1?[0-9][0-9] dB.A. at the microphone, more than 85", error), f"{code} {error}")
        check(not (session.folder / "loud").exists(), "something was written")
        code, _, error = session.run(card, *live("loud", *QUICK, "--loud"))
        check(code in (0, 1), f"--loud: {code} {error}")


def fast_interleaved(session):
    """Overlapping sweeps: the decay is measured first, live as in the virtual room."""
    session.small()
    code, _, error = session.run(type("Here", (), {"environment": dict(os.environ)}), "calibrate", "rig.toml", "--out",
                                 "offline", "--virtual", "room.toml", "--interleave")
    check(code in (0, 1), f"offline: {code} {error}")
    with session.card(freewheel=True) as card:
        code, _, error = session.run(card, *live("live", "--interleave"))
        check(code in (0, 1), f"live: {code} {error}")
    said = [line for line in error.splitlines() if "spaced for that" in line]
    print(said)
    check(len(said) == 1, error)
    compare(session, "live", "offline")


CASES = {
    "fast_sound_pressure": fast_sound_pressure,
    "fast_interleaved": fast_interleaved,
    "fast_loss_is_repaired": fast_loss_is_repaired,
    "fast_loss_without_loopback": fast_loss_without_loopback,
    "fast_loss_every_time": fast_loss_every_time,
    "fast_line_check": fast_line_check,
    "real_second_client": real_second_client,
    "real_second_client_mid_sweep": real_second_client_mid_sweep,
    "real_second_client_reads": real_second_client_reads,
    "fast_last_position_again": fast_last_position_again,
    "real_stop_and_resume": real_stop_and_resume,
    "real_asynchronous": real_asynchronous,
    "fast_256": lambda session: fast_equals_offline(session, 256),
    "fast_1024": lambda session: fast_equals_offline(session, 1024),
    "real_server_killed": real_server_killed,
    "real_device_gone": real_device_gone,
    "real_microphone_muted": real_microphone_muted,
    "real_output_muted": real_output_muted,
    "real_room_frozen": real_room_frozen,
    "real_refusals": real_refusals,
}


def run_case(name, arguments):
    with tempfile.TemporaryDirectory(prefix="ringtrue-live-") as folder:
        start = time.monotonic()
        try:
            CASES[name](Session(arguments, folder))
        except (Failed, CardError) as failure:
            print(f"{name}: FAILED: {failure}", flush=True)
            return False
        print(f"{name}: passed, {time.monotonic() - start:.1f} s", flush=True)
        return True


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--program", required=True)
    parser.add_argument("--room", required=True, help="the room program of the virtual card")
    parser.add_argument("--jobs", type=int, default=1, help="cases at the same time")
    parser.add_argument("cases", nargs="*", metavar="CASE", help=f"of {', '.join(CASES)}; all without")
    arguments = parser.parse_args()
    with concurrent.futures.ThreadPoolExecutor(arguments.jobs) as pool:
        passed = list(pool.map(lambda name: run_case(name, arguments), arguments.cases or CASES))
    return 0 if all(passed) else 1


if __name__ == "__main__":
    sys.exit(main())
