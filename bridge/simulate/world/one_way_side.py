"""A board that only obeys, with its power, its network and its session at the broker."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.spec import ShadeSpec
from bridge.simulate.wire import Publish
from bridge.simulate.world.network import QUEUE_MAX, Line
from bridge.simulate.world.one_way_board import Overheard, Sender, SimOneWayBoard

if TYPE_CHECKING:
    from bridge.simulate.world.world import World


class OneWaySide(Line):
    """One board that never reports."""

    board: SimOneWayBoard

    def __init__(self, world: World, board: SimOneWayBoard, spec: ShadeSpec) -> None:
        super().__init__(world, board)
        self.spec = spec
        self.held: list[Overheard] = []
        # The life in which it has greeted last.
        self.greeted = -1

    def disturbed(self, channel: int | None = None) -> None:
        """What it can't tell is kept in mind by the checks."""

    def said(self, published: Publish, sender: Sender, request: int | None = None) -> Overheard:
        """Return something said on its topics."""
        return Overheard(
            board=self.board.plan.id,
            topic=published.topic,
            payload=published.payload,
            retain=published.retain,
            sender=sender,
            spec=self.spec,
            number=self.world.numbered(),
            life=self.life,
            at_s=self.world.now,
            request=request,
        )

    # Time.

    def advanced(self) -> None:
        self._after(self.board.advance(self.world.now))

    def _after(self, published: list[Publish]) -> None:
        self.after([self.said(each, Sender.BOARD) for each in published])
        begun, self.board.begun = self.board.begun, []
        for message, at_rest in begun:
            self.world.checks.reckoned.begun(self, message, at_rest=at_rest)

    # Messages.

    def take(self, message: Overheard) -> None:
        """Something for this board has come to the broker."""
        if message.topic not in self.board.topics:
            return
        if self.session is None:
            self.world.checks.reckoned.dropped(self, message)
        elif not self.reachable:
            self.world.checks.reckoned.dropped(self, message)
            if len(self.held) < QUEUE_MAX:
                self.held.append(message)
        else:
            self._later(message, retained=False)

    def _later(self, message: Overheard, *, retained: bool) -> None:
        self.in_at = max(self.in_at, self.world.now + self.world.latency())
        self.world.checks.reckoned.under_way.add(message.number)
        self.world.at(self.in_at, self._heard, message, retained, self.life)

    def _heard(self, message: Overheard, retained: bool, life: int) -> None:
        self.world.checks.reckoned.under_way.discard(message.number)
        if life != self.life or not self.board.powered:
            self.world.checks.reckoned.dropped(self, message)
            return
        if not self.wifi:
            self.world.checks.reckoned.dropped(self, message)
            self.held.append(message)
            return
        self.catch_up()
        self.world.checks.reckoned.arrived(self, message, retained=retained)
        self._after(self.board.hear(message, self.world.now, retained=retained))

    # Power and network.

    def power_cut(self) -> None:
        if self.board.powered:
            self.world.checks.reckoned.cut(self)
            super().power_cut()

    def dropped(self) -> None:
        for message in self.held:
            self.world.checks.reckoned.dropped(self, message)
        super().dropped()

    def speak_will(self) -> None:
        will = self.board.will()
        if will is not None:
            self.world.broker.publish(self.said(will, Sender.BOARD))

    def greet(self) -> None:
        """It finds the broker: what is retained on its topics comes first."""
        if self.spec.one_way.retained and self.spec.one_way.topic not in self.world.broker.retained:
            self.world.checks.reckoned.forgotten(self)
        for topic in self.board.topics:
            kept = self.world.broker.retained.get(topic)
            if isinstance(kept, Overheard):
                self._later(kept, retained=True)
        self.greeted = self.life
        self._after(self.board.greeting(self.world.now))
