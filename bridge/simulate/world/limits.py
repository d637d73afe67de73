"""The invariants about amps, rules, stale evidence and what is shown: I8, I9, I11 and I15.

Amps are those of the truth: motors that orders have set going and motors that stand still with current.
What a button or a wind contact has set going draws from the same supply, and no bridge can hold it back.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from bridge.adapters.broker.tree import Tree
from bridge.adapters.page.telling import shade_said
from bridge.core.events import ReportHeard
from bridge.core.outcome import Note, SendOrder
from bridge.core.outlook import shade_outlook
from bridge.core.spec import OneWayLink
from bridge.core.state import House, Shade, touched
from bridge.core.values import Rank, ShadeId
from bridge.simulate.world.escape import Escape

if TYPE_CHECKING:
    from bridge.simulate.world.network import Line
    from bridge.simulate.world.world import World

# Sums of amps drawn from a range.
ROUNDING_A = 1e-6
# Every so many changed estimates are looked at as the broker shows them: formatting all would take longer
# than deciding.
SHOWN_EVERY = 8
PAGE_EVERY = 8 * SHOWN_EVERY
# What the rules for comfort may run a motor in any hour, in seconds: far from what warms it.
DUTY_S = 600.0
HOUR_S = 3600.0
# Tried again later each time, and once a minute at most while its board keeps coming back.
RETRACTS_AN_HOUR = 20
DAY_S = 86400.0
# A look of the rules is late by what its timer is.
PUNCTUAL_S = 1.0


class Limits:
    """What is kept within limits in one world."""

    def __init__(self, world: World) -> None:
        self.world = world
        shades = world.plan.spec.shades
        self.tree = Tree(shades=tuple((shade.id, shade.name) for shade in shades))
        self.budget_a = {each.id: each.amps for each in world.plan.spec.supplies}
        self.changes = 0
        # Set going by an order, and not by hand since.
        self.ordered: dict[ShadeId, int] = {}
        # The connection in which the last live report was heard.
        self.evidence: dict[ShadeId, int] = {}
        self.connection = 0
        self.ruled_s: dict[ShadeId, list[float]] = {}
        self.raised_s: dict[ShadeId, list[float]] = {}
        self.ran_s: dict[ShadeId, list[tuple[float, float]]] = {}

    # I9.

    def noted(self, note: Note) -> None:
        """The rules move a shade at most so often, and not too soon again."""
        if note.name != "rule.shade.decided" or not note.text.startswith("moved to"):
            return
        assert note.shade is not None
        if self.world.weather.fitted:
            self._guarded(note.shade)
            return
        restraint, now = self.world.plan.spec.restraint, self.world.now
        moved = [at for at in self.ruled_s.get(note.shade, []) if at > now - 2 * DAY_S]
        self.world.figures.rule_moves += 1
        if moved and now - moved[-1] < restraint.dwell_s - PUNCTUAL_S:
            raise Escape("I9", f"{note.shade}: the rules move it again after {now - moved[-1]:.0f} s")
        moved.append(now)
        self.ruled_s[note.shade] = moved
        # Any 24 hours touch at most two local days.
        if len([at for at in moved if at > now - DAY_S]) > 2 * restraint.moves_a_day:
            raise Escape("I9", f"{note.shade}: the rules have moved it {len(moved)} times")

    def _guarded(self, name: ShadeId) -> None:
        """Guards against wind and rain wait for nothing, but do not run against what sticks without end."""
        raised = [at for at in self.raised_s.get(name, []) if at > self.world.now - HOUR_S]
        raised.append(self.world.now)
        self.raised_s[name] = raised
        if len(raised) > RETRACTS_AN_HOUR:
            raise Escape("I9", f"{name}: guards have raised it {len(raised)} times within an hour")

    def _ran(self, name: ShadeId, seconds: float) -> None:
        """The rules for comfort do not keep a motor running."""
        house, now = self.world.server.house, self.world.now
        request = None if house is None or name not in house.shades else house.shades[name].request
        if request is None or request.rank > Rank.RULE:
            return
        ran = [(at, each) for at, each in self.ran_s.get(name, []) if at > now - HOUR_S]
        ran.append((now, seconds))
        self.ran_s[name] = ran
        if (total := sum(each for _, each in ran)) > DUTY_S:
            raise Escape("I9", f"{name}: the rules have run its motor for {total:.0f} s in an hour")

    def forgiven(self) -> None:
        """The clock was set, or rows of the journal are gone: what rules did before is not counted."""
        self.ruled_s.clear()

    # I11.

    def connected(self) -> None:
        """A session with the broker begins: nothing heard before it is evidence any more."""
        self.connection += 1

    def heard(self, name: ShadeId, event: ReportHeard) -> None:
        """A live report has come."""
        if not event.retained:
            self.evidence[name] = self.connection

    def leaving(self, sent: SendOrder) -> None:
        """Nothing is set going on what was heard in an earlier session, or on a retained word."""
        if self.evidence.get(sent.shade) != self.connection:
            raise Escape("I11", f"{sent.shade}: {sent.order.do} leaves without a live report in this session")

    # I8.

    def began(self, name: ShadeId, side: Line, channel: int, *, from_rest: bool, moves: int) -> None:
        """An order has set a motor going: all that orders have set going fits its supply.

        What a hand had set going before goes on drawing what it drew.
        """
        if not from_rest and self.ordered.get(name) != moves:
            return
        motor = side.board.channels[channel]
        self.ordered[name] = motor.tube.state.moves
        if motor.motion is not None:
            self._ran(name, motor.motion.leg.end_s - self.world.now)
        supply = self.world.specs[name].supply
        if supply is None:
            return
        drawn = sum(self._drawn_a(each) for each, spec in self.world.specs.items() if spec.supply == supply)
        if drawn > self.budget_a[supply] + ROUNDING_A:
            raise Escape(
                "I8", f"{drawn:.2f} A are drawn from {supply}, which gives {self.budget_a[supply]:.2f} A"
            )
        self.world.figures.shared_starts += 1

    def _drawn_a(self, name: ShadeId) -> float:
        side, channel = self.world.where[name]
        motor, spec = side.board.channels[channel], self.world.specs[name]
        if motor.moving and self.ordered.get(name) == motor.tube.state.moves:
            return spec.moving_a
        return spec.standstill_a if motor.tube.state.energised and not motor.moving else 0.0

    # I15.

    def shown(self, before: House | None, house: House) -> None:
        """What the broker tree shows of a changed estimate is the estimate, rounded outwards."""
        for shade in house.shades.values() if before is None else touched(before, house):
            old = None if before is None else before.shades.get(shade.id)
            if old is not None and old.knowledge is shade.knowledge:
                continue
            self.changes += 1
            if self.changes % SHOWN_EVERY == 0:
                self._as_shown(house, shade)

    def _as_shown(self, house: House, shade: Shade) -> None:
        device = self.tree.topic(shade.id, "knowledge")
        values = self.tree.values(shade_outlook(house, shade))
        low, high, width = (Decimal(values[f"{device}/{each}"].decode()) for each in ("low", "high", "width"))
        spec, hull = shade.spec, shade.knowledge.hull
        roll, travel = spec.travel.roll, spec.travel
        top_mm, bottom_mm = travel.drop_at_steps(hull.low), travel.drop_at_steps(hull.high)
        for said, held, outwards in (
            (low, 100 * (1 - bottom_mm / roll.drop_mm), -1),
            (high, 100 * (1 - top_mm / roll.drop_mm), 1),
            (width, bottom_mm - top_mm, 1),
        ):
            off = outwards * (float(said) - held)
            if not -1e-6 <= off <= 0.1 + 1e-6:
                raise Escape("I15", f"{shade.id}: {said} is shown of {held:.4f}")
        grade = values[f"{device}/grade"].decode()
        if grade != self._grade(shade, bottom_mm - top_mm):
            raise Escape("I15", f"{shade.id}: {grade} is shown of {bottom_mm - top_mm:.1f} mm")
        place = values.get(f"{self.tree.topic(shade.id, 'opening')}/position", b"").decode()
        # Whole percent, and 0 and 100 within tolerance of the limits.
        off = 1 + 100 * spec.tolerance_mm / roll.drop_mm
        outside = place and not min(float(low), 100.0) - off <= int(place) <= max(float(high), 0.0) + off
        if (grade == "unknown") != (place == "") or outside:
            raise Escape("I15", f"{shade.id}: {place!r} is shown of a claim of {low} to {high} %")
        if self.changes % PAGE_EVERY == 0:
            self._as_on_the_page(house, shade, (place, grade, float(low), float(high), float(width)))

    def _as_on_the_page(
        self, house: House, shade: Shade, in_tree: tuple[str, str, float, float, float]
    ) -> None:
        """The page's data is what the tree says, which is what the commands print."""
        said = shade_said(house, shade, house.now, None)
        place = "" if said.open_pct is None else str(said.open_pct)
        on_page = (place, said.grade, said.low_pct, said.high_pct, said.width_mm)
        if on_page != in_tree:
            raise Escape("I15", f"{shade.id}: the page says {on_page}, the tree {in_tree}")

    def _grade(self, shade: Shade, width_mm: float) -> str:
        spec, hull = shade.spec, shade.knowledge.hull
        if hull.low <= spec.ends.low and hull.high >= spec.ends.high:
            return "unknown"
        if shade.knowledge.hearsay or width_mm > spec.doubtful_mm:
            return "doubtful"
        return "referenced" if width_mm <= spec.tolerance_mm and self._watched(shade) else "reckoned"

    def _watched(self, shade: Shade) -> bool:
        """Say whether a board that never reports could not have gone and come back unheard."""
        link = shade.spec.link
        if not isinstance(link, OneWayLink):
            return True
        return link.alive is not None and link.alive.gone is not None and shade.reckoning.watched
