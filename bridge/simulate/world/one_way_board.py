"""A simulated board that only obeys, and what is said on its topics, in a simulated house."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, auto
from fractions import Fraction
from random import Random

from bridge.adapters.links.one_way import decode
from bridge.core.contract import Link
from bridge.core.events import AliveHeard, TargetHeard
from bridge.core.spec import PowerUp, ShadeSpec, Unit
from bridge.core.values import Moment
from bridge.simulate.fitting import OneWayPlan
from bridge.simulate.one_way_board import OneWayBoard
from bridge.simulate.wire import Publish


class Sender(Enum):
    """Who has said something on a plain topic."""

    BRIDGE = auto()
    BOARD = auto()
    STRANGER = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class Overheard:
    """A message on a topic of a one-way board.

    Attributes:
        board: Whose topics they are.
        topic: Where.
        payload: What.
        retain: The broker keeps it.
        sender: Who said it.
        spec: The shade, for its link.
        number: Rises over the life of the world.
        life: Of the board, counted by its power cuts, as it was said.
        request: That a target of the bridge serves; None for all else.
        at_s: Simulated time.
    """

    board: str
    topic: str
    payload: bytes
    retain: bool
    sender: Sender
    spec: ShadeSpec
    number: int
    life: int
    at_s: float
    request: int | None = None
    channel: None = None

    def event(self, at: Moment, *, retained: bool) -> TargetHeard | AliveHeard | None:
        """Return it as the bridge hears it; None when it says nothing to it."""
        return decode([self.spec], self.topic, self.payload, retained=retained, at=at)


class SimOneWayBoard(OneWayBoard):
    """A board that remembers which messages have set its motor going."""

    def __init__(self, plan: OneWayPlan, rng: Random) -> None:
        super().__init__(plan, rng)
        self.begun: list[tuple[Overheard, bool]] = []

    def hear(self, message: Overheard, now_s: float, *, retained: bool) -> list[Publish]:
        """Take one message, and keep in mind whose it was."""
        return self.on_message(message.topic, message.payload, retained, now_s, tag=message)

    def would_move(self, message: Overheard, *, retained: bool) -> bool:
        """Say whether this message leads elsewhere than where it stands or goes."""
        first = retained and not self._found and self.plan.power_up is PowerUp.RETAINED_TARGET
        count = self.count_of(message.payload) if message.topic == self.plan.topic else None
        return count is not None and not first and count not in (self.motor.count, self.motor.to)

    def number_for(self, count: int, decimals: int) -> bytes:
        """Return the number on its topic that leads nearest to a count."""
        plan = self.plan
        exact = Fraction(count)
        if plan.unit is Unit.TURNS:
            exact /= self.motor.fitting.build.pulses_per_rev * self.motor.fitting.build.gear
        elif plan.unit is not Unit.STEPS:
            closed = min(max(100 * exact / plan.full_steps, Fraction(0)), Fraction(100))
            exact = closed if plan.unit is Unit.PERCENT_CLOSED else 100 - closed
        return f"{float(exact):.{decimals}f}".encode("ascii")

    def greeting(self, now_s: float) -> list[Publish]:
        """Return what it says on connecting."""
        return self.connected(now_s)

    def will(self) -> Publish | None:
        """Return what the broker says for it once its connection is gone."""
        return self.link(Link.LOST)

    def _obey(self, count: int | None, now_s: float) -> None:
        motor = self.motor
        moves, leg = motor.tube.state.moves, None if motor.motion is None else motor.motion.leg
        super()._obey(count, now_s)
        began = motor.tube.state.moves > moves
        turned = motor.motion is not None and motor.motion.leg is not leg
        if (began or turned) and count is not None and isinstance(self.obeying, Overheard):
            self.begun.append((self.obeying, leg is None))
