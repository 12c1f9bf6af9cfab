#!/usr/bin/python3
"""Brings up a sound card where there is none, runs a command with it, and takes it down again.

The card is a JACK server with the dummy driver and `ringtrue_room`, a client that plays a virtual room: the audio
library lists it as the device `jack:room`. Debian packages: jackd2, libjack-jackd2-dev (tools/setup.sh).

    tools/virtual_card.py --rig test_signals/demo/rig.toml --virtual test_signals/demo/room.toml -- \
        build/ringtrue calibrate test_signals/demo/rig.toml --device jack:room --loopback-channel 2 --yes --out live

The server runs in synchronous mode, sample-exact even on a busy machine; --freewheel runs it faster than real time,
--asynchronous as real servers run. Nothing is left behind, whatever the command does.
"""

import argparse
import fcntl
import glob
import os
import pathlib
import signal
import subprocess
import sys
import tempfile
import time

QUIET_SOUND_SYSTEM = "pcm.default { type null }\nctl.default { type null }\n"


class CardError(RuntimeError):
    pass


def end(process, patience_s):
    """Ends a process that was started here, gently first."""
    if process is None or process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(patience_s)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def server_runs():
    """Whether any JACK server runs on this machine, whoever started it."""
    for path in glob.glob("/proc/[0-9]*/comm"):
        try:
            if pathlib.Path(path).read_text().strip() in ("jackd", "jackdbus"):
                return True
        except OSError:
            pass  # it has just ended
    return False


def forget_dead_servers():
    """A server that was killed keeps one of eight slots until its files go, which must not happen while one runs."""
    if server_runs():
        return
    for path in glob.glob("/dev/shm/jack-*") + glob.glob("/dev/shm/jack_*ringtrue_*"):
        try:
            os.unlink(path)
        except OSError:
            pass  # someone else's


class OneStartAtATime:
    def __enter__(self):
        self.file = open(pathlib.Path(tempfile.gettempdir()) / f"ringtrue-card-{os.getuid()}.lock", "w")
        fcntl.flock(self.file, fcntl.LOCK_EX)

    def __exit__(self, *_):
        self.file.close()


class VirtualCard:
    """Context manager: `environment` is what a program needs to find the card."""

    def __init__(self, room_program, rig, room, *, period=1024, rate=48000, freewheel=False, synchronous=True,
                 outputs=16, room_options=(), name="room"):
        self.command = [str(room_program), "--rig", str(rig), "--virtual", str(room), "--name", name, "--outputs",
                        str(outputs), *room_options]
        self.period, self.rate = period, rate
        self.freewheel, self.synchronous = freewheel, synchronous
        self.name = name
        self.server = self.room = None

    def __enter__(self):
        self.folder = tempfile.TemporaryDirectory(prefix="ringtrue-card-")
        folder = pathlib.Path(self.folder.name)
        (folder / "asound.conf").write_text(QUIET_SOUND_SYSTEM)
        self.environment = {**os.environ, "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
                            "JACK_DEFAULT_SERVER": f"ringtrue_{os.getpid()}_{id(self) % 100000}",
                            "JACK_NO_AUDIO_RESERVATION": "1"}
        self.log = open(folder / "log", "wb")
        try:
            self._start()
        except BaseException:
            self.__exit__(None, None, None)
            raise
        return self

    def _start(self):
        with OneStartAtATime():
            forget_dead_servers()
            self._start_server()
        self.start_room()
        if self.freewheel:
            # Never switched back: leaving freewheel now and then takes the server along.
            self.jack("jack_freewheel", "y")

    def _start_server(self):
        mode = ["-S"] if self.synchronous else []
        self.server = subprocess.Popen(
            ["jackd", "-n", self.environment["JACK_DEFAULT_SERVER"], "-r", *mode, "-p", "256", "-d", "dummy", "-C", "0",
             "-P", "0", "-r", str(self.rate), "-p", str(self.period)],
            env=self.environment, stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log)
        self._wait_for(lambda: self.jack("jack_lsp")[0], "the JACK server does not start")

    def start_room(self, command=None):
        self.room = subprocess.Popen(command or self.command, env=self.environment, stdin=subprocess.DEVNULL,
                                     stdout=self.log, stderr=self.log)
        last = "capture_1" if "--no-loopback" in (command or self.command) else "capture_2"
        self._wait_for(lambda: f"{self.name}:{last}" in self.jack("jack_lsp")[1].split(), "the room does not appear")

    def jack(self, *command):
        try:
            done = subprocess.run(command, env=self.environment, stdin=subprocess.DEVNULL, capture_output=True,
                                  timeout=5, text=True, check=False)
        except subprocess.TimeoutExpired:
            return False, ""
        return done.returncode == 0, done.stdout

    def _wait_for(self, condition, complaint):
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            if condition():
                return
            if any(process is not None and process.poll() is not None for process in (self.server, self.room)):
                break
            time.sleep(0.03)
        raise CardError(complaint)

    def __exit__(self, *_):
        end(self.room, 3)
        end(self.server, 5)
        with OneStartAtATime():
            forget_dead_servers()
        self.log.close()
        self.folder.cleanup()
        return False


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--build", default=str(pathlib.Path(__file__).resolve().parent.parent / "build"))
    parser.add_argument("--rig", required=True)
    parser.add_argument("--virtual", required=True)
    parser.add_argument("--period", type=int, default=1024)
    parser.add_argument("--rate", type=int, default=48000)
    parser.add_argument("--outputs", type=int, default=16)
    parser.add_argument("--position", type=int, default=1)
    parser.add_argument("--freewheel", action="store_true")
    parser.add_argument("--asynchronous", action="store_true")
    parser.add_argument("--no-loopback", action="store_true")
    parser.add_argument("--fault", action="append", default=[], metavar="KIND[=VALUE]@ONSET+FRAMES")
    parser.add_argument("command", nargs=argparse.REMAINDER)
    options = parser.parse_args()
    command = options.command[1:] if options.command[:1] == ["--"] else options.command
    if not command:
        parser.error("no command to run: give it after --")
    room_options = ["--position", str(options.position)]
    room_options += ["--no-loopback"] if options.no_loopback else []
    room_options += [word for fault in options.fault for word in ("--fault", fault)]
    room_program = pathlib.Path(options.build) / "tools" / "virtual_card" / "ringtrue_room"
    try:
        with VirtualCard(room_program, options.rig, options.virtual, period=options.period, rate=options.rate,
                         freewheel=options.freewheel, synchronous=not options.asynchronous, outputs=options.outputs,
                         room_options=room_options) as card:
            child = subprocess.Popen(command, env=card.environment)
            while True:
                try:
                    return child.wait()
                except KeyboardInterrupt:
                    pass  # the command has it too, and decides
    except CardError as error:
        print(f"virtual_card: {error}", file=sys.stderr)
        return 3


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    sys.exit(main())
