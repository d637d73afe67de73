"""People in a simulated house: what they ask, and what they do at the board with their own hands."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

from bridge.core.contract import Why
from bridge.core.events import (
    Asked,
    Button,
    Confirmed,
    GroupAsked,
    Nudge,
    Percent,
    Place,
    Press,
    Release,
    Want,
)
from bridge.core.spec import GroupSpec
from bridge.core.state import Shade
from bridge.core.values import Rank, ShadeId
from bridge.simulate.motor import Motor
from bridge.simulate.world.by_hand import ByHand
from bridge.simulate.world.network import BoardSide, Line
from bridge.simulate.world.one_way_side import OneWaySide
from bridge.simulate.world.reckoned import is_lost

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

# The hands of a person who sees the hem bar: they let go well before the cloth or the stop ends.
EYE_MM = 3.0


class People:
    """Everybody who wants something of the shades."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.by_hand = ByHand(world)
        self.aside = Random(f"people of seed {world.options.seed}")

    def ask_all(self) -> None:
        """Ask a group, which may be the whole house, at once; one that moves level also for a little."""
        groups = self.world.plan.spec.groups
        group = groups[0] if len(groups) == 1 else self.aside.choice(groups)
        self.ask_group(group, Percent(open_pct=self.aside.choice((0, 50, 100))))
        if group.level and self.aside.random() < 0.3:
            wants = (Nudge(by_pct=-10), Nudge(by_pct=15), Press(button=Button.STOP), Percent(open_pct=70))
            later = self.world.now + self.aside.uniform(0.5, 12.0)
            self.world.at(later, self.ask_group, group, self.aside.choice(wants))

    def ask_group(self, group: GroupSpec, want: Want) -> None:
        """Ask a group, if the bridge runs."""
        server = self.world.server
        if not server.running:
            return
        self.world.asks.update(list(self.world.where))
        self.world.figures.group_asks += 1
        server.deliver(
            GroupAsked(at=server.moment(), group=group.id, want=want, rank=Rank.HAND, source="page")
        )

    def ask(self, name: ShadeId, want: Want, rank: Rank = Rank.HAND) -> None:
        """Ask the bridge, if it runs."""
        server = self.world.server
        if not server.running:
            return
        self.world.asks[name] += 1
        server.deliver(Asked(at=server.moment(), shade=name, want=want, rank=rank, source="page"))

    def wish(self, name: ShadeId) -> None:
        """Want something, as people do; a shade that does not know where it is is helped first."""
        world, rng = self.world, self.world.rng
        house = world.server.house
        if not world.server.running or house is None:
            return
        shade = house.shades[name]
        if is_lost(shade):
            self._help(shade)
            return
        if world.plan.spec.groups and self.aside.random() < 0.15:
            self.ask_all()
            return
        draw = rng.random()
        if draw < 0.6:
            self.ask(name, Percent(open_pct=rng.choice((0, 100, rng.randint(0, 100)))))
        elif draw < 0.75:
            self.ask(name, Press(button=rng.choice((Button.UP, Button.DOWN))))
        elif draw < 0.85:
            self.ask(name, Nudge(by_pct=rng.choice((-30, -5, 5, 30))))
        elif draw < 0.95:
            self._drag(name)
        else:
            self.ask(name, Release())
        if rng.random() < 0.2:
            world.at(world.now + rng.uniform(0.05, 6.0), self._stop_or_turn, name)

    def _stop_or_turn(self, name: ShadeId) -> None:
        if self.world.rng.random() < 0.5:
            self.ask(name, Press(button=Button.STOP))
        else:
            self.ask(name, Percent(open_pct=self.world.rng.randint(0, 100)))

    def _drag(self, name: ShadeId) -> None:
        """Drag a slider: many wishes in a second or two."""
        at, pct = self.world.now, self.world.rng.randint(0, 100)
        for _ in range(self.world.rng.randint(3, 15)):
            at += self.world.rng.uniform(0.02, 0.2)
            pct = min(max(pct + self.world.rng.randint(-12, 12), 0), 100)
            self.world.at(at, self.ask, name, Percent(open_pct=pct))

    # By hand.

    def _help(self, shade: Shade) -> None:
        """Take a reference: by its sensor from the page, or by hand at a limit."""
        side, _ = self.world.where[shade.id]
        if isinstance(side, OneWaySide):
            self.by_hand.help(side, shade)
            return
        senses = shade.spec.upper_switch or shade.spec.upper_stall
        if senses is not None and self.world.rng.random() < 0.7:
            self.ask(shade.id, Press(button=Button.UP))
            return
        if shade.spec.local_button:
            place = self.world.rng.choice((Place.UPPER, Place.LOWER))
            self._jog_to(shade.id, place)
            return
        self.ask(shade.id, Press(button=Button.UP))

    def _jog_to(self, name: ShadeId, place: Place) -> None:
        """Press and hold until the hem bar is at a limit, as well as the eye can tell, then confirm that."""
        world = self.world
        side, number = world.where[name]
        if not side.board.powered or not isinstance(side, BoardSide):
            return
        side.catch_up()
        motor = side.board.channels[number]
        if motor.moving:
            return
        spec = world.spec_at(side, number)
        off = min(EYE_MM, spec.hand_repeatability_mm) * 0.9 * world.rng.uniform(-1, 1)
        at_mm = off + (0.0 if place is Place.UPPER else spec.travel.roll.drop_mm)
        self.jog(side, number, at_mm)
        wait = 5.0 + (motor.motion.leg.end_s - world.now if motor.motion else 0.0)
        world.at(world.now + wait, self._confirm, name, place, 3)

    def jog(self, side: BoardSide, number: int, to_mm: float) -> None:
        """Move the hem bar to a place by button, letting go there."""
        self._hold_button(side, number, self.world.turns_at(side, number, to_mm), f"{to_mm:.1f}")

    def unroll(self, side: BoardSide, number: int, turns_past: float) -> None:
        """Hold the button down until the cloth is wound up the wrong way by so many turns."""
        end = side.board.channels[number].tube.end_turns
        self._hold_button(side, number, end + turns_past, f"{turns_past:.2f} turns too far")

    def _hold_button(self, side: BoardSide, number: int, turns: float, told: str) -> None:
        motor = side.board.channels[number]
        side.disturbed(number)
        self.world.asks[self.world.shade_at_side(side, number)] += 1
        motor.energise()
        tube, build = motor.tube, motor.fitting.build
        assert motor.count is not None
        wanted = motor.count + round((turns - tube.turns) * build.pulses_per_turn)
        to = _within_bounds(motor, wanted)
        if to != motor.count:
            motor.set_off(
                to, self.world.now, top=motor.fitting.own_pps, ramp=motor.fitting.own_ramp, why=Why.BUTTON
            )
            self.world.figures.local_moves += 1
        motor.say(Why.BUTTON)
        self.world.note("jog", side.board.plan.id, number, told)
        side.after(side.board.messages([], self.world.now))

    def _confirm(self, name: ShadeId, place: Place, tries: int) -> None:
        world = self.world
        side, number = world.where[name]
        side.catch_up()
        motor = side.board.channels[number]
        spec = world.spec_at(side, number)
        at_mm = 0.0 if place is Place.UPPER else spec.travel.roll.drop_mm
        there = abs(motor.tube.drop_mm - at_mm) <= spec.hand_repeatability_mm
        house = world.server.house
        if motor.moving or not there or not world.server.running or house is None:
            return
        was_known = house.shades[name].reason
        # The person waits until the page shows what they have just done.
        if side.dirty[number] is None:
            event = Confirmed(at=world.server.moment(), shade=name, place=place)
            world.server.deliver(event)
            after = world.server.house
            if after is not None and after.shades[name].reason != was_known:
                world.checks.unfelt.confirmed(after.shades[name])
                return
        if tries:
            world.at(world.now + 6.0, self._confirm, name, place, tries - 1)

    def use_button(self, side: Line, number: int) -> None:
        """Go up or down by the button at the board, and perhaps stop on the way."""
        world = self.world
        spec = world.spec_at(side, number)
        if not spec.local_button or not side.board.powered or not isinstance(side, BoardSide):
            return
        side.catch_up()
        motor = side.board.channels[number]
        if motor.bounds is None or not motor.kept:
            if not motor.moving:
                drop = spec.travel.roll.drop_mm
                self.jog(side, number, world.rng.uniform(0.02, 0.98) * drop)
            return
        side.disturbed(number)
        world.asks[spec.id] += 1
        world.figures.local_moves += 1
        button = world.rng.choice(("up", "down", "stop"))
        world.note("button", side.board.plan.id, number, button)
        side.after(side.board.messages(side.board.press(number, button, world.now), world.now))
        if world.rng.random() < 0.5:
            world.at(world.now + world.rng.uniform(0.2, 5), self._press_stop, side, number)

    def _press_stop(self, side: BoardSide, number: int) -> None:
        if not side.board.powered:
            return
        side.catch_up()
        side.disturbed(number)
        side.after(side.board.messages(side.board.press(number, "stop", self.world.now), self.world.now))


def _within_bounds(motor: Motor, to: int) -> int:
    """Return how far a finger takes a motor: a board with bounds does not leave them, held button or not."""
    assert motor.count is not None
    if motor.bounds is None:
        return to
    low, high = motor.bounds
    return max(to, min(low, motor.count)) if to < motor.count else min(to, max(high, motor.count))
