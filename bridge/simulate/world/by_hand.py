"""A person at the window of a board that never reports: puts the hem bar at its limit, then confirms that."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.events import Confirmed, Place
from bridge.core.state import Shade

if TYPE_CHECKING:
    from bridge.simulate.world.one_way_side import OneWaySide
    from bridge.simulate.world.world import World

# As well as the eye can tell, in mm.
EYE_MM = 3.0
# A board switched off and on is given so long to be heard of again.
SWITCHED_OFF_S = 25.0
BACK_S = 15.0
# What a person puts there hangs there before it is confirmed.
LOOKED_S = 2.0


class ByHand:
    """Hand references of one-way shades."""

    def __init__(self, world: World) -> None:
        self.world = world

    def help(self, side: OneWaySide, shade: Shade) -> None:
        """Do what the refusal says: take it to the upper limit, switch off and on where counts are lost."""
        if side.board.moving or shade.reckoning.run is not None or shade.request is not None:
            return
        wait = LOOKED_S
        self._place(side)
        if shade.reckoning.counts is None:
            side.power_cut()
            self._place(side)
            self.world.at(self.world.now + SWITCHED_OFF_S, side.power_up)
            wait = SWITCHED_OFF_S + BACK_S
        self.world.at(self.world.now + wait, self._confirm, side, 3)

    def _place(self, side: OneWaySide) -> None:
        """Put the hem bar near the upper limit, whatever the motor holds against that."""
        side.catch_up()
        self.world.checks.unfelt.since[side.spec.id] = self.world.now
        side.board.motor.tube.put(self.world.rng.uniform(-0.9, 0.9) * self._exact_mm(side))
        self.world.note("put", side.spec.id)

    def _exact_mm(self, side: OneWaySide) -> float:
        return min(EYE_MM, side.spec.hand_repeatability_mm)

    def _confirm(self, side: OneWaySide, tries: int) -> None:
        world, name = self.world, side.spec.id
        house = world.server.house
        if house is None or not world.server.running or name not in house.shades:
            return
        side.catch_up()
        motor = side.board.motor
        hangs_there = abs(motor.tube.drop_mm) <= self._exact_mm(side)
        if not hangs_there or motor.moving:
            return
        if side.reachable and not world.checks.reckoned.hides(name):
            before = len(house.shades[name].knowledge.meetings), house.shades[name].knowledge.hull
            world.server.deliver(Confirmed(at=world.server.moment(), shade=name, place=Place.UPPER))
            after = world.server.house
            if after is not None and world.server.running:
                known = after.shades[name].knowledge
                if (len(known.meetings), known.hull) != before:
                    world.checks.reckoned.confirmed(side, after.shades[name])
                    return
        if tries:
            world.at(world.now + 6.0, self._confirm, side, tries - 1)
