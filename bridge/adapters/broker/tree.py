"""The device tree: the outlook of bridge, shades and groups as topics, and what a `/set` message wants.

A tree is published in this sequence: root `init`, its description, then per shade and group `init`,
description, values, state, then the root's values and `ready`. Afterwards only what differs. Nothing here
decides about a request: `read_set` says what somebody wants or why the payload is refused, `accepted` is
published once the house has taken it, and `remnants` clears the device of a shade or group that the settings
no longer name. No socket here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from types import MappingProxyType

from bridge.adapters.broker import homie
from bridge.adapters.broker.homie import MIXED, LogLevel, State
from bridge.adapters.broker.messages import Incoming, Publication, Subscription, refusal
from bridge.adapters.broker.wants import SWITCHES, read_group_want, read_switch, read_want, spelt
from bridge.adapters.doors import read_json
from bridge.core.errors import LinkError
from bridge.core.events import Percent, Place, Switch, Want
from bridge.core.outcome import Level
from bridge.core.outlook import ALERTS, Alert, BoardState, ShadeOutlook
from bridge.core.overview import BridgeOutlook, GroupOutlook
from bridge.core.values import GroupId, ShadeId

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

# A device of ours: a shade, a group, or the bridge itself.
Name = ShadeId | GroupId | None
Outlook = ShadeOutlook | GroupOutlook | BridgeOutlook
_LEVELS: Mapping[Switch, str] = {switch: levels for levels, switch in SWITCHES.items()}
_NODES = (homie.SHADE_NODES, homie.GROUP_NODES)
# No property: a look at the broker asks itself here whether requests are heard.
MARK = "$doctor/mark"
# Whatever a shade or a group may have on the broker, in the sequence in which it is deleted.
_EVERYTHING = (
    "$state",
    "$description",
    *dict.fromkeys(f"{node}/{name}" for nodes in _NODES for node, names in nodes.items() for name in names),
    "opening/position/$target",
    *(f"$alert/{name}" for name in ALERTS),
)
# What the broker holds of the tree, by topic; an empty value is a topic that has been deleted.
Shown = Mapping[str, bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Somebody wants something of a shade."""

    shade: ShadeId
    want: Want


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedOfGroup:
    """Somebody wants something of every shade of a group."""

    group: GroupId
    want: Want


@dataclass(frozen=True, slots=True, kw_only=True)
class Switching:
    """Somebody switches something of the whole house."""

    switch: Switch
    on: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirming:
    """A person at the window says that the hem bar is at this limit."""

    shade: ShadeId
    place: Place


Request = Wanted | WantedOfGroup | Switching | Confirming


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A `/set` message to a device of ours that is not acted on."""

    of: Name
    topic: str
    payload: bytes
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """The names of one bridge's devices.

    Args:
        shades: Id and name of each shade, in the order of the settings.
        groups: Id and name of each group; no id is a shade's.
        root: Id of the bridge's own device; a shade's is `<root>-<shade>`, a group's `<root>-<group>`.
        name: What people call the house.
        version: The software's version.
        domain: What every topic begins with, slashes allowed.
    """

    shades: tuple[tuple[ShadeId, str], ...]
    groups: tuple[tuple[GroupId, str], ...] = ()
    root: str = "hembar"
    name: str = "hembar"
    version: str = ""
    domain: str = "homie"
    _shades: Mapping[str, ShadeId] = field(init=False, repr=False, compare=False)
    _groups: Mapping[str, GroupId] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index shades and groups by device id."""
        shades = {self.device(shade): shade for shade, _ in self.shades}
        groups = {self.device(group): group for group, _ in self.groups}
        object.__setattr__(self, "_shades", MappingProxyType(shades))
        object.__setattr__(self, "_groups", MappingProxyType(groups))

    def device(self, of: Name) -> str:
        """Return the device id of a shade or group, or of the bridge itself for None."""
        return self.root if of is None else f"{self.root}-{of}"

    def topic(self, of: Name, *levels: str) -> str:
        """Return a topic of a device: `homie/5/hembar-study/opening/position`."""
        return "/".join((self.domain, "5", self.device(of), *levels))

    def subscriptions(self) -> tuple[Subscription, ...]:
        """Return the filters of everything that can be set, and of descriptions, for `remnants`."""
        devices = (self.root, *self._shades, *self._groups)
        sets = (f"{self.domain}/5/{device}/+/+/set" for device in devices)
        live = tuple(Subscription(topic=topic, live=True) for topic in sets)
        return (*live, Subscription(topic=f"{self.domain}/5/+/$description"))

    def state(self, state: State) -> Publication:
        """Return the root's state: `init` on connecting, `disconnected` on leaving, `lost` as the will."""
        return self._kept(self.topic(None, "$state"), state.encode())

    def opening(self, outlooks: Iterable[Outlook]) -> tuple[tuple[Publication, ...], Shown]:
        """Return all that a new connection publishes, in its sequence, and what then is shown."""
        children = (*self._shades, *self._groups)
        root = homie.root_description(name=self.name, children=children)
        out = [self.state(State.INIT), self._kept(self.topic(None, "$description"), root)]
        last: dict[str, bytes] = {self.topic(None, "software", "version"): homie.string(self.version)}
        shown: dict[str, bytes] = {}
        for outlook in outlooks:
            values = self.values(outlook)
            shown |= values
            if isinstance(outlook, BridgeOutlook):
                last |= values
                continue
            out.append(self._kept(self.topic(outlook.id, "$state"), State.INIT.encode()))
            out.append(self._kept(self.topic(outlook.id, "$description"), self._described(outlook)))
            out.extend(self._kept(topic, payload) for topic, payload in values.items())
        out.extend(self._kept(topic, payload) for topic, payload in last.items())
        return (*out, self.state(State.READY)), shown

    def _described(self, outlook: ShadeOutlook | GroupOutlook) -> bytes:
        describe = homie.shade_description if isinstance(outlook, ShadeOutlook) else homie.group_description
        return describe(name=outlook.name, root=self.root)

    def update(self, shown: Shown, outlook: Outlook) -> tuple[tuple[Publication, ...], Shown]:
        """Return what of a device differs from what is shown: to be published, and by topic."""
        values = self.values(outlook).items()
        news = {topic: payload for topic, payload in values if shown.get(topic) != payload}
        return tuple(self._kept(topic, payload) for topic, payload in news.items()), news

    def values(self, outlook: Outlook) -> dict[str, bytes]:
        """Return every retained value of a device by topic; `$target` leads, `$state` ends."""
        stem = self.topic(None if isinstance(outlook, BridgeOutlook) else outlook.id)
        return {f"{stem}/{levels}": payload for levels, payload in self._said(outlook).items()}

    def _said(self, outlook: Outlook) -> dict[str, bytes]:
        match outlook:
            case ShadeOutlook():
                return _shade_values(outlook)
            case GroupOutlook():
                return self._group_values(outlook)
            case BridgeOutlook():
                return _bridge_values(outlook)

    def _group_values(self, outlook: GroupOutlook) -> dict[str, bytes]:
        return {
            **_opening_values(outlook.position_pct, outlook.target_pct),
            "opening/motion": MIXED.encode() if outlook.motion is None else outlook.motion.encode(),
            "reason/text": homie.string(outlook.reason),
            "members/devices": ",".join(map(self.device, outlook.members)).encode(),
            "$state": _STATES[outlook.board].encode(),
        }

    def accepted(self, of: Name, want: Want | Place) -> Publication:
        """Return what tells everybody that a request was taken: its `$target`, or the value of an event."""
        levels, payload = spelt(want)
        if isinstance(want, Percent):
            return self._kept(self.topic(of, levels, "$target"), payload)
        # The convention: a property that is not retained is published at QoS 0.
        return Publication(topic=self.topic(of, levels), payload=payload, qos=0, retain=False)

    def switched(self, switch: Switch, *, on: bool) -> Publication:
        """Return what tells everybody that something of the whole house is on or off, changed or not."""
        return self._kept(self.topic(None, _LEVELS[switch]), homie.boolean(on))

    def declined(self, of: Name, want: Want | Place, reason: str) -> Publication:
        """Return the log line that tells whoever asked that the house refuses a request."""
        return self.log(of, Level.WARNING, refusal(*spelt(want), reason))

    def not_switched(self, switch: Switch, *, on: bool, reason: str) -> Publication:
        """Return the log line that tells whoever asked that nothing was switched."""
        return self.log(None, Level.WARNING, refusal(_LEVELS[switch], homie.boolean(on), reason))

    def refused(self, refused: Refused) -> Publication:
        """Return the log line that tells whoever sent a payload that it was not acted on."""
        levels = "/".join(self._levels(refused.topic)[1:-1])
        return self.log(refused.of, Level.WARNING, refusal(levels, refused.payload, refused.reason))

    def log(self, of: Name, level: Level, text: str) -> Publication:
        """Return one line of a device's log, for whoever is listening now."""
        topic = self.topic(of, "$log", _LOG_LEVELS[level])
        return Publication(topic=topic, payload=homie.string(text), qos=1, retain=False)

    def read_set(self, message: Incoming) -> Request | Refused | None:
        """Return what a `/set` message wants, why it is refused, or None when its topic is none of ours."""
        match self._levels(message.topic):
            case [device, node, name, "set"] if self._has(device):
                of = self._shades.get(device) or self._groups.get(device)
            case _:
                return None
        try:
            return self._read(device, f"{node}/{name}", message)
        except LinkError as error:
            return Refused(of=of, topic=message.topic, payload=message.payload, reason=error.problem)

    def _has(self, device: str) -> bool:
        return device in self._shades or device in self._groups or device == self.root

    def _read(self, device: str, levels: str, message: Incoming) -> Request:
        if device == self.root:
            switch, on = read_switch(levels, message)
            return Switching(switch=switch, on=on)
        if device in self._groups:
            return WantedOfGroup(group=self._groups[device], want=read_group_want(levels, message))
        wanted = read_want(levels, message)
        if isinstance(wanted, Place):
            return Confirming(shade=self._shades[device], place=wanted)
        return Wanted(shade=self._shades[device], want=wanted)

    def remnants(self, message: Incoming) -> tuple[Publication, ...]:
        """Return what deletes a device of ours that is no more; nothing for any other message."""
        match self._levels(message.topic):
            case [device, "$description"] if device.startswith(f"{self.root}-"):
                pass
            case _:
                return ()
        if self._has(device) or not message.payload or not self._is_child(message):
            return ()
        # The convention: the state goes first, so that nobody sees half a device.
        return tuple(self._kept(f"{self.domain}/5/{device}/{levels}", b"") for levels in _EVERYTHING)

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


def _shade_values(outlook: ShadeOutlook) -> dict[str, bytes]:
    until = outlook.until and outlook.until.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return {
        **_opening_values(outlook.position_pct, outlook.target_pct),
        "opening/motion": outlook.motion.encode(),
        "knowledge/grade": outlook.grade.encode(),
        "knowledge/low": _tenth(outlook.low_pct, ROUND_FLOOR),
        "knowledge/high": _tenth(outlook.high_pct, ROUND_CEILING),
        "knowledge/width": _tenth(outlook.width_mm, ROUND_CEILING),
        "reason/text": homie.string(outlook.reason),
        "reason/until": (until or "").encode(),
        "service/active": homie.boolean(outlook.in_service),
        **_alert_values(outlook.alerts),
        "$state": _STATES[outlook.board].encode(),
    }


def _bridge_values(outlook: BridgeOutlook) -> dict[str, bytes]:
    return {
        _LEVELS[Switch.PAUSE]: homie.boolean(outlook.paused),
        _LEVELS[Switch.LOCK]: homie.boolean(outlook.locked),
        "service/charge": homie.boolean(outlook.in_charge),
        "service/term": _whole(outlook.term),
        **_alert_values(outlook.alerts),
    }


def _opening_values(position_pct: int | None, target_pct: int | None) -> dict[str, bytes]:
    return {
        "opening/position/$target": _whole(position_pct if target_pct is None else target_pct),
        "opening/position": _whole(position_pct),
    }


def _alert_values(alerts: Iterable[Alert]) -> dict[str, bytes]:
    texts = {alert.id: alert.text for alert in alerts}
    return {f"$alert/{name}": texts.get(name, "").encode() for name in ALERTS}


def _whole(value: int | None) -> bytes:
    return b"" if value is None else b"%d" % value


def _tenth(value: float, rounding: str) -> bytes:
    """One decimal, rounded outwards, so that no face claims more than is known."""
    tenths = Decimal(repr(value)).quantize(Decimal("0.1"), rounding=rounding)
    return str(abs(tenths) if tenths == 0 else tenths).encode()
