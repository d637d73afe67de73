"""The settings of a board: one JSON file, checked as a whole before anything moves.

Every fault is listed together: where it is, what is wrong, what would put it right. Unknown keys are faults.
"""

import json

from bridge.board import words

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

ID_CHARACTERS = "abcdefghijklmnopqrstuvwxyz0123456789-"
PPS_MOST, RAMP_MOST = 8000, 100000
TOP_KEYS = ("board", "root", "wifi", "broker", "wind_contact", "channels")
BROKER_KEYS = ("address", "port", "user", "password")
WIRES = ("step", "direction", "sleep", "upper_switch", "lower_switch", "stall", "up", "stop", "down")
NEEDED = ("step", "direction", "sleep")
NUMBERS = {"max_pps": PPS_MOST, "dead_pps": PPS_MOST, "own_pps": PPS_MOST}
NUMBERS.update({"max_ramp": RAMP_MOST, "own_ramp": RAMP_MOST})


class SettingsError(Exception):
    """The settings can't be used; its text lists every fault."""


class Fitting:
    """One channel as set.

    Attributes:
        wires: Pin and active level of each wire by name; those that are not there are missing.
        senses: What it can feel.
        pulses_per_turn: Numerator and denominator; None when not set.
        exterior: The wired wind contact raises it.
        max_pps: Greatest speed that it accepts, in steps a second.
        max_ramp: Greatest acceleration, in steps a second squared.
        dead_pps: Up to this speed a switch stops the motor at once; above it, it brakes and comes back.
        own_pps: Speed of its local button before any order.
        own_ramp: The same for its acceleration.
    """

    def __init__(self, said: "dict[str, Any]") -> None:
        self.wires: dict[str, Any] = {name: said[name] for name in WIRES if said.get(name) is not None}
        self.senses = [sense for sense in words.SENSES if sense.replace("-", "_") in self.wires]
        self.pulses_per_turn: list[int] | None = said.get("pulses_per_turn")
        self.exterior: bool = said.get("exterior", False)
        self.max_pps: int = said.get("max_pps", 8000)
        self.max_ramp: int = said.get("max_ramp", 40000)
        self.dead_pps: int = said.get("dead_pps", 400)
        self.own_pps: int = said.get("own_pps", min(1000, self.max_pps))
        self.own_ramp: int = said.get("own_ramp", min(2000, self.max_ramp))


class Settings:
    """All settings of a board.

    Raises:
        SettingsError: `data` has faults.
    """

    def __init__(self, data: "Any") -> None:
        faults = faults_of(data)
        if faults:
            raise SettingsError("\n".join(faults))
        self.board: str = data["board"]
        self.root: str = data.get("root", "shade-boards")
        self.wifi: dict[str, Any] | None = data.get("wifi")
        broker = data["broker"]
        self.address: str = broker["address"]
        self.port: int = broker.get("port", 1883)
        self.user: str | None = broker.get("user")
        self.password: str | None = broker.get("password")
        self.wind_contact: dict[str, Any] | None = data.get("wind_contact")
        self.channels = [Fitting(each) for each in data["channels"]]


def read_settings(path: str) -> Settings:
    """The settings in the file.

    Raises:
        SettingsError: it can't be read, or has faults.
    """
    try:
        with open(path) as file:
            data = json.loads(file.read())
    except OSError:
        raise SettingsError(path + ": it can't be read; copy your settings there") from None
    except ValueError:
        raise SettingsError(path + ": it is not JSON; compare it with board.example.json") from None
    return Settings(data)


def faults_of(data: "Any") -> "list[str]":
    """Every fault of the settings, as lines for their owner."""
    if not isinstance(data, dict):
        return ["settings: they are " + repr(data)[:40] + "; they must be a JSON object"]
    faults = _unknown("settings", data, TOP_KEYS)
    name = data.get("board")
    if not (isinstance(name, str) and name and _is_id(name)):
        faults.append("board: it is " + repr(name) + "; it takes a-z, 0-9 and inner hyphens, 64 at most")
    root = data.get("root", "shade-boards")
    if not (isinstance(root, str) and root and not any(sign in root for sign in "+#/\0")):
        faults.append("root: it is " + repr(root) + "; it must be one topic level without + and #")
    faults += _broker_faults(data.get("broker")) + _wifi_faults(data.get("wifi"))
    faults += _wire_faults("wind_contact", data.get("wind_contact"))
    channels = data.get("channels")
    if not isinstance(channels, list) or not 1 <= len(channels) <= 2:
        faults.append("channels: there must be a list of one or two")
        return faults
    for number in range(len(channels)):
        faults += _channel_faults("channels[" + str(number) + "]", channels[number])
    return faults + _shared_pins(data)


def _channel_faults(where: str, said: "Any") -> "list[str]":
    if not isinstance(said, dict):
        return [where + ": it must be an object"]
    faults = _unknown(where, said, WIRES + tuple(NUMBERS) + ("pulses_per_turn", "exterior"))
    for name in WIRES:
        if name in NEEDED and said.get(name) is None:
            faults.append(where + "." + name + ": it is missing; give its pin and active level")
        faults += _wire_faults(where + "." + name, said.get(name))
    step = said.get("step")
    if isinstance(step, dict) and step.get("active") == 0:
        faults.append(where + ".step: active is 0; steps are pulses to 1, wire the driver that way")
    for name, most in NUMBERS.items():
        value = said.get(name, 1)
        if not (type(value) is int and 1 <= value <= most):
            faults.append(where + "." + name + ": it is " + repr(value) + "; it must be 1 to " + str(most))
    ratio = said.get("pulses_per_turn")
    whole = isinstance(ratio, list) and len(ratio) == 2 and all(type(x) is int and x > 0 for x in ratio)
    if ratio is not None and not whole:
        faults.append(where + ".pulses_per_turn: give numerator and denominator, such as [45600, 11]")
    if not isinstance(said.get("exterior", False), bool):
        faults.append(where + ".exterior: it must be true or false")
    return faults


def _wire_faults(where: str, said: "Any") -> "list[str]":
    if said is None:
        return []
    good = isinstance(said, dict) and type(said.get("pin")) is int and said["pin"] >= 0
    if not good or type(said.get("active")) is not int or said["active"] not in (0, 1) or len(said) != 2:
        return [where + ': it is not a wire; give {"pin": number, "active": 0 or 1}']
    return []


def _broker_faults(said: "Any") -> "list[str]":
    if not isinstance(said, dict):
        return ["broker: it is missing; give its address"]
    faults = _unknown("broker", said, BROKER_KEYS)
    address = said.get("address")
    parts = address.split(".") if isinstance(address, str) else []
    if len(parts) != 4 or not all(part.isdigit() and int(part) < 256 for part in parts):
        # Looking up a name may block for many seconds, in which no button would be heard.
        faults.append("broker.address: it is " + repr(address) + "; give four numbers such as 192.0.2.7")
    port = said.get("port", 1883)
    if not (type(port) is int and 1 <= port <= 65535):
        faults.append("broker.port: it is " + repr(port) + "; it must be 1 to 65535")
    for key in ("user", "password"):
        if said.get(key) is not None and not isinstance(said[key], str):
            faults.append("broker." + key + ": it must be text")
    return faults


def _wifi_faults(said: "Any") -> "list[str]":
    if said is None:
        return []
    if not isinstance(said, dict) or not isinstance(said.get("name"), str):
        return ["wifi: give its name and password"]
    if said.get("password") is not None and not isinstance(said["password"], str):
        return ["wifi.password: it must be text"]
    return _unknown("wifi", said, ("name", "password"))


def _shared_pins(data: "Any") -> "list[str]":
    wires = [("wind_contact", data.get("wind_contact"))]
    for number in range(len(data["channels"])):
        part = data["channels"][number]
        if isinstance(part, dict):
            wires += [("channels[" + str(number) + "]." + name, part.get(name)) for name in WIRES]
    faults: list[str] = []
    seen: dict[int, str] = {}
    for where, wire in wires:
        pin = wire.get("pin") if isinstance(wire, dict) else None
        if type(pin) is int:
            if pin in seen:
                faults.append(where + ": pin " + str(pin) + " is that of " + seen[pin] + " already")
            seen[pin] = where
    return faults


def _unknown(where: str, said: "dict[str, Any]", keys: "tuple[str, ...]") -> "list[str]":
    return [where + "." + str(key) + ": no such setting; see README.md" for key in said if key not in keys]


def _is_id(text: str) -> bool:
    inner = all(character in ID_CHARACTERS for character in text)
    return inner and text[0] != "-" and text[-1] != "-" and len(text) <= 64
