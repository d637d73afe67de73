"""A simulated board among others: its power, its network, and orders and reports as values or as bytes.

With `wire` every message goes through the board's own JSON and the bridge's codec; without it the same
values change hands directly, which is what a long run needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

from bridge.adapters.links.contract import decode, encode
from bridge.core.contract import Link, Order, Report, Sense, Then, Toward, Why
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.values import BoardId, Moment
from bridge.simulate.board import DEFAULT_ROOT, Board
from bridge.simulate.wire import Heard, Publish


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What a board has said: a link or a report, with the instant at which it was said.

    Attributes:
        board: Who.
        channel: Which motor; None for the board's link.
        said: The value, or the bytes as they were published.
        at_s: Simulated time.
    """

    board: str
    channel: int | None
    said: tuple[Link, int] | Report | Publish
    at_s: float

    @property
    def topic(self) -> tuple[str, int | None]:
        """What the broker keeps it under."""
        return (self.board, self.channel)

    def event(self, at: Moment, *, retained: bool) -> LinkHeard | ReportHeard:
        """Return it as the bridge hears it."""
        if isinstance(self.said, Publish):
            heard = decode(DEFAULT_ROOT, self.said.topic, self.said.payload, retained=retained, at=at)
            assert heard is not None
            return heard
        board = BoardId(self.board)
        if isinstance(self.said, Report):
            assert self.channel is not None
            return ReportHeard(at=at, board=board, channel=self.channel, report=self.said, retained=retained)
        link, boot = self.said
        return LinkHeard(at=at, board=board, link=link, boot=boot, retained=retained)


class SimBoard(Board):
    """A board whose messages may stay values, and which may keep most of its progress to itself."""

    wire = False
    # Progress reports that are numbered and never sent, for each one that is: as if they were lost.
    skipped = 0

    def messages(self, published: list[Publish], now_s: float) -> list[Message]:
        """Return what it said, values included that never became bytes."""
        said = [self._as_message(each, now_s) for each in published]
        for number, channel in enumerate(self.channels):
            if not channel.said:
                continue
            for data in channel.said:
                if data["why"] == Why.PROGRESS and self.skipped:
                    channel.n += self.skipped
                    data["n"] = channel.n
                said.append(Message(board=self.plan.id, channel=number, said=report_from(data), at_s=now_s))
            channel.said.clear()
        return said

    def _as_message(self, published: Publish, now_s: float) -> Message:
        parts = published.topic.split("/")
        channel = int(parts[2]) if parts[-1] == "report" else None
        return Message(board=self.plan.id, channel=channel, said=published, at_s=now_s)

    def _collect(self) -> list[Publish]:
        return super()._collect() if self.wire else []

    def greeting(self, now_s: float) -> list[Message]:
        """Return what it says on connecting."""
        if self.wire:
            return self.messages(self.connected(now_s), now_s)
        self.advance(now_s)
        before = self.messages([], now_s)
        self.connected(now_s)
        up = self.link_message(Link.UP, now_s)
        return [up, *before, *self.messages([], now_s)]

    def link_message(self, link: Link, now_s: float) -> Message:
        """Return what its link topic is to say."""
        if self.wire:
            return self._as_message(self.link(link), now_s)
        return Message(board=self.plan.id, channel=None, said=(link, self.boot), at_s=now_s)

    def take(self, order: Order, number: int, now_s: float, *, retained: bool = False) -> list[Message]:
        """Obey an order that arrived."""
        if not self.powered or retained:
            return []
        if self.wire:
            topic, payload = encode(order, root=self.root, board=BoardId(self.plan.id), channel=number)
            return self.messages(self.on_message(topic, payload, retained, now_s), now_s)
        self.advance(now_s)
        self.channels[number].obey(heard_from(order), now_s)
        return self.messages([], now_s)


def heard_from(order: Order) -> Heard:
    """Return an order as a board understands it."""
    return Heard(
        do=order.do,
        term=order.term,
        boot=order.boot,
        seq=order.seq,
        seen=order.seen,
        to=order.to or 0,
        low=order.low or 0,
        high=order.high or 0,
        pps=order.pps or 0,
        ramp=order.ramp,
        then=order.then or Then.STAY,
        toward=order.toward or Toward.UPPER,
        at_most=order.at_most or 0,
    )


def report_from(data: dict[str, Any]) -> Report:
    """Return a board's report without its way through JSON."""
    ratio = data["pulses_per_turn"]
    return Report(
        boot=data["boot"],
        n=data["n"],
        count=data["count"],
        kept=data["kept"],
        moving=data["moving"],
        awake=data["awake"],
        why=Why(data["why"]),
        seq=data["seq"],
        to=data["to"],
        answers=data["answers"],
        senses=_senses(tuple(data["senses"])),
        pulses_per_turn=None if ratio is None else _ratio(*ratio),
        because=data.get("because"),
        term=data["term"],
        kept_since=data["kept_since"],
        stalls=data.get("stalls", 0),
    )


_ratio = lru_cache(maxsize=64)(Fraction)


@lru_cache(maxsize=8)
def _senses(names: tuple[str, ...]) -> tuple[Sense, ...]:
    return tuple(Sense(name) for name in names)
