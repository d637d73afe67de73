"""A real board: pins, Wi-Fi, timer, watchdog. Nothing but a board can import this module.

A timer's hard interrupt feeds the step outputs every 5 ms, whatever the program is busy with; each switch has
an interrupt of its own, which notes at which step it closed. Neither asks for memory.
"""

# mypy: disable-error-code="attr-defined"
# MicroPython's time and sys have names that those of this computer lack.

import sys
import time
from array import array

import machine
import network

from bridge.board.hardware import FileStore, Hands, Hardware
from bridge.board.main import FlashError, Program
from bridge.board.pulses import PulseOutput
from bridge.board.settings import SettingsError, read_settings

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

FEED_MS = 5
WATCHDOG_MS = 8000
REST_MS = 2


class Wire:
    """An input with a pull towards its idle level."""

    def __init__(self, said: "dict[str, Any]") -> None:
        pull = machine.Pin.PULL_DOWN if said["active"] else machine.Pin.PULL_UP
        self.pin = machine.Pin(said["pin"], machine.Pin.IN, pull)
        self.active: int = said["active"]

    @property
    def on(self) -> bool:
        value: int = self.pin.value()
        return value == self.active


class Edge:
    """The interrupt of a switch."""

    def __init__(self, track: "Any", switch: int) -> None:
        self.track, self.switch = track, switch

    def noticed(self, _pin: "Any") -> None:
        """In a hard interrupt."""
        self.track.edge(self.switch)


class Feeder:
    """The interrupt of the timer."""

    def __init__(self, tracks: "list[Any]") -> None:
        self.tracks = tracks

    def due(self, _timer: "Any") -> None:
        """In a hard interrupt."""
        for track in self.tracks:
            track.feed()


class DeviceHands(Hands):
    """One channel's pins."""

    def __init__(self, fit: "Any", number: int) -> None:
        sleep = fit.wires["sleep"]
        self._awake_level = sleep["active"]
        # First of all: no current until somebody asks for it.
        self._sleep = machine.Pin(sleep["pin"], machine.Pin.OUT, value=1 - self._awake_level)
        direction = fit.wires["direction"]
        self.output = PulseOutput(number, fit.wires["step"]["pin"], direction["pin"], direction["active"])
        names = ("upper_switch", "lower_switch", "stall", "up", "stop", "down")
        self._wires = {name: Wire(fit.wires[name]) for name in names if name in fit.wires}
        self._edges: list[Edge] = []

    def watch_edges(self, track: "Any") -> None:
        for switch, name in ((0, "upper_switch"), (1, "lower_switch")):
            wire = self._wires.get(name)
            if wire is not None:
                edge = Edge(track, switch)
                self._edges.append(edge)
                rises = machine.Pin.IRQ_RISING if wire.active else machine.Pin.IRQ_FALLING
                wire.pin.irq(handler=edge.noticed, trigger=rises, hard=True)

    def energise(self, on: bool) -> None:
        if on and self._sleep.value() != self._awake_level:
            self._sleep.value(self._awake_level)
            # Drivers want about a millisecond before the first step (common data sheets).
            time.sleep_ms(2)
        elif not on:
            self._sleep.value(1 - self._awake_level)

    def closed(self, switch: int) -> bool:
        return self._on("lower_switch" if switch else "upper_switch")

    def stalled(self) -> bool:
        return self._on("stall")

    def pressed(self, name: str) -> bool:
        return self._on(name)

    def _on(self, name: str) -> bool:
        wire = self._wires.get(name)
        return wire is not None and wire.on


class Wifi:
    """The board's radio."""

    def __init__(self, said: "dict[str, Any]") -> None:
        self._name, self._password = said["name"], said.get("password")
        self._wlan = network.WLAN(network.STA_IF)
        self._wlan.active(True)
        if hasattr(network.WLAN, "PM_NONE"):
            # Saving power delays every order by up to a beacon interval or three.
            self._wlan.config(pm=network.WLAN.PM_NONE)

    def up(self) -> bool:
        joined: bool = self._wlan.isconnected()
        return joined

    def join(self) -> None:
        """Begin to join; does not wait."""
        self._wlan.disconnect()
        self._wlan.connect(self._name, self._password)


class DeviceHardware(Hardware):
    """All of a real board."""

    def __init__(self, settings: "Any") -> None:
        self.channels = [DeviceHands(fit, number) for number, fit in enumerate(settings.channels)]
        self.store = FileStore("")
        self.wifi = None if settings.wifi is None else Wifi(settings.wifi)
        self._wind = None if settings.wind_contact is None else Wire(settings.wind_contact)
        self._now_ms, self._ticks = 0, time.ticks_ms()
        self._watchdog: Any = None
        self._timer: Any = None

    def ints(self, count: int) -> "Any":
        return array("i", [0] * count)

    def begin(self, tracks: "list[Any]") -> None:
        for hands, track in zip(self.channels, tracks):
            hands.watch_edges(track)
        feeder = Feeder(tracks)
        self._timer = machine.Timer()
        self._timer.init(period=FEED_MS, mode=machine.Timer.PERIODIC, callback=feeder.due, hard=True)
        self._watchdog = machine.WDT(timeout=WATCHDOG_MS)

    def now_ms(self) -> int:
        ticks = time.ticks_ms()
        self._now_ms += time.ticks_diff(ticks, self._ticks)
        self._ticks = ticks
        return self._now_ms

    def wind(self) -> bool:
        return self._wind is not None and self._wind.on

    def pat(self) -> None:
        if self._watchdog is not None:
            self._watchdog.feed()

    def leaving(self) -> bool:
        return False

    def idle(self, client: "Any") -> None:
        if client.state:
            client.idle(REST_MS)
        else:
            time.sleep_ms(REST_MS)


def start(path: str = "/board.json") -> None:
    """What a board does after power-up. A fault of our own ends in a reset: motors stop, the mark stands."""
    try:
        settings = read_settings(path)
        program = Program(settings, DeviceHardware(settings))
    except (SettingsError, FlashError) as error:
        print(error)
        return
    try:
        program.run()
    except Exception as error:  # noqa: BLE001  # whatever it was, motors must stop
        sys.print_exception(error)
        for channel in program.board.channels:
            channel.track.halt()
        machine.reset()
