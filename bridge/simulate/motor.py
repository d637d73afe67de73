"""One motor under a simulated board: steps and ramps, mark and record, and what trips on the way.

Pure and deterministic: time comes with each call and never runs back. Reports pile up in `said` until the
board takes them. A mark is in flash before the first step of a motion, a record after the last.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from bridge.core.contract import Then, Why
from bridge.simulate.fitting import Fitting
from bridge.simulate.motion import Leg, brake, reachable, run
from bridge.simulate.truth import Tube

# Where a motion without a bound would end: further than any cloth.
ENDLESS = 10**9
# The switches that are open, by whether the upper and the lower one are.
OPEN = {
    (False, False): frozenset[Why](),
    (True, False): frozenset({Why.UPPER_SWITCH}),
    (False, True): frozenset({Why.LOWER_SWITCH}),
    (True, True): frozenset({Why.UPPER_SWITCH, Why.LOWER_SWITCH}),
}


@dataclass(slots=True, kw_only=True)
class Motion:
    """A motion under way.

    Attributes:
        leg: The steps being sent.
        after: Where to turn to once the leg has ended; None when it ends the motion.
        top: Speed in steps a second.
        ramp: Acceleration in steps a second squared.
        why: What to report at its end.
        then: What the motor does at its end.
        held: Lasts only while a button is held.
        lost: Pulses lost before it began.
        report_s: When to report progress next.
        seen_open: The switches that were seen open since it last turned, so that their closing counts.
        tripped: A sense has ended it already; it only comes to rest.
    """

    leg: Leg
    after: int | None
    top: float
    ramp: float
    why: Why
    then: Then
    held: bool = False
    lost: int = 0
    report_s: float = 0.0
    seen_open: frozenset[Why] = frozenset()
    tripped: bool = False


class Motor:
    """One motor and its share of the board's flash, which outlives `wake_up`."""

    def __init__(self, fitting: Fitting, tube: Tube, flash: dict[str, Any]) -> None:
        self.fitting, self.tube, self.flash = fitting, tube, flash
        self.said: list[dict[str, Any]] = []
        ratio = fitting.pulses_per_turn
        self._ratio = None if ratio is None else [ratio.numerator, ratio.denominator]
        self._senses = [str(sense) for sense in fitting.senses]
        if tube.state.energised:
            tube.cut()
        self.wake_up(boot=0)

    # Power.

    def wake_up(self, *, boot: int) -> None:
        """Begin a boot: RAM is blank, the flash says what it says."""
        self.boot, self.n, self.seq, self.stalls = boot, 0, 0, 0
        # The first report that can have told of the last motion.
        self.moved_n = 0
        # The first report that can have told of a hand or the wind at the board.
        self.taken_n = 0
        self.motion: Motion | None = None
        self.to: int | None = None
        self.bounds: tuple[int, int] | None = None
        self.pps, self.ramp = self.fitting.own_pps, self.fitting.own_ramp
        self.said.clear()
        self.count = _whole_or_none(self.flash.get("count"))
        self.kept = self.count is not None and self.flash.get("clean") is True
        if not self.kept:
            self.flash["kept_since"] = boot
        self.kept_since = _whole_or_none(self.flash.get("kept_since")) or 0
        self.term = _whole_or_none(self.flash.get("term")) or 0
        self.tube.power_up()

    def cut(self, now_s: float) -> None:
        """Power goes; what was moving stops where the steps end."""
        self.advance(now_s)
        self.motion = None
        self.said.clear()
        self.tube.cut()

    @property
    def moving(self) -> bool:
        return self.motion is not None

    # Time.

    @property
    def next_event_s(self) -> float | None:
        """When something is due of itself; a switch may come earlier."""
        return None if self.motion is None else min(self.motion.leg.end_s, self.motion.report_s)

    def advance(self, now_s: float) -> None:
        """Send the steps that are due, and report what happens on the way."""
        while (motion := self.motion) is not None:
            until_s = min(now_s, motion.leg.end_s, motion.report_s)
            tripped = self._drive(motion, until_s)
            if tripped is not None:
                self._trip(motion, *tripped)
            elif motion.leg.end_s <= until_s:
                self._leg_done(motion)
            elif motion.report_s <= until_s:
                motion.report_s += self.fitting.progress_s
                self.say(Why.PROGRESS)
            else:
                return

    def _drive(self, motion: Motion, until_s: float) -> tuple[Why, float] | None:
        """Send steps up to `until_s`, or up to the one at which a sense trips; say which and when."""
        assert self.count is not None
        leg = motion.leg
        steps = leg.count(until_s) - self.count
        if steps == 0:
            return None
        pps = max(leg.speed(until_s), 1.0)
        armed = self._armed(motion)
        found = None
        if armed:
            steps, found = self._first(armed, steps, pps)
        self._turn(self.tube, steps, pps)
        self.count += steps
        return None if found is None else (found, leg.time_of(self.count))

    def _turn(self, tube: Tube, steps: int, pps: float) -> None:
        tube.drive(-steps if self.fitting.wired_backwards else steps, pps)

    def _armed(self, motion: Motion) -> list[tuple[Why, Callable[[Tube], bool]]]:
        """The senses that could trip now: a switch only when it was seen open since the motor last turned."""
        if motion.tripped:
            return []
        senses = list[tuple[Why, Callable[[Tube], bool]]]()
        motion.seen_open |= self._open_switches()
        if motion.leg.sign < 0 and Why.UPPER_SWITCH in motion.seen_open:
            senses.append((Why.UPPER_SWITCH, lambda tube: tube.upper_closed))
        if motion.leg.sign > 0 and Why.LOWER_SWITCH in motion.seen_open:
            senses.append((Why.LOWER_SWITCH, lambda tube: tube.lower_closed))
        if self.fitting.stall:
            enough = motion.lost + 2 * self.fitting.build.cycle
            senses.append((Why.STALLED, lambda tube: tube.state.lost >= enough))
        return senses

    def _open_switches(self) -> frozenset[Why]:
        build = self.fitting.build
        upper = build.upper_switch_mm is not None and not self.tube.upper_closed
        lower = build.lower_switch_mm is not None and not self.tube.lower_closed
        return OPEN[upper, lower]

    def _first(
        self, armed: list[tuple[Why, Callable[[Tube], bool]]], steps: int, pps: float
    ) -> tuple[int, Why | None]:
        """The steps until the first sense trips, and which; all of them when none does."""
        sign = 1 if steps > 0 else -1

        def after(count: int) -> Why | None:
            twin = self.tube.twin()
            self._turn(twin, sign * count, pps)
            return next((why for why, tripped in armed if tripped(twin)), None)

        way = -steps if self.fitting.wired_backwards else steps
        if not self.fitting.stall and self.tube.surely_open_after(way):
            return steps, None
        if (found := after(abs(steps))) is None:
            return steps, None
        low, high = 0, abs(steps)
        while high - low > 1:
            middle = (low + high) // 2
            if (why := after(middle)) is None:
                low = middle
            else:
                high, found = middle, why
        return sign * high, found

    def _trip(self, motion: Motion, why: Why, at_s: float) -> None:
        """Stop for a sense: at once where the motor can, else brake and come back to where it tripped."""
        assert self.count is not None
        speed = motion.leg.speed(at_s)
        if why is Why.STALLED and motion.why is not Why.NOT_FOUND:
            self.stalls += 1
        motion.why, motion.then, motion.held, self.to = why, Then.STAY, False, self.count
        motion.tripped, motion.seen_open = True, frozenset()
        if why is Why.STALLED or speed <= self.fitting.dead_pps:
            self._end(motion)
            return
        motion.leg = brake(now_s=at_s, origin=self.count, sign=motion.leg.sign, speed=speed, ramp=motion.ramp)
        motion.after = self.count
        self.say(why)

    def _leg_done(self, motion: Motion) -> None:
        if motion.after is None or motion.after == self.count:
            self._end(motion)
            return
        assert self.count is not None
        at_s = motion.leg.end_s
        # What closed on the way back from a switch was pulled past it: where, nobody has seen.
        motion.seen_open = self._open_switches()
        motion.leg = run(now_s=at_s, origin=self.count, end=motion.after, top=motion.top, ramp=motion.ramp)
        motion.after = None

    def _end(self, motion: Motion) -> None:
        self.motion = None
        if motion.then is Then.SLEEP:
            self.tube.cut()
        self.flash.update(count=self.count, clean=True)
        self.say(motion.why)

    # Current.

    def energise(self) -> None:
        """Give the motor current; a lost count begins at 0 here."""
        self.tube.energise()
        if self.count is None:
            self.count = 0
            self.flash.update(count=0, clean=True)

    def sleep(self) -> None:
        if self.tube.state.energised:
            self.tube.cut()

    # Motions.

    def set_off(
        self,
        to: int | None,
        now_s: float,
        *,
        top: float,
        ramp: float,
        why: Why,
        then: Then = Then.STAY,
        held: bool = False,
    ) -> None:
        """Begin a motion to `to`, or turn the one under way there."""
        assert to is not None
        self.to = None if abs(to) >= ENDLESS else to
        self.moved_n = self.n + 1
        # Before current makes the rotor snap, or slip begins.
        seen = self._open_switches() if self.motion is None else self.motion.seen_open
        if self.motion is None:
            self.energise()
        leg, after, ramp = self._leg_to(to, now_s, top=top, ramp=ramp)
        if self.motion is None:
            self.flash["clean"] = False
            self.tube.begin_move()
            lost, report_s = self.tube.state.lost, now_s + self.fitting.progress_s
        else:
            lost, report_s = self.motion.lost, self.motion.report_s
        self.motion = Motion(
            leg=leg,
            after=after,
            top=top,
            ramp=ramp,
            why=why,
            then=then,
            held=held,
            lost=lost,
            report_s=report_s,
            seen_open=seen,
        )

    def _leg_to(self, to: int, now_s: float, *, top: float, ramp: float) -> tuple[Leg, int | None, float]:
        """The next leg towards `to`, where to turn after it, and the ramp that it takes."""
        if self.motion is None:
            assert self.count is not None
            return run(now_s=now_s, origin=self.count, end=to, top=top, ramp=ramp), None, ramp
        old = self.motion.leg
        here, speed = old.place(now_s), old.speed(now_s)
        # Never braked more gently than the motion that is replaced would have been.
        harder = max(ramp, self.motion.ramp)
        ahead = old.sign * (to - here)
        for each in (ramp, harder):
            if ahead > 0 and reachable(distance=ahead, speed=speed, ramp=each):
                return run(now_s=now_s, origin=here, end=to, speed=speed, top=top, ramp=each), None, each
        return brake(now_s=now_s, origin=here, sign=old.sign, speed=speed, ramp=harder), to, harder

    def stop(self, now_s: float, *, why: Why, ramp: int | None = None, then: Then = Then.STAY) -> None:
        """Brake to rest; at rest already, say so."""
        motion = self.motion
        if motion is None:
            self.say(why)
            return
        old = motion.leg
        motion.ramp = max(motion.ramp, min(ramp or 1, self.fitting.max_ramp))
        motion.leg = brake(
            now_s=now_s,
            origin=old.place(now_s),
            sign=old.sign,
            speed=old.speed(now_s),
            ramp=motion.ramp,
        )
        motion.after, motion.why, motion.then, motion.held = None, why, then, False
        self.to = motion.leg.end

    # What it says.

    def say(self, why: Why, *, answers: int | None = None, because: str | None = None) -> None:
        self.n += 1
        report: dict[str, Any] = {
            "v": 1,
            "boot": self.boot,
            "n": self.n,
            "count": self.count,
            "kept": self.kept,
            "moving": self.moving,
            "awake": self.tube.state.energised,
            "why": str(why),
            "seq": self.seq,
            "to": self.to,
            "answers": answers,
            "senses": self._senses,
            "pulses_per_turn": self._ratio,
            "term": self.term,
            "kept_since": self.kept_since,
            "stalls": self.stalls,
        }
        if because is not None:
            report["because"] = because
        self.said.append(report)


def _whole_or_none(value: object) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) else None
