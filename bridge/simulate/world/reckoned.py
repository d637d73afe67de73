"""The invariants of boards that never report: what left for them, what set them going, what none could know.

Exempt until a person confirms the place, and counted apart: a power cut that no alive topic tells, or tells
later than the settings say; a target that its board gets later than they say, or never. Hidden for a while:
a stranger's message until the bridge has heard it, a power cut until its alive topic has told it.
"""

from __future__ import annotations

from math import ceil
from typing import TYPE_CHECKING

from bridge.adapters.links.one_way import encode
from bridge.core.events import AliveHeard, Event, TargetHeard
from bridge.core.outcome import SendTarget
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.reckoning import Run
from bridge.core.spec import OneWayLink, Unit
from bridge.core.state import House, Shade
from bridge.core.values import Interval, ShadeId
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.one_way_board import Overheard, Sender, SimOneWayBoard

if TYPE_CHECKING:
    from bridge.simulate.world.one_way_side import OneWaySide
    from bridge.simulate.world.world import World

# A request that has ended still moves a board that long after: two slow hops, a hang, a half-open connection.
LATE_S = 40.0
TARGETS_A_SECOND = 5
HEARD_KEPT = 200
# By so much an unmeasured gear may be out.
UNMEASURED = 0.06
# What the radio takes while nothing is wrong.
HOPS_S = 0.2
# By so long after a halt its board stands, and has been told where: a hang or a slow network included.
SETTLES_S = 60.0


class Reckoned:
    """The one-way shades of one world."""

    def __init__(self, world: World) -> None:
        self.world = world
        # Power went, nobody has told the bridge yet: the life of the board that begins after it.
        self.cuts: dict[ShadeId, int] = {}
        # What strangers have said and the bridge has not heard: number and whether the broker keeps it.
        self.strange: dict[ShadeId, dict[int, bool]] = {}
        self.heard_s: dict[int, float] = {}
        # What the broker has passed on to a board that has not got it yet.
        self.under_way: set[int] = set()
        # The last message on each board's topic.
        self.newest: dict[str, int] = {}
        # The last message that the bridge has heard.
        self.last_heard: dict[ShadeId, int] = {}
        self.acted: set[int] = set()
        self.recent: dict[ShadeId, list[float]] = {}
        # When a halt last left, or was heard of.
        self.halted_s: dict[ShadeId, float] = {}
        # A board found nothing where its broker had kept its target, and the bridge has yet to miss it.
        self.emptied: set[ShadeId] = set()

    def hides(self, name: ShadeId) -> bool:
        """Say whether something is under way to the bridge that its claim can't know yet."""
        return name in self.cuts or name in self.emptied or bool(self.strange.get(name))

    def unknowable(self, name: ShadeId, why: str) -> None:
        """Something has met a shade that nobody will tell of."""
        self.cuts.pop(name, None)
        self.strange.pop(name, None)
        self.emptied.discard(name)
        self.world.note("unknowable", name, why)
        if name in self.world.checks.unfelt:
            self.world.checks.unfelt.since[name] = self.world.now
        else:
            self.world.checks.unfelt.happened(name)

    # What happens to a board.

    def cut(self, side: OneWaySide) -> None:
        """Its power goes now."""
        name, link = side.spec.id, side.spec.one_way
        if link.alive is None:
            self.unknowable(name, "no alive topic")
            return
        house = self.world.server.house
        gone = house is not None and name in house.shades and house.shades[name].reckoning.alive is False
        if gone and side.greeted != side.life:
            return
        life = self.cuts[name] = side.life + 1
        self.world.at(self.world.now + link.alive.within_s + HOPS_S, self._overdue, name, life)

    def _overdue(self, name: ShadeId, life: int) -> None:
        if self.cuts.get(name) == life:
            self.unknowable(name, "told later than the settings say")

    def spoken(self, message: Overheard) -> None:
        """A stranger's message is at the broker."""
        self.strange.setdefault(message.spec.id, {})[message.number] = message.retain

    def published(self, message: Overheard) -> None:
        """A message has come to the broker."""
        self.newest[message.topic] = message.number

    def dropped(self, side: OneWaySide, message: Overheard) -> None:
        """A message has not reached its board."""
        if not self._told(side) or self._taken_to_be_there(side):
            self.unknowable(side.spec.id, f"a target that never arrived, or waits: {message.retain}")

    def _taken_to_be_there(self, side: OneWaySide) -> bool:
        """Say whether a broker that died could not speak the will of a board that is not back yet."""
        house = self.world.server.house
        shade = None if house is None else house.shades.get(side.spec.id)
        return side.session is None and shade is not None and shade.reckoning.alive is True

    def forgotten(self, side: OneWaySide) -> None:
        """A board finds nothing on a topic whose message its broker has lost: it takes itself to be at 0."""
        if side.greeted != side.life and side.spec.one_way.topic in self.newest:
            self.world.note("emptied", side.spec.id)
            self.emptied.add(side.spec.id)

    def _told(self, side: OneWaySide) -> bool:
        """Say whether the bridge is told of it when the board is not there."""
        alive = side.spec.one_way.alive
        return alive is not None and alive.gone is not None

    def arrived(self, side: OneWaySide, message: Overheard, *, retained: bool) -> None:
        """A message is at its board: in time, as far as the settings promise that?"""
        name, link = side.spec.id, side.spec.one_way
        if retained:
            if side.board.would_move(message, retained=True):
                if not self._told(side):
                    self.unknowable(name, "a target kept by the broker")
                elif message.number != self.newest.get(message.topic):
                    # A broker that has gone back in time: the bridge will be handed the same.
                    self.strange.setdefault(name, {})[message.number] = True
            return
        heard_s = self.heard_s.get(message.number)
        begins_s = self.world.now + side.board.plan.delay_s
        if heard_s is not None and begins_s > heard_s + link.latency_s + 1e-6:
            self.unknowable(name, "a target later than the settings say")

    def begun(self, side: OneWaySide, message: Overheard, *, at_rest: bool) -> None:
        """A message has set the motor going, or has turned it."""
        if message.sender is not Sender.BRIDGE:
            self.world.figures.local_moves += at_rest
            return
        world, name, motor = self.world, side.spec.id, side.board.motor
        world.figures.moves += at_rest
        if message.number in self.acted and at_rest and not self._told_of(name, message):
            raise Escape("I4", f"{name}: target {message.payload!r} moved it twice")
        self.acted.add(message.number)
        self._still_wanted(name, message)
        if name in world.checks.unfelt or self.hides(name):
            return
        moves = motor.tube.state.moves
        world.checks.limits.began(name, side, 0, from_rest=at_rest, moves=moves - at_rest)
        assert motor.to is not None
        assert motor.count is not None
        tube = motor.tube
        turns = tube.turns + (motor.to - motor.count) / motor.fitting.build.pulses_per_turn
        if motor.to > motor.count and turns > tube.end_turns - 0.1:
            past = turns - tube.end_turns
            raise Escape("I2", f"{name}: target {motor.to} lies {past:+.2f} turns past the end")

    def _told_of(self, name: ShadeId, message: Overheard) -> bool:
        """Say whether a halted board may find its target again: people know of it, or it came too soon.

        Where the clock does not tell the place of a halt, hembar leaves the target and says what to do. A
        board that loses the broker before its halt is over goes on before anything can be sent.
        """
        house = self.world.server.house
        shade = None if house is None else house.shades.get(name)
        known = shade is not None and "halted from" in shade.trouble
        soon = self.world.now < self.halted_s.get(name, -SETTLES_S) + SETTLES_S
        if not message.retain or not (known or soon or name in self.world.checks.unfelt or self.hides(name)):
            return False
        self.world.figures.faults["halted, and gone on"] += 1
        return True

    def _still_wanted(self, name: ShadeId, message: Overheard) -> None:
        asking = None if message.request is None else self.world.checks.asked.get(message.request)
        if asking is None or asking.fate not in ("superseded", "expired", "refused"):
            return
        late = self.world.now - asking.ended_s
        if late > LATE_S and not message.retain:
            raise Escape("I5", f"{name}: request {message.request}, {asking.fate} {late:.1f} s ago, moves it")

    # What the bridge hears and says.

    def connected(self) -> None:
        """A session begins for which the broker has kept nothing: what was said before is never heard."""
        for name, kept in list(self.strange.items()):
            if kept and not (len(kept) == 1 and all(kept.values())):
                self.unknowable(name, "strangers while the bridge was away")
        for name in list(self.cuts):
            if self.world.where[name][0].session is not None:
                self.unknowable(name, "a power cut while the bridge was away")

    def decided(self, event: Event, house: House, message: object) -> None:
        """Look at what the bridge has heard."""
        for name in list(self.cuts):
            if name in house.shades and house.shades[name].reckoning.alive is False:
                del self.cuts[name]
        for name in list(self.emptied):
            if house.broker_up and name in house.shades and house.shades[name].reckoning.kept_s is None:
                self.emptied.discard(name)
        if not isinstance(message, Overheard):
            return
        name = message.spec.id
        if isinstance(event, AliveHeard):
            if message.life >= self.cuts.get(name, message.life + 1):
                self.unknowable(name, "a power cut that was over before it was told")
        elif isinstance(event, TargetHeard):
            if event.halts:
                self.halted_s[name] = self.world.now
            self._target_heard(name, message, event)

    def _target_heard(self, name: ShadeId, message: Overheard, event: TargetHeard) -> None:
        news = message.number != self.last_heard.get(name)
        side, _ = self.world.where[name]
        assert isinstance(side.board, SimOneWayBoard)
        behind = side.session is None or side.board.would_move(message, retained=True)
        if event.retained and news and behind:
            self.unknowable(name, "a target that the broker still keeps for its board")
        self.last_heard[name] = message.number
        if message.sender is Sender.BRIDGE and not event.retained:
            if message.number not in self.heard_s:
                self.heard_s[message.number] = self.world.now
                in_time_s = max(0.0, message.spec.one_way.latency_s - side.board.plan.delay_s) + 1e-6
                self.world.at(self.world.now + in_time_s, self._not_there_yet, name, message.number)
            if len(self.heard_s) > HEARD_KEPT:
                for old in list(self.heard_s)[: HEARD_KEPT // 2]:
                    del self.heard_s[old]
        waiting = self.strange.get(name, {})
        before = [number for number in waiting if number < message.number]
        waiting.pop(message.number, None)
        if before:
            self.unknowable(name, "a stranger whom the bridge has not heard")
        elif message.sender is Sender.STRANGER and not event.retained and self._is_late(message):
            self.unknowable(name, "a stranger heard later than the settings say")

    def _not_there_yet(self, name: ShadeId, number: int) -> None:
        if number in self.under_way:
            self.unknowable(name, "a target later than the settings say")

    def _is_late(self, message: Overheard) -> bool:
        return self.world.now > message.at_s + message.spec.one_way.latency_s

    def sending(self, house: House, sent: SendTarget) -> None:
        """Check a target on the point of leaving."""
        shade = house.shades[sent.shade]
        self.world.figures.orders += 1
        if sent.halts:
            self.halted_s[sent.shade] = self.world.now
        if self.world.server.gap:
            if not sent.halts:
                raise Escape("I7", f"{sent.shade}: a target leaves while the disk refuses")
            return
        durable = self.world.server.durable
        if durable is None or sent.shade not in durable.shades:
            raise Escape("I7", f"{sent.shade}: a target left before anything was flushed")
        kept = durable.shades[sent.shade].knowledge
        if not kept.hull.contains(shade.knowledge.hull):
            raise Escape("I7", f"{sent.shade}: the disk holds {kept.hull}, the target {shade.knowledge.hull}")
        if sent.value is not None:
            self._leaving_motion(shade, sent)

    def _leaving_motion(self, shade: Shade, sent: SendTarget) -> None:
        reckoning, known, travel = shade.reckoning, shade.knowledge, shade.spec.travel
        run = reckoning.run
        number = None if run is None else run.request
        if run is not None and number is None and not sent.halts:
            self._only_settles(shade, run)
            return
        asking = None if number is None else self.world.checks.asked.get(number)
        if asking is None or asking.fate is not None:
            raise Escape("I5", f"{shade.id}: a target leaves for request {number}")
        if reckoning.alive is False and not sent.halts:
            raise Escape("I11", f"{shade.id}: a target leaves for a board that is known to be gone")
        times = [at for at in self.recent.get(shade.id, []) if at > self.world.now - 1]
        self.recent[shade.id] = [*times, self.world.now]
        if len(times) >= TARGETS_A_SECOND:
            raise Escape("I12", f"{shade.id}: {len(times) + 1} targets within a second")
        if known.base is None or shade.id in self.world.checks.unfelt or self.hides(shade.id):
            return
        assert sent.value is not None
        side, _ = self.world.where[shade.id]
        assert isinstance(side.board, SimOneWayBoard)
        _, payload, _ = encode(shade.spec.one_way, sent.value)
        at = known.base.middle + (side.board.count_of(payload) or 0)
        slack = known.base.width + float(travel.drive.cycle_pulses) + 1
        if shade.spec.one_way.unit is Unit.TURNS:
            # A gear that is not what the settings say: its board reckons steps by the true one.
            slack += UNMEASURED * travel.lower_steps
        slack += self._grid(side.board, shade.spec.one_way.decimals) + self._tolerance(shade)
        if not -slack - 1 <= at <= travel.lower_steps + slack + 1:
            raise Escape("I2", f"{shade.id}: sent to {at}, limits 0 to {travel.lower_steps}")

    def _only_settles(self, shade: Shade, run: Run) -> None:
        """A target that nobody asked for leads nowhere but to where the board is reckoned to stand."""
        side, _ = self.world.where[shade.id]
        assert isinstance(side.board, SimOneWayBoard)
        around = run.began.widened(ceil(self._grid(side.board, shade.spec.one_way.decimals)) + 1)
        if shade.request is not None or not around.contains(Interval(low=run.to, high=run.to)):
            raise Escape("I4", f"{shade.id}: sent to {run.to} unasked, reckoned to stand at {run.began}")

    def _grid(self, board: SimOneWayBoard, decimals: int) -> float:
        """Return the steps between two numbers that the link can spell."""
        one, nothing = board.count_of(b"1"), board.count_of(b"0")
        assert one is not None
        assert nothing is not None
        return abs(one - nothing) / float(10**decimals)

    def _tolerance(self, shade: Shade) -> float:
        travel = shade.spec.travel
        return float(travel.steps_at_drop(shade.spec.tolerance_mm) - travel.steps_at_drop(0.0))

    def confirmed(self, side: OneWaySide, shade: Shade) -> None:
        """A person has confirmed a place; a count that is not what the bridge takes it for stays wrong."""
        counts, motor = shade.reckoning.counts, side.board.motor
        self.world.checks.outdated.discard(shade.id)
        if counts is None or motor.count is None:
            return
        # A board may round a number otherwise than the bridge.
        if counts.low - 1 <= motor.count <= counts.high + 1:
            self.world.checks.unfelt.since.pop(shade.id, None)


def serves(shade: Shade) -> bool:
    """Say whether a shade of either link can be ordered now."""
    if isinstance(shade.spec.link, OneWayLink):
        return shade.reckoning.alive is not False
    return shade.channel.answered


def is_lost(shade: Shade) -> bool:
    """Say whether people would help a shade before they ask anything of it."""
    grade = grade_of(shade.spec, shade.knowledge.hull)
    return grade in (Grade.UNKNOWN, Grade.DOUBTFUL) and serves(shade)
