"""The invariants, checked after every event against the truth and against a ledger of requests and orders.

What is exempt, and why: a shade that an undetectable event has met, until its next reference; one that a
rival has moved unheard, until the first word of it; one whose board is in hearing and has something under way
to tell (a button pressed, power gone, wind), until a report from after that, since before it the claim is as
of the last report; and a journal put back, until its boards are heard.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.contract import Do
from bridge.core.events import Asked, Event, ReportHeard, Started, TargetHeard
from bridge.core.outcome import Decisions, Note, SendOrder
from bridge.core.position.claims import grade_of, width_mm
from bridge.core.position.estimate import Knowledge
from bridge.core.spec import OneWayLink
from bridge.core.state import House, Shade
from bridge.core.values import ShadeId
from bridge.simulate.world.asked import Asking
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.figures import plain
from bridge.simulate.world.limits import Limits
from bridge.simulate.world.network import BoardSide, Said
from bridge.simulate.world.reckoned import Reckoned, serves
from bridge.simulate.world.stops import Stops
from bridge.simulate.world.story import told
from bridge.simulate.world.unfelt import Unfelt
from bridge.simulate.world.unheard import Unheard

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

# A hair for the arithmetic of two independent formulas, in mm; the settings' allowances carry the rest.
HAIR_MM = 0.15
# An order on its way when its request ends still arrives, held back by a slow network on both hops, a stalled
# session and a half-open connection at most so long.
LATE_S = 30.0
# How long a request that has ended is still asked about, beyond the longest that one may take.
ENDED_KEPT_S = 300.0
ORDERS_A_SECOND = 5
# Some floods, and people who drag sliders all the time.
ORDERS_AN_HOUR = 400
TICKS_AT_ONCE = 5
MEETINGS_MAX = 100
SOON_S = 0.01
NAMES_SHADE = (Asked, TargetHeard)
OF_ONE_SHADE = (ReportHeard, *NAMES_SHADE)


class Checks:
    """All invariants of one world."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.asked: dict[int, Asking] = {}
        # Of these, those that have not ended.
        self.open: dict[int, Asking] = {}
        self.unfelt = Unfelt(world)
        self.highest_seq: dict[tuple[ShadeId, int], int] = {}
        self.for_request: dict[tuple[ShadeId, int, int, int], int | None] = {}
        self.acted: set[tuple[str, int, int, int, int]] = set()
        self.recent: dict[ShadeId, list[float]] = {}
        # The hour of the world's life, and the motion orders in it.
        self.hourly: dict[ShadeId, tuple[int, int]] = {}
        # Shades of a journal put back whose boards have not been heard since: an older file tells of then.
        self.outdated: set[ShadeId] = set()
        self.ticks = 0
        self.limits = Limits(world)
        self.stops = Stops(world)
        self.unheard = Unheard(world)
        self.reckoned = Reckoned(world)
        # What was last compared: neither claim nor truth has changed since.
        self.looked: dict[ShadeId, tuple[Knowledge, tuple[object, ...]]] = {}

    # After each event.

    def decided(
        self, before: House | None, event: Event, house: House, decisions: Decisions, message: Said | None
    ) -> None:
        world = self.world
        world.figures.events += 1
        for note in decisions.notes:
            self._ledger(note)
            self.limits.noted(note)
        if world.trace is not None:
            world.note("event", event.kind, *told(event), *(f"{n.name}:{n.shade}" for n in decisions.notes))
        if isinstance(event, Started):
            self._bounded(house)
            for asking in self.asked.values():
                asking.asked_s = max(asking.asked_s, world.now)
        concerned = self._concerned(event, house)
        for shade in concerned:
            self._heard(shade, event, decisions, message)
        self.stops.decided(event, house, decisions.notes)
        self.unheard.decided(event, house)
        self.unfelt.decided(event, house)
        self.reckoned.decided(event, house, message)
        for shade in concerned if isinstance(event, OF_ONE_SHADE) else house.shades.values():
            self.claim(shade)
        self._in_charge(before, event, house, decisions)
        self.limits.shown(before, house)
        if len(decisions.orders) > 2 * len(house.shades):
            raise Escape("I12", f"{len(decisions.orders)} orders at once")

    def _in_charge(self, before: House | None, event: Event, house: House, decisions: Decisions) -> None:
        """Terms rise, and a bridge that has stood down orders nothing but stops."""
        if house.stood_down and any(sent.order.do is not Do.STOP for sent in decisions.orders):
            raise Escape("I13", f"{decisions.orders[0].order.do} left after standing down")
        if before is not None and house.term < before.term + isinstance(event, Started):
            raise Escape("I13", f"term went from {before.term} to {house.term} on {event.kind}")

    def _bounded(self, house: House) -> None:
        """What is held in mind does not grow with time."""
        for shade in house.shades.values():
            if len(shade.knowledge.meetings) > MEETINGS_MAX:
                raise Escape("I12", f"{shade.id}: {len(shade.knowledge.meetings)} references are kept")

    def _concerned(self, event: Event, house: House) -> list[Shade]:
        if isinstance(event, NAMES_SHADE):
            return [house.shades[event.shade]]
        if isinstance(event, ReportHeard):
            name = self.world.shade_at[event.board, event.channel]
            return [house.shades[name]]
        return []

    def _heard(self, shade: Shade, event: Event, decisions: Decisions, message: Said | None) -> None:
        notes = decisions.notes
        met = bool(notes) and any(note.name == "shade.reference.met" for note in notes)
        if met:
            self.world.figures.references += 1
        if message is None or not isinstance(event, ReportHeard) or event.retained:
            return
        self.limits.heard(shade.id, event)
        side, channel = self.world.where[shade.id]
        said_s = message.at_s
        last = shade.channel.report
        evidence = last is event.report or last == event.report
        dirty = side.dirty[channel]
        if dirty is not None and evidence and said_s >= dirty:
            side.dirty[channel] = None
        if evidence:
            self.unheard.evidence(shade.id, said_s)
        if met:
            self.unfelt.met(shade, said_s)

    def _ledger(self, note: Note) -> None:
        if note.name not in ("request.accepted", "request.ended"):
            return
        fields = dict(note.fields)
        number = fields["request"]
        assert isinstance(number, int)
        assert note.shade is not None
        if note.name == "request.accepted":
            if number in self.asked:
                raise Escape("I3", f"request {number} was accepted twice")
            self.asked[number] = self.open[number] = Asking(shade=note.shade, asked_s=self.world.now)
            self.world.figures.requests += 1
            return
        known = self.asked.setdefault(number, Asking(shade=note.shade, asked_s=self.world.now))
        if known.fate is not None:
            raise Escape("I3", f"request {number} ended twice: {known.fate}, then {fields['fate']}")
        self.open.pop(number, None)
        known.fate, known.ended_s, known.why = str(fields["fate"]), self.world.now, str(fields["why"])
        self.world.figures.fates[known.fate] += 1
        self.world.figures.whys[f"{known.fate}: {plain(str(fields['why']))}"] += 1
        if len(self.asked) > 200:
            before_s = self.world.now - max(self.world.patience_s.values()) - ENDED_KEPT_S
            for key in [key for key, each in self.asked.items() if each.fate and each.ended_s < before_s]:
                del self.asked[key]

    def rolled_back(self, house: House | None) -> None:
        """The server forgot its last rows: what only they held was never accepted."""
        next_request = 1 if house is None else house.next_request
        shades = () if house is None else house.shades.values()
        open_now = {shade.request.id: shade.id for shade in shades if shade.request is not None}
        # Numbers of another journal are given anew.
        strange = [key for key, each in self.asked.items() if each.fate is None and key not in open_now]
        for number in {*strange, *(key for key in self.asked if key >= next_request)}:
            del self.asked[number]
        for number, name in open_now.items():
            self.asked.setdefault(number, Asking(shade=name, asked_s=self.world.now)).fate = None
        self.open = {number: each for number, each in self.asked.items() if each.fate is None}
        self.highest_seq.clear()
        self.limits.forgiven()

    # I1.

    def claim(self, shade: Shade) -> None:
        """The true hem bar is inside the hull, in mm."""
        if shade.id in self.unfelt:
            return
        if shade.id in self.outdated:
            if not shade.channel.answered:
                return
            self.outdated.discard(shade.id)
        side, channel = self.world.where[shade.id]
        if (
            self.reckoned.hides(shade.id)
            or self.unheard.hides(shade)
            or (shade.channel.answered and side.dirty[channel] is not None)
        ):
            return
        if side.board.powered:
            side.catch_up()
        tube = side.board.channels[channel].tube
        state = tube.state
        truth = (tube, state.rotor, state.seat_turns, state.hand_mm)
        looked = self.looked.get(shade.id)
        if looked is not None and looked[0] is shade.knowledge and looked[1] == truth:
            return
        self.looked[shade.id] = (shade.knowledge, truth)
        travel, hull = shade.spec.travel, shade.knowledge.hull
        drop = tube.drop_mm
        low = travel.drop_at_steps(hull.low)
        # At the end of the cloth the claim is open: that is where the true cloth ends, too.
        high = float("inf") if hull.high >= travel.end_steps else travel.drop_at_steps(hull.high)
        if low - HAIR_MM <= drop <= high + HAIR_MM:
            return
        raise Escape(
            "I1",
            f"{shade.id} hangs at {drop:.2f} mm, claimed {low:.2f} to {high:.2f} mm "
            f"({grade_of(shade.spec, hull)}, hull {hull.low}..{hull.high}, base {shade.knowledge.base}, "
            f"count {side.board.channels[channel].count}, answered {shade.channel.answered})",
        )

    # I2, I4, I5, I7, I12, I13: as an order leaves.

    def sending(self, house: House, sent: SendOrder) -> None:
        """Check one order on the point of leaving."""
        order, shade = sent.order, house.shades[sent.shade]
        self.world.figures.orders += 1
        key = (sent.shade, order.boot)
        if order.seq <= self.highest_seq.get(key, 0):
            raise Escape("I4", f"{sent.shade}: order number {order.seq} was used before")
        self.highest_seq[key] = order.seq
        if order.term != house.term:
            raise Escape("I13", f"order of term {order.term} from a bridge of term {house.term}")
        if self.world.server.gap:
            if order.do in (Do.GO, Do.SEEK):
                raise Escape("I7", f"{sent.shade}: {order.do} leaves while the disk refuses")
            return
        durable = self.world.server.durable
        if durable is None or sent.shade not in durable.shades:
            raise Escape("I7", f"{sent.shade}: an order left before anything was flushed")
        kept, known = durable.shades[sent.shade].knowledge, shade.knowledge
        if not kept.hull.contains(known.hull):
            raise Escape("I7", f"{sent.shade}: the disk holds {kept.hull}, the order leaves {known.hull}")
        if kept.base is not None and (known.base is None or not kept.base.contains(known.base)):
            raise Escape(
                "I7", f"{sent.shade}: the disk links counts by {kept.base}, the order by {known.base}"
            )
        if order.do in (Do.GO, Do.SEEK):
            self._leaving_motion(shade, sent)

    def _leaving_motion(self, shade: Shade, sent: SendOrder) -> None:
        order = sent.order
        number = None if shade.outstanding is None else shade.outstanding.request
        asking = None if number is None else self.asked.get(number)
        if asking is None or asking.fate is not None:
            fate = None if asking is None else asking.fate
            raise Escape("I5", f"{shade.id}: {order.do} leaves for request {number}, which is {fate}")
        self.limits.leaving(sent)
        self.world.weather.leaving(shade, sent)
        self.for_request[shade.id, order.term, order.boot, order.seq] = number
        if len(self.for_request) > 400:
            for old in list(self.for_request)[:200]:
                del self.for_request[old]
        times = [at for at in self.recent.get(shade.id, []) if at > self.world.now - 1]
        times.append(self.world.now)
        self.recent[shade.id] = times
        if len(times) > ORDERS_A_SECOND:
            raise Escape("I12", f"{shade.id}: {len(times)} motion orders within a second")
        self._not_without_end(shade.id)
        self._within_limits(shade, sent)

    def _not_without_end(self, name: ShadeId) -> None:
        hour, number = self.hourly.get(name, (0, 0))
        now = int(self.world.now // 3600)
        number = number + 1 if hour == now else 1
        self.hourly[name] = (now, number)
        if number > ORDERS_AN_HOUR:
            raise Escape("I12", f"{name}: {number} motion orders within an hour")

    def _within_limits(self, shade: Shade, sent: SendOrder) -> None:
        """No order past the limits as aimed, nor past the wraps by the truth."""
        order = sent.order
        side, channel = self.world.where[shade.id]
        motor = side.board.channels[channel]
        if order.do is not Do.GO or order.boot != side.board.boot or motor.count is None:
            return
        assert order.to is not None
        assert order.high is not None
        travel, known = shade.spec.travel, shade.knowledge
        if shade.id in self.unfelt or known.base is None:
            return
        slack = known.base.width + float(travel.drive.cycle_pulses)
        at = known.base.middle + order.to
        if not -slack - 1 <= at <= travel.lower_steps + slack + 1:
            raise Escape("I2", f"{shade.id}: ordered to {at}, limits 0 to {travel.lower_steps}")
        if side.dirty[channel] is not None:
            return
        tube, build = motor.tube, motor.fitting.build
        end = tube.end_turns
        for name, to in (("target", order.to), ("bound", order.high)):
            turns = tube.turns + (to - motor.count) / build.pulses_per_turn
            if to > motor.count and turns > end - 0.1:
                raise Escape(
                    "I2", f"{shade.id}: {name} {to} lies {turns - end:+.2f} turns past the cloth's end"
                )

    # At the board.

    def before_order(self, side: BoardSide, sent: SendOrder) -> None:
        """Remember how the motor stood before an order."""
        side.catch_up()
        motor = side.board.channels[sent.channel]
        self._moves = motor.tube.state.moves
        self._leg = None if motor.motion is None else motor.motion.leg

    def after_order(self, side: BoardSide, sent: SendOrder) -> None:
        """An order that has set a motor going was wanted, and did so for the first time."""
        motor = side.board.channels[sent.channel]
        if motor.tube.state.hand_mm is not None and sent.order.do is Do.SEEK:
            # Held by a hand, it stalls short of its stop: no sense can tell that from the stop.
            self.unfelt.happened(sent.shade)
        began = motor.tube.state.moves > self._moves
        turned = motor.motion is not None and motor.motion.leg is not self._leg
        order = sent.order
        if not (began or turned) or order.do not in (Do.GO, Do.SEEK):
            return
        self.world.figures.moves += began
        at_rest, moves = self._leg is None, self._moves
        self.limits.began(sent.shade, side, sent.channel, from_rest=at_rest, moves=moves)
        key = (side.board.plan.id, sent.channel, order.term, order.boot, order.seq)
        if key in self.acted:
            raise Escape("I4", f"{sent.shade}: order {order.seq} moved it twice")
        self.acted.add(key)
        number = self.for_request.get((sent.shade, order.term, order.boot, order.seq))
        asking = None if number is None else self.asked.get(number)
        if asking is None or asking.fate is None or asking.fate == "reached":
            return
        if asking.fate == "refused" or self.world.now - asking.ended_s > LATE_S:
            late = self.world.now - asking.ended_s
            raise Escape("I5", f"{sent.shade}: request {number}, {asking.fate} {late:.1f} s ago, moves it")

    # Over time.

    def ticked(self, wanted: float | None) -> None:
        """A tick has done what was due: another one is wanted later, not now."""
        now = self.world.now
        if wanted is None or wanted > now + SOON_S:
            self.ticks = 0
            return
        self.ticks += 1
        if self.ticks > TICKS_AT_ONCE:
            raise Escape("I12", f"ticks without end: due at {wanted:.3f}, now {now:.3f}")

    def patient(self) -> None:
        """No request stays open beyond its bound."""
        server = self.world.server
        if not server.running or server.house is None:
            return
        for number, asking in self.open.items():
            age = self.world.now - asking.asked_s
            if age > self.world.patience_s[asking.shade]:
                raise Escape("I3", f"{asking.shade}: request {number} is open for {age:.0f} s")

    def cloth(self) -> None:
        """No cloth is wound the wrong way."""
        for name, (side, channel) in self.world.where.items():
            tube = side.board.channels[channel].tube
            if name not in self.unfelt and tube.turns > tube.end_turns + 0.05:
                raise Escape("I2", f"{name}: the cloth winds the wrong way")

    def sample(self, day: int) -> None:
        """Note the widths now."""
        house = self.world.server.house
        if house is None:
            return
        for shade in house.shades.values():
            if not serves(shade) or shade.id in self.unfelt or self.reckoned.hides(shade.id):
                continue
            side, channel = self.world.where[shade.id]
            side.catch_up()
            hull, travel = shade.knowledge.hull, shade.spec.travel
            error = abs(side.board.channels[channel].tube.drop_mm - travel.drop_at_steps(hull.middle))
            sensed = shade.spec.upper_switch is not None or shade.spec.upper_stall is not None
            kind = "one-way" if isinstance(shade.spec.link, OneWayLink) else "contract"
            self.world.figures.widths.append((day, kind, sensed, width_mm(shade.spec, hull), error))
