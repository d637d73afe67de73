"""A board without a board: the same program on a computer, with steps by its clock and files for wires.

    micropython -m bridge.board.bench SETTINGS FOLDER        (or python)

In FOLDER: `record-*` is the flash, `rotors` tells where each motor really stands, `fingers` is read for words
such as `0.up`, `1.stop`, `wind`, `off`, `trace-*` is written when `bench.json` says so; that file also gives
the first place of each rotor and where switches close. A killed process is a power cut: rotors stay.
"""

import json
import sys
import time
from array import array

from bridge.board.hardware import FileStore, Hands, Hardware
from bridge.board.main import Program
from bridge.board.settings import SettingsError, read_settings

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

WORDS = 1024
# Steps in a real output's own store, which nobody takes back; see pulses.py.
STORED = 9
FINGERS_MS = 20


class TimedOutput:
    """A step output that sends each pulse when its time has come.

    Args:
        clock_us: The time in microseconds.
        pulse: Is called with sign and time of each pulse that goes out.
    """

    def __init__(self, clock_us: "Any", pulse: "Any") -> None:
        self.size, self.base, self.overhead_us, self.lower = WORDS, 0, 0, 1
        self.words = array("I", [0] * WORDS)
        self.clock_us, self.pulse = clock_us, pulse
        self.upto = self.taken = 0
        self.at_us = 0
        # How often it ran dry in the middle of a motion; a motor would have lost steps.
        self.starved = 0
        self._running = False

    def restart(self) -> None:
        """Number words from 0 again."""
        self.upto = self.taken = 0

    def sent(self) -> int:
        """How many pulses are out; those that are due go out now."""
        if not self._running:
            self._running = True
            now_us = self.clock_us()
            while self.taken < self.upto:
                word = self.words[self.taken & (WORDS - 1)]
                if now_us - self.at_us < word >> 1:
                    break
                self.at_us += word >> 1
                self.taken += 1
                self.pulse(1 if word & 1 else -1, self.at_us)
            self._running = False
        return self.taken

    def arm(self, upto: int) -> None:
        """Let it send the words below `upto`."""
        if self.sent() == self.upto:
            if self.taken:
                self.starved += 1
            self.at_us = self.clock_us()
        self.upto = upto

    def hold_back(self) -> int:
        """Take no more words than are stored already; return how many that makes."""
        self.upto = min(self.upto, self.sent() + STORED)
        return self.upto

    def halt(self) -> int:
        """Send nothing more."""
        self.upto = self.sent()
        return self.taken


class BenchHands(Hands):
    """One channel of a bench: a rotor that follows every pulse, and switches at set places."""

    def __init__(self, bench: "BenchHardware", number: int, build: "dict[str, Any]") -> None:
        self.bench, self.number = bench, number
        self.rotor: int = build.get("rotor", 0)
        self.places = [build.get("upper_at"), build.get("lower_at")]
        self.awake = False
        self.track: Any = None
        self.output = TimedOutput(bench.now_us, self._pulse)
        self.trace: list[str] = []

    def energise(self, on: bool) -> None:
        self.awake = on
        self.bench.save()

    def closed(self, switch: int) -> bool:
        self.output.sent()
        return self._closed(switch)

    def stalled(self) -> bool:
        return False

    def pressed(self, name: str) -> bool:
        return str(self.number) + "." + name in self.bench.fingers

    def _closed(self, switch: int) -> bool:
        place = self.places[switch]
        return place is not None and (self.rotor <= place if switch == 0 else self.rotor >= place)

    def _pulse(self, sign: int, at_us: int) -> None:
        before = [self._closed(0), self._closed(1)]
        self.rotor += sign
        self.bench.changed = True
        for switch in (0, 1):
            if self._closed(switch) and not before[switch] and self.track is not None:
                self.track.edge(switch)
        if self.bench.tracing:
            self.trace.append("%d %d\n" % (at_us, sign))


class BenchHardware(Hardware):
    """A bench in a folder."""

    def __init__(self, settings: "Any", folder: str) -> None:
        self.folder = folder
        build = _read_json(folder + "/bench.json") or {}
        rotors = _read_json(folder + "/rotors") or {}
        self.tracing = build.get("trace", False)
        self.store = FileStore(folder)
        self.wifi = None
        self.fingers: list[str] = []
        self.changed = False
        self._looked_ms = -FINGERS_MS
        self._began = _ticks_us()
        parts = build.get("channels", [])
        self.channels = []
        for number in range(len(settings.channels)):
            part = dict(parts[number]) if number < len(parts) else {}
            if rotors:
                part["rotor"] = rotors["channels"][number][0]
            self.channels.append(BenchHands(self, number, part))
        # Without a buffer of the interpreter's: a kill finds it as it was last written.
        self._rotors = _open_raw(folder + "/rotors")
        self.tracks: list[Any] = []
        self.save()

    def ints(self, count: int) -> "Any":
        return array("i", [0] * count)

    def begin(self, tracks: "list[Any]") -> None:
        self.tracks = tracks
        for hands, track in zip(self.channels, tracks):
            hands.track = track

    def now_us(self) -> int:
        return _ticks_us() - self._began

    def now_ms(self) -> int:
        return self.now_us() // 1000

    def wind(self) -> bool:
        return "wind" in self.fingers

    def pat(self) -> None:
        """What an interrupt does on a board: the steps go on; and nobody hears of one that is not on disk."""
        for hands, track in zip(self.channels, self.tracks):
            hands.output.sent()
            track.feed()
        if self.changed:
            self.save()

    def leaving(self) -> bool:
        now_ms = self.now_ms()
        if now_ms - self._looked_ms >= FINGERS_MS:
            self._looked_ms = now_ms
            try:
                with open(self.folder + "/fingers") as file:
                    self.fingers = file.read().split()
            except OSError:
                self.fingers = []
            self._write_traces()
        return "off" in self.fingers

    def idle(self, client: "Any") -> None:
        if client.state:
            client.idle(2)
        else:
            time.sleep(0.002)

    def save(self) -> None:
        """Write down where the rotors stand, in one go."""
        self.changed = False
        said = [[each.rotor, each.awake, each.output.starved] for each in self.channels]
        text = json.dumps({"channels": said}).encode()
        self._rotors.seek(0)
        self._rotors.write(text + b" " * (200 - len(text)))

    def _write_traces(self) -> None:
        for number, hands in enumerate(self.channels):
            if hands.trace:
                with open(self.folder + "/trace-" + str(number), "a") as file:
                    file.write("".join(hands.trace))
                hands.trace = []


def _ticks_us() -> int:
    if hasattr(time, "ticks_us"):
        ticks: int = time.ticks_us()
        return ticks
    return time.monotonic_ns() // 1000


def _read_json(path: str) -> "Any":
    try:
        with open(path) as file:
            return json.loads(file.read())
    except OSError:
        return None


def _open_raw(path: str) -> "Any":
    with open(path, "ab"):
        pass
    if sys.implementation.name == "micropython":
        return open(path, "r+b")
    return open(path, "r+b", buffering=0)


def main(words: "list[str]") -> int:
    """Run a bench until `off` is among its fingers."""
    if len(words) != 2:
        print("usage: bench SETTINGS FOLDER")
        return 2
    try:
        settings = read_settings(words[0])
    except SettingsError as error:
        print(error)
        return 78
    hardware = BenchHardware(settings, words[1])
    program = Program(settings, hardware)
    program.run()
    hardware.pat()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
