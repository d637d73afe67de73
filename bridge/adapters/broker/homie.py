"""The device descriptions that the tree publishes, by the Homie convention 5.0 (homieiot.github.io).

A root device for the bridge, a child device per shade and per group. Ids are `a-z0-9-` without a hyphen at an
end; a description's version is a number made of its content, so that it changes exactly when the description
does.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from enum import StrEnum

from bridge.core.events import Button, Place
from bridge.core.outlook import Motion
from bridge.core.position.estimate import Grade

Property = Mapping[str, object]
Nodes = Mapping[str, Mapping[str, Property]]

RELEASE = "release"
SWITCH = "switch"


class State(StrEnum):
    """The states of a device."""

    INIT = "init"
    READY = "ready"
    DISCONNECTED = "disconnected"
    LOST = "lost"


class LogLevel(StrEnum):
    """The levels of a device's `$log`."""

    DEBUG = "debug"
    INFO = "info"
    WARN = "warn"
    ERROR = "error"


def _one_of(words: type[StrEnum]) -> str:
    return ",".join(word.value for word in words)


_PERCENT: Property = {"datatype": "float", "unit": "%"}
SHADE_NODES: Nodes = {
    "opening": {
        "position": {
            "name": "Percent open",
            "datatype": "integer",
            "format": "0:100:1",
            "unit": "%",
            "settable": True,
        },
        "motion": {"name": "Motion", "datatype": "enum", "format": _one_of(Motion)},
        "button": {
            "name": "Up, stop, down",
            "datatype": "enum",
            "format": _one_of(Button),
            "settable": True,
            "retained": False,
        },
        "nudge": {
            "name": "A little further up, or down when negative",
            "datatype": "integer",
            "format": "-100:100:1",
            "unit": "%",
            "settable": True,
            "retained": False,
        },
    },
    "knowledge": {
        "grade": {"name": "How well the position is known", "datatype": "enum", "format": _one_of(Grade)},
        "low": {"name": "Lowest that the hem bar may be", **_PERCENT},
        "high": {"name": "Highest that the hem bar may be", **_PERCENT},
        "width": {"name": "Width of what is possible", "datatype": "float", "unit": "mm"},
        "approach": {
            "name": "Go near this limit for a reference by hand",
            "datatype": "enum",
            "format": _one_of(Place),
            "settable": True,
            "retained": False,
        },
        "refer": {
            "name": "Find its own upper end for a reference, and come back",
            "datatype": "enum",
            "format": SWITCH,
            "settable": True,
            "retained": False,
        },
        "confirm": {
            "name": "Seen at this limit by a person",
            "datatype": "enum",
            "format": _one_of(Place),
            "settable": True,
            "retained": False,
        },
    },
    "reason": {
        "text": {"name": "Why", "datatype": "string"},
        "until": {"name": "The rules rest until", "datatype": "datetime"},
        "release": {
            "name": "Let the rules move it again",
            "datatype": "enum",
            "format": RELEASE,
            "settable": True,
            "retained": False,
        },
    },
    "service": {"active": {"name": "The bridge may move it", "datatype": "boolean"}},
}
# What the members of a group do when they do different things.
MIXED = "mixed"
GROUP_NODES: Nodes = {
    "opening": {
        **SHADE_NODES["opening"],
        "motion": {"name": "Motion", "datatype": "enum", "format": f"{_one_of(Motion)},{MIXED}"},
    },
    "reason": {"text": SHADE_NODES["reason"]["text"], "release": SHADE_NODES["reason"]["release"]},
    "members": {"devices": {"name": "Devices of its shades", "datatype": "string"}},
}
BRIDGE_NODES: Nodes = {
    "rules": {
        "pause": {
            "name": "The rules rest",
            "datatype": "boolean",
            "format": "they are at work,they rest",
            "settable": True,
        }
    },
    "service": {
        "lock": {
            "name": "No order leaves: somebody works on the shades",
            "datatype": "boolean",
            "format": "orders leave,locked",
            "settable": True,
        },
        "charge": {"name": "This bridge is in charge", "datatype": "boolean"},
        "term": {"name": "Number of its claim", "datatype": "integer"},
    },
    "software": {"version": {"name": "Version", "datatype": "string"}},
}
_NODE_NAMES = {
    "opening": "Opening",
    "knowledge": "What is known of the position",
    "reason": "Why it is where it is",
    "members": "Members",
    "rules": "Rules",
    "service": "Service",
    "software": "Software",
}


def root_description(*, name: str, children: tuple[str, ...]) -> bytes:
    """Return the description of the bridge's own device."""
    return _document({"name": name, "nodes": _nodes(BRIDGE_NODES), "children": list(children)})


def shade_description(*, name: str, root: str) -> bytes:
    """Return the description of one shade's device, a child of the root device."""
    return _document(
        {"name": name, "type": "shade", "nodes": _nodes(SHADE_NODES), "root": root, "parent": root}
    )


def group_description(*, name: str, root: str) -> bytes:
    """Return the description of one group's device, a sibling of the shades."""
    return _document(
        {"name": name, "type": "group", "nodes": _nodes(GROUP_NODES), "root": root, "parent": root}
    )


def boolean(value: bool) -> bytes:
    """Return a boolean value."""
    return b"true" if value else b"false"


def _nodes(nodes: Nodes) -> dict[str, object]:
    return {
        name: {"name": _NODE_NAMES[name], "properties": {key: dict(said) for key, said in properties.items()}}
        for name, properties in nodes.items()
    }


def _document(content: Mapping[str, object]) -> bytes:
    digest = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).digest()
    # 48 bits: exact also where a reader keeps numbers as doubles.
    said = {"homie": "5.0", "version": int.from_bytes(digest[:6], "big"), **content}
    return json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode()


def string(text: str) -> bytes:
    """Return a string value; the empty one is a zero byte, since an empty payload deletes the topic."""
    return text.encode() or b"\x00"
