"""Invariant I6: a stop halts, and no rule moves a shade that a person holds.

A stop is looked at again after what it may take, unless a fault, a restart or a newer request, be it a
rule's, came in between.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from bridge.core.events import Asked, Event, GroupAsked, only_halts
from bridge.core.outcome import Note
from bridge.core.spec import OneWayLink, ShadeSpec
from bridge.core.state import House
from bridge.core.values import Rank, ShadeId
from bridge.simulate.motion import Leg
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.network import LATENCY_S
from bridge.simulate.world.one_way_plan import PACE

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

# What a stop may take: two slow messages and the ramp.
STOP_S = 15.0
# What a slow network still holds back once it is quick again.
SLOW_TAIL_S = 15.0


class Stops:
    """The stops and holds of one world."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.accepted: Counter[ShadeId] = Counter()

    def decided(self, event: Event, house: House, notes: tuple[Note, ...]) -> None:
        """Look at what an event has led to."""
        for note in notes:
            if note.name == "request.accepted" and note.shade is not None:
                self._accepted(house, note.shade)
        if not isinstance(event, Asked | GroupAsked) or not only_halts(event):
            return
        groups = {group.id: group.members for group in house.spec.groups}
        for name in (event.shade,) if isinstance(event, Asked) else groups[event.group]:
            self._stop_later(name)

    def _accepted(self, house: House, name: ShadeId) -> None:
        self.accepted[name] += 1
        shade = house.shades[name]
        if shade.request is not None and shade.request.rank <= Rank.RULE and shade.hold_until is not None:
            raise Escape("I6", f"{name}: {shade.request.source} moves it while a person's request holds it")

    def _stop_later(self, name: ShadeId) -> None:
        """If nothing hampers a stop the motor stands still soon."""
        side, channel = self.world.where[name]
        server = self.world.server
        link = self.world.specs[name].link
        # A board that knows no halt goes on to a target further on, and sometimes no such target is safe.
        if isinstance(link, OneWayLink) and (link.stop is None or name in self.world.checks.unfelt):
            return
        if not (side.reachable and server.connected and not server.deaf):
            return
        if self.world.now < self.world.slow_until + SLOW_TAIL_S:
            return
        moves = side.board.channels[channel].tube.state.moves
        seen = self._undisturbed(name)
        self.world.at(self.world.now + STOP_S, self._stopped, name, moves, seen)

    def _undisturbed(self, name: ShadeId) -> tuple[int, int, int, int]:
        """Equal values mean that no fault, no newer request and no restart came in between."""
        world = self.world
        return world.disturbances, world.asks[name], self.accepted[name], world.server.runs

    def _stopped(self, name: ShadeId, moves: int, seen: tuple[int, int, int, int]) -> None:
        side, channel = self.world.where[name]
        # A process that has died between writing a stop and sending it is not up again yet.
        if seen != self._undisturbed(name) or not self.world.server.running:
            return
        side.catch_up()
        motor = side.board.channels[channel]
        # A board whose topic keeps its target is told where it stands, and stirs a little.
        link = self.world.specs[name].link
        stirs = isinstance(link, OneWayLink) and link.retained
        stirred = stirs and motor.motion is not None and _stirs(motor.motion.leg, self.world.specs[name])
        if (motor.moving and not stirred) or motor.tube.state.moves > moves + 1 + stirs:
            raise Escape("I6", f"{name} moves {STOP_S:.0f} s after a stop")


def _stirs(leg: Leg, spec: ShadeSpec) -> bool:
    """Say whether a way is no longer than a board's pace and late messages put the clock out, or leads up."""
    late = 2 * spec.top_pps * LATENCY_S[1]
    return leg.end - leg.origin <= PACE * spec.travel.end_steps + late
