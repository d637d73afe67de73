"""What the payload of a `/set` message asks for, read strictly, and how the same request is spelt.

No device is known here. What cannot be read is refused with its reason; nothing is clamped or guessed.
"""

from __future__ import annotations

from typing import assert_never

from bridge.adapters.broker.homie import RELEASE, SWITCH
from bridge.adapters.broker.messages import Incoming
from bridge.adapters.doors import read_integer, read_word, refuse
from bridge.core.events import Approach, Button, Nudge, Percent, Place, Press, Refer, Release, Switch, Want

SWITCHES = {"rules/pause": Switch.PAUSE, "service/lock": Switch.LOCK}
# A group is asked for these; a reference is taken shade by shade, by whoever stands there.
RETAINED = "it is retained: a wish of unknown age moves no shade"
TOGETHER = ("opening/position", "opening/nudge", "opening/button", "reason/release")


def read_group_want(levels: str, message: Incoming) -> Want:
    """Return what is wanted of a group.

    Raises:
        LinkError: it can't be read, or nothing like it can be asked of a group.
    """
    if levels not in TOGETHER and not message.retained:
        raise refuse(message.topic, f"{levels} cannot be set for a group")
    want = read_want(levels, message)
    assert not isinstance(want, Place), "a confirmation is one shade's"
    return want


def read_switch(levels: str, message: Incoming) -> tuple[Switch, bool]:
    """Return what of the whole house is to be switched, and whether on.

    Raises:
        LinkError: anything but `true` or `false`, or nothing of that name can be switched.
    """
    where = message.topic
    if message.retained:
        raise refuse(where, RETAINED)
    if levels not in SWITCHES:
        raise refuse(where, f"{levels} cannot be set")
    return SWITCHES[levels], read_word(message.payload, where=where, words=("true", "false")) == "true"


def read_want(levels: str, message: Incoming) -> Want | Place:
    """Return what is wanted of a shade, or what a person at the window has seen.

    Raises:
        LinkError: it can't be read, or it can't be set.
    """
    where, payload = message.topic, message.payload
    if message.retained:
        raise refuse(where, RETAINED)
    match levels:
        case "opening/position":
            return Percent(open_pct=_within(read_integer(payload, where=where), 0, 100, where))
        case "opening/nudge":
            return Nudge(by_pct=_within(read_integer(payload, where=where), -100, 100, where))
        case "opening/button":
            return Press(button=Button(read_word(payload, where=where, words=Button)))
        case "knowledge/approach":
            return Approach(place=Place(read_word(payload, where=where, words=Place)))
        case "knowledge/refer":
            read_word(payload, where=where, words=(SWITCH,))
            return Refer()
        case "knowledge/confirm":
            return Place(read_word(payload, where=where, words=Place))
        case "reason/release":
            read_word(payload, where=where, words=(RELEASE,))
            return Release()
        case _:
            raise refuse(where, f"{levels} cannot be set")


def spelt(want: Want | Place) -> tuple[str, bytes]:
    """Return where and how a request is asked for: the inverse of `read_want`."""
    match want:
        case Percent():
            return "opening/position", _whole(want.open_pct)
        case Nudge():
            return "opening/nudge", _whole(want.by_pct)
        case Press():
            return "opening/button", want.button.encode()
        case Approach():
            return "knowledge/approach", want.place.encode()
        case Refer():
            return "knowledge/refer", SWITCH.encode()
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


def _whole(value: int) -> bytes:
    return b"%d" % value
