"""What a look at broker, boards and machine says: from what was seen to findings for a person.

Whoever looks hands over what was seen, None where it could not be told; what can't be told is said as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from fractions import Fraction

from bridge.core.contract import VERSION

SOON, AT_ONCE = timedelta(days=30), timedelta(days=7)


class Grade(StrEnum):
    """How much a finding matters."""

    FINE = "fine"
    UNTOLD = "untold"
    ADVICE = "advice"
    FAULT = "fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at: what it is, how it stands, and what to do about it ("" for nothing)."""

    subject: str
    grade: Grade
    text: str
    remedy: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RightSeen:
    """Whether the broker lets the bridge publish to a topic, or hear it; None when that can't be told."""

    topic: str
    passes: bool | None
    hear: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateSeen:
    """A certificate by its owner ("the broker", "the bridge") and when it ends."""

    whose: str
    until_utc: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSeen:
    """What a channel's last report says of its program; `version` None for one that can't be read."""

    board: str
    channel: int
    shade: str | None
    version: int | None
    missing: tuple[str, ...] = ()
    pulses_per_turn: Fraction | None = None
    settings_pulses_per_turn: Fraction | None = None
    term: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """All that was looked at.

    Attributes:
        now_utc: When.
        clock_set: Whether the machine's clock is kept right by the network; None when that can't be told.
        encrypted: TLS is used on the way to the broker, or the way never leaves this machine.
        certificates: Those met.
        rights: What the bridge's name may do at the broker.
        stranger: Whether somebody without name and certificate is let in; None when not tried.
        stranger_orders: Whether a stranger's order would reach a board.
        retained_orders: Topics on which an order is retained.
        retained_wishes: Topics on which a `/set` is retained.
        need_bytes: The largest message that the bridge publishes.
        passed: Whether a message of that size came back; None when not tried.
        packet_max: The largest packet that the broker says it takes, in bytes; None without a bound.
        remembers: Whether what was retained has outlived a restart of the broker; None before one.
        bridge_state: The bridge's `$state` in the device tree; "" when there is none.
        alerts: What the bridge itself says in alerts of the whole house.
        claims: Bridge and term of each claim heard during the look, the retained one first.
        boards: Boards of the settings, by what their link topic says; "" for one that has never been heard.
        strange_boards: Boards that the settings do not name.
        channels: What the channels report.
    """

    now_utc: datetime
    clock_set: bool | None = None
    encrypted: bool = True
    certificates: tuple[CertificateSeen, ...] = ()
    rights: tuple[RightSeen, ...] = ()
    stranger: bool | None = None
    stranger_orders: bool | None = None
    retained_orders: tuple[str, ...] = ()
    retained_wishes: tuple[str, ...] = ()
    need_bytes: int = 0
    passed: bool | None = None
    packet_max: int | None = None
    remembers: bool | None = None
    bridge_state: str = ""
    alerts: tuple[str, ...] = ()
    claims: tuple[tuple[str, int], ...] = ()
    boards: tuple[tuple[str, str], ...] = ()
    strange_boards: tuple[str, ...] = ()
    channels: tuple[ChannelSeen, ...] = ()


def findings(seen: Seen) -> tuple[Finding, ...]:
    """Return what was found, in the sequence in which a person would put it right."""
    parts = (
        _clock,
        _way,
        _certificates,
        _rights,
        _strangers,
        _retained,
        _size,
        _memory,
        _bridges,
        _boards,
        _channels,
    )
    return tuple(finding for part in parts for finding in part(seen))


def to_put_right(seen: Seen) -> tuple[Finding, ...]:
    """Return what a bridge at work tells a person by itself; of boards that are away it tells otherwise."""
    parts = (_clock, _certificates, _rights, _retained, _size, _channels)
    found = (finding for part in parts for finding in part(seen))
    return tuple(each for each in found if each.grade in (Grade.ADVICE, Grade.FAULT))


def _clock(seen: Seen) -> Iterator[Finding]:
    subject = "clock"
    if seen.clock_set is None:
        yield _untold(subject, "whether the clock is kept right can't be told here")
    elif seen.clock_set:
        yield _fine(subject, "kept right by the network")
    else:
        yield Finding(
            subject=subject,
            grade=Grade.ADVICE,
            text="nothing keeps the clock right, and sun, schedules and certificates go by it",
            remedy="switch on time synchronisation (systemd: timedatectl set-ntp true)",
        )


def _way(seen: Seen) -> Iterator[Finding]:
    if seen.encrypted:
        yield _fine("way to the broker", "encrypted, or it never leaves this machine")
    else:
        yield Finding(
            subject="way to the broker",
            grade=Grade.ADVICE,
            text="it crosses the network unencrypted",
            remedy="use tls = true (config/mosquitto.conf is an example)",
        )


def _certificates(seen: Seen) -> Iterator[Finding]:
    for each in seen.certificates:
        subject, left = f"certificate of {each.whose}", each.until_utc - seen.now_utc
        ends = f"{each.until_utc:%Y-%m-%d}"
        if left <= timedelta(0):
            yield _fault(subject, f"it expired on {ends}", "issue a new one, then restart the broker")
        elif left < SOON:
            days = left // timedelta(days=1)
            yield Finding(
                subject=subject,
                grade=Grade.FAULT if left < AT_ONCE else Grade.ADVICE,
                text=f"it expires on {ends}, in {days} days",
                remedy="issue a new one before that",
            )
        else:
            yield _fine(subject, f"good until {ends}")


def _rights(seen: Seen) -> Iterator[Finding]:
    for each in seen.rights:
        if each.passes is False:
            yield _fault(
                f"right to {'hear' if each.hear else 'publish'} {each.topic}",
                "the broker's access list denies it, without a word to the bridge",
                "give the bridge's name that right (config/mosquitto.acl is an example)",
            )
    untold = [each.topic for each in seen.rights if each.passes is None]
    if untold:
        yield _untold("rights at the broker", f"it does not say whether it lets {_some(untold)} through")
    elif all(each.passes for each in seen.rights) and seen.rights:
        yield _fine("rights at the broker", f"all {len(seen.rights)} topics let the bridge through")


def _strangers(seen: Seen) -> Iterator[Finding]:
    if seen.stranger_orders:
        yield Finding(
            subject="strangers",
            grade=Grade.ADVICE,
            text="whoever reaches the broker can order the boards about, without a name",
            remedy="use names and an access list (config/mosquitto.conf, config/mosquitto.acl)",
        )
    elif seen.stranger:
        yield _fine("strangers", "let in, but no order of theirs reaches a board")
    elif seen.stranger is False:
        yield _fine("strangers", "not let in")


def _retained(seen: Seen) -> Iterator[Finding]:
    for topic in seen.retained_orders:
        yield _fault(
            f"retained order on {topic}",
            "a board must ignore it, and whoever wrote it is no bridge of ours",
            f"delete it: mosquitto_pub -r -n -t {topic}",
        )
    for topic in seen.retained_wishes:
        yield Finding(
            subject=f"retained request on {topic}",
            grade=Grade.ADVICE,
            text="it is refused each time, and whoever wrote it believes otherwise",
            remedy=f"delete it: mosquitto_pub -r -n -t {topic}; let the dashboard publish without retain",
        )
    if not seen.retained_orders and not seen.retained_wishes:
        yield _fine("retained orders and requests", "none")


def _size(seen: Seen) -> Iterator[Finding]:
    subject = "message size"
    if seen.passed is False:
        bound = "" if seen.packet_max is None else f" (it takes {seen.packet_max})"
        yield _fault(
            subject,
            f"the broker swallows the house's description of {seen.need_bytes} bytes{bound}",
            "raise max_packet_size, or leave it out",
        )
    elif seen.passed:
        yield _fine(subject, f"{seen.need_bytes} bytes, the most that this house needs, pass")


def _memory(seen: Seen) -> Iterator[Finding]:
    subject = "broker's memory"
    if seen.remembers is None:
        yield _untold(
            subject, "whether retained messages outlive its restart shows after its next one: look again then"
        )
    elif seen.remembers:
        yield _fine(subject, "what was retained has outlived its last restart")
    else:
        yield _fault(
            subject,
            "it forgot what was retained when it restarted",
            "switch persistence on (Mosquitto: persistence true, and a folder that it may write)",
        )


def _bridges(seen: Seen) -> Iterator[Finding]:
    names = dict.fromkeys(name for name, _ in seen.claims)
    state = seen.bridge_state or "never seen"
    if len(names) > 1:
        yield _fault(
            "bridge in charge",
            f"{len(names)} bridges claim this house: {', '.join(names)}",
            "stop all but one; each needs a boards root and tree device of its own",
        )
    elif state == "ready":
        yield _fine("bridge in charge", next(iter(names), "at work"))
    else:
        yield Finding(
            subject="bridge in charge",
            grade=Grade.ADVICE,
            text=f"it is not at work ({state})",
            remedy="start `hembar run`, or look at its log",
        )
    for text in seen.alerts:
        yield _fault("alert of the bridge", text, "do what it says")
    term = max((term for _, term in seen.claims), default=None)
    for each in seen.channels:
        if term is not None and each.term is not None and each.term > term:
            yield _fault(
                f"board {each.board}",
                f"it has obeyed a bridge of term {each.term}, above the {term} that is claimed",
                "look for another bridge; restart this one to put it in charge",
            )


def _boards(seen: Seen) -> Iterator[Finding]:
    for board, link in seen.boards:
        if link == "up":
            yield _fine(f"board {board}", "up")
        elif link:
            yield _fault(f"board {board}", f"its link says {link}", "look at its power and its network")
        else:
            yield _fault(
                f"board {board}",
                "it has never been heard on this broker",
                "look at its power and network, id and root in its settings, the bridge's right to hear it",
            )
    for board in seen.strange_boards:
        yield Finding(
            subject=f"board {board}",
            grade=Grade.ADVICE,
            text="it is on the broker and not in the settings",
            remedy="give it a shade, or switch it off",
        )


def _channels(seen: Seen) -> Iterator[Finding]:
    for each in seen.channels:
        yield from _channel(each)


def _channel(each: ChannelSeen) -> Iterator[Finding]:
    subject = f"board {each.board}, channel {each.channel}"
    update = "put the present program on the board"
    if each.version is None:
        yield _fault(subject, "its report can't be read", update)
    elif each.version != VERSION:
        text = f"it speaks contract version {each.version}, the bridge {VERSION}"
        yield _fault(subject, text, update)
    elif each.missing:
        yield Finding(
            subject=subject,
            grade=Grade.ADVICE,
            text=f"its program is older: its reports leave out {', '.join(each.missing)}",
            remedy=update,
        )
    told, wanted = each.pulses_per_turn, each.settings_pulses_per_turn
    if told is not None and wanted is not None and told != wanted:
        yield _fault(
            subject,
            f"it counts {told} pulses a turn and the settings of {each.shade} say {wanted}",
            "correct the one that is wrong; until then it gets no orders",
        )


def _fine(subject: str, text: str) -> Finding:
    return Finding(subject=subject, grade=Grade.FINE, text=text)


def _untold(subject: str, text: str) -> Finding:
    return Finding(subject=subject, grade=Grade.UNTOLD, text=text)


def _fault(subject: str, text: str, remedy: str) -> Finding:
    return Finding(subject=subject, grade=Grade.FAULT, text=text, remedy=remedy)


def _some(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"
