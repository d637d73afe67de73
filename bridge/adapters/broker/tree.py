"""The device tree: each shade's outlook as topics, and what a `/set` message wants. No socket here.

A tree is published in this sequence: root `init`, its description, then per shade `init`, description,
values, state, then the root's values and `ready`. Afterwards only what differs. Nothing here decides about a
request: `read_set` says what somebody wants or why the payload is refused, `accepted` is published once the
house has taken it, and `remnants` clears the device of a shade that the settings no longer name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from types import MappingProxyType
from typing import assert_never

from bridge.adapters.broker import homie
from bridge.adapters.broker.homie import RELEASE, LogLevel, State
from bridge.adapters.broker.messages import Incoming, Publication, Subscription, refusal
from bridge.adapters.doors import read_integer, read_json, read_word, refuse
from bridge.core.errors import LinkError
from bridge.core.events import Button, Nudge, Percent, Place, Press, Release, Want
from bridge.core.outcome import Level
from bridge.core.outlook import BoardState, ShadeOutlook
from bridge.core.values import ShadeId

ALERT = "attention"
_LOG_LEVELS: Mapping[Level, LogLevel] = {
    Level.DEBUG: LogLevel.DEBUG,
    Level.INFO: LogLevel.INFO,
    Level.WARNING: LogLevel.WARN,
    Level.ERROR: LogLevel.ERROR,
}
_STATES: Mapping[BoardState, State] = {
    BoardState.UNHEARD: State.INIT,
    BoardState.ASKED: State.READY,
    BoardState.UP: State.READY,
    BoardState.LOST: State.LOST,
    BoardState.OFF: State.LOST,
}

# What the broker holds of the tree, by topic; an empty value is a topic that has been deleted.
Shown = Mapping[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Somebody wants something of a shade."""

    shade: ShadeId
    want: Want


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirming:
    """A person at the window says that the hem bar is at this limit."""

    shade: ShadeId
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A `/set` message that is not acted on; `shade` is None when it names none of ours."""

    shade: ShadeId | None
    topic: str
    payload: bytes
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """The names of one bridge's devices.

    Args:
        shades: Id and name of each shade, in the order of the settings.
        root: Id of the bridge's own device; a shade's device is `<root>-<shade>`.
        name: What people call the house.
        version: The software's version.
        domain: What every topic begins with, slashes allowed.
    """

    shades: tuple[tuple[ShadeId, str], ...]
    root: str = "hembar"
    name: str = "hembar"
    version: str = ""
    domain: str = "homie"
    _by_device: Mapping[str, ShadeId] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the shades by device id."""
        index = {self.device(shade): shade for shade, _ in self.shades}
        object.__setattr__(self, "_by_device", MappingProxyType(index))

    def device(self, shade: ShadeId | None) -> str:
        """Return the device id of a shade, or of the bridge itself for None."""
        return self.root if shade is None else f"{self.root}-{shade}"

    def topic(self, shade: ShadeId | None, *levels: str) -> str:
        """Return a topic of a device: `homie/5/hembar-study/opening/position`."""
        return "/".join((self.domain, "5", self.device(shade), *levels))

    def subscriptions(self) -> tuple[Subscription, ...]:
        """Return the filters of everything that can be set, and of descriptions, for `remnants`."""
        devices = (None, *(shade for shade, _ in self.shades))
        sets = tuple(Subscription(topic=self.topic(device, "+", "+", "set"), live=True) for device in devices)
        return (*sets, Subscription(topic=f"{self.domain}/5/+/$description"))

    def state(self, state: State) -> Publication:
        """Return the root's state: `init` on connecting, `disconnected` on leaving, `lost` as the will."""
        return self._kept(self.topic(None, "$state"), state.encode())

    def opening(self, outlooks: Iterable[ShadeOutlook]) -> tuple[tuple[Publication, ...], Shown]:
        """Return all that a new connection publishes, in its sequence, and what then is shown."""
        names = dict(self.shades)
        children = tuple(self.device(shade) for shade, _ in self.shades)
        root = homie.root_description(name=self.name, children=children)
        out = [self.state(State.INIT), self._kept(self.topic(None, "$description"), root)]
        shown: dict[str, bytes] = {}
        for outlook in outlooks:
            values = self.values(outlook)
            described = homie.shade_description(name=names[outlook.id], root=self.root)
            out.append(self._kept(self.topic(outlook.id, "$state"), State.INIT.encode()))
            out.append(self._kept(self.topic(outlook.id, "$description"), described))
            out.extend(self._kept(topic, payload) for topic, payload in values.items())
            shown |= values
        version = self.topic(None, "software", "version")
        out += [self._kept(version, homie.string(self.version)), self.state(State.READY)]
        return tuple(out), shown

    def update(self, shown: Shown, outlooks: Iterable[ShadeOutlook]) -> tuple[tuple[Publication, ...], Shown]:
        """Return what differs from what is shown, and what then is shown."""
        now = dict(shown)
        for outlook in outlooks:
            now |= self.values(outlook)
        out = tuple(self._kept(topic, now[topic]) for topic in now if shown.get(topic) != now[topic])
        return out, now

    def values(self, outlook: ShadeOutlook) -> dict[str, bytes]:
        """Return every retained value of a shade by topic; `$target` leads, `$state` ends."""
        target = outlook.position_pct if outlook.target_pct is None else outlook.target_pct
        until = outlook.until and outlook.until.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        said = {
            "opening/position/$target": _whole(target),
            "opening/position": _whole(outlook.position_pct),
            "opening/motion": outlook.motion.encode(),
            "knowledge/grade": outlook.grade.encode(),
            "knowledge/low": _tenth(outlook.low_pct, ROUND_FLOOR),
            "knowledge/high": _tenth(outlook.high_pct, ROUND_CEILING),
            "knowledge/width": _tenth(outlook.width_mm, ROUND_CEILING),
            "reason/text": homie.string(outlook.reason),
            "reason/until": (until or "").encode(),
            f"$alert/{ALERT}": outlook.alert.encode(),
            "$state": _STATES[outlook.board].encode(),
        }
        return {self.topic(outlook.id, levels): payload for levels, payload in said.items()}

    def accepted(self, shade: ShadeId, want: Want | Place) -> Publication:
        """Return what tells everybody that a request was taken: its `$target`, or the value of an event."""
        levels, payload = _spelt(want)
        if isinstance(want, Percent):
            return self._kept(self.topic(shade, levels, "$target"), payload)
        # The convention: a property that is not retained is published at QoS 0.
        return Publication(topic=self.topic(shade, levels), payload=payload, qos=0, retain=False)

    def declined(self, shade: ShadeId, want: Want | Place, reason: str) -> Publication:
        """Return the log line that tells whoever asked that the house refuses a request."""
        return self.log(shade, Level.WARNING, refusal(*_spelt(want), reason))

    def refused(self, refused: Refused) -> Publication:
        """Return the log line that tells whoever sent a payload that it was not acted on."""
        levels = "/".join(self._levels(refused.topic)[1:-1])
        return self.log(refused.shade, Level.WARNING, refusal(levels, refused.payload, refused.reason))

    def log(self, shade: ShadeId | None, level: Level, text: str) -> Publication:
        """Return one line of a device's log, for whoever is listening now."""
        topic = self.topic(shade, "$log", _LOG_LEVELS[level])
        return Publication(topic=topic, payload=homie.string(text), qos=1, retain=False)

    def read_set(self, message: Incoming) -> Wanted | Confirming | Refused | None:
        """Return what a `/set` message wants, why it is refused, or None when its topic is none of ours."""
        match self._levels(message.topic):
            case [self.root, *_, "set"]:
                return Refused(
                    shade=None,
                    topic=message.topic,
                    payload=message.payload,
                    reason="the bridge has nothing to set",
                )
            case [device, node, name, "set"] if device in self._by_device:
                shade = self._by_device[device]
            case _:
                return None
        try:
            wanted = _read_want(f"{node}/{name}", message)
        except LinkError as error:
            return Refused(shade=shade, topic=message.topic, payload=message.payload, reason=error.problem)
        if isinstance(wanted, Place):
            return Confirming(shade=shade, place=wanted)
        return Wanted(shade=shade, want=wanted)

    def remnants(self, message: Incoming) -> tuple[Publication, ...]:
        """Return what deletes a device of ours whose shade is gone; nothing for any other message."""
        match self._levels(message.topic):
            case [device, "$description"] if device.startswith(f"{self.root}-"):
                pass
            case _:
                return ()
        if device in self._by_device or not message.payload or not self._is_child(message):
            return ()
        values = [f"{node}/{name}" for node, names in homie.SHADE_NODES.items() for name in names]
        # The convention: the state goes first, so that nobody sees half a device.
        levels = ["$state", "$description", *values, "opening/position/$target", f"$alert/{ALERT}"]
        return tuple(self._kept(f"{self.domain}/5/{device}/{level}", b"") for level in levels)

    def _levels(self, topic: str) -> list[str]:
        """Return the device and the levels below it; nothing when the topic is outside the tree."""
        prefix = f"{self.domain}/5/"
        return topic.removeprefix(prefix).split("/") if topic.startswith(prefix) else []

    def _is_child(self, message: Incoming) -> bool:
        try:
            said = read_json(message.payload, where=message.topic)
        except LinkError:
            return False
        return isinstance(said, dict) and said.get("root") == self.root

    def _kept(self, topic: str, payload: bytes) -> Publication:
        return Publication(topic=topic, payload=payload, qos=1, retain=True)


def _read_want(levels: str, message: Incoming) -> Want | Place:
    where, payload = message.topic, message.payload
    if message.retained:
        raise refuse(where, "it is retained: a wish of unknown age moves no shade")
    match levels:
        case "opening/position":
            return Percent(open_pct=_within(read_integer(payload, where=where), 0, 100, where))
        case "opening/nudge":
            return Nudge(by_pct=_within(read_integer(payload, where=where), -100, 100, where))
        case "opening/button":
            return Press(button=Button(read_word(payload, where=where, words=Button)))
        case "knowledge/confirm":
            return Place(read_word(payload, where=where, words=Place))
        case "reason/release":
            read_word(payload, where=where, words=(RELEASE,))
            return Release()
        case _:
            raise refuse(where, f"{levels} cannot be set")


def _spelt(want: Want | Place) -> tuple[str, bytes]:
    """Where and how a request is asked for: the inverse of `_read_want`."""
    match want:
        case Percent():
            return "opening/position", _whole(want.open_pct)
        case Nudge():
            return "opening/nudge", _whole(want.by_pct)
        case Press():
            return "opening/button", want.button.encode()
        case Release():
            return "reason/release", RELEASE.encode()
        case Place():
            return "knowledge/confirm", want.encode()
        case _:
            assert_never(want)


def _within(value: int, low: int, high: int, where: str) -> int:
    if not low <= value <= high:
        raise refuse(where, f"{value} is not between {low} and {high}")
    return value


def _whole(value: int | None) -> bytes:
    return b"" if value is None else b"%d" % value


def _tenth(value: float, rounding: str) -> bytes:
    """One decimal, rounded outwards, so that no face claims more than is known."""
    tenths = Decimal(repr(value)).quantize(Decimal("0.1"), rounding=rounding)
    return str(abs(tenths) if tenths == 0 else tenths).encode()
