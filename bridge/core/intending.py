"""Where the rules for comfort want a shade: what they ask now, seen together with what they will ask.

The day ahead is reckoned for one shade in one event, so that nobody who asks has to wait for ten of them;
who has to wait is looked at again at once. What keeps the rules from moving a shade is not known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import ceil, floor

from bridge.core.outcome import Level
from bridge.core.plan.ahead import verdicts_at
from bridge.core.plan.course import OPEN_PCT, Course
from bridge.core.plan.foreseen import Foresight
from bridge.core.plan.onward import (
    THERE_PCT,
    VIEW_S,
    begins_at,
    coming_of,
    foresight_of,
    moves_of,
    onward,
    still_true,
    until_next_look,
)
from bridge.core.readings import serving
from bridge.core.replacing import replace
from bridge.core.rules.clock import hhmm
from bridge.core.rules.demand import Standing, Verdict
from bridge.core.rules.seeing import zone_of
from bridge.core.rules.view import Readings
from bridge.core.spec import HouseSpec
from bridge.core.state import Shade
from bridge.core.turn import Turn

_HAIR = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """Where the rules want a shade.

    Attributes:
        to_pct: Percent open, 0 to 100.
        by: Whose demand leads there; None when no rule wants it lowered any more, or one will only later.
        ahead: What the plan adds to the reason, or its own reason when `by` is None; "" for nothing.
        lost: Demands that are not met there; None for those that are not met now.
    """

    to_pct: int
    by: Standing | None
    ahead: str = ""
    lost: tuple[Standing, ...] | None = None

    @property
    def why(self) -> str:
        """The reason for people."""
        if self.by is None:
            return self.ahead or "no rule wants it lower any more"
        return f"{self.by.demand.why}; {self.ahead}" if self.ahead else self.by.demand.why

    @property
    def source(self) -> str:
        """Who asks."""
        return "the rules" if self.by is None else f"the {self.by.rule} rule"


def next_look(spec: HouseSpec, after: datetime) -> datetime:
    """Return the first instant after `after` at which all rules look, on even parts of the hour, UTC."""
    every_s = spec.restraint.every_s
    looks = after.timestamp() // every_s + 1
    return datetime.fromtimestamp(looks * every_s, tz=UTC)


def wish(verdict: Verdict, *, now_pct: float, mine: bool, step_pct: int) -> Move | None:
    """Return where the rules want a shade; None when it may stay.

    The hem bar goes no further than the range asks, except that a lower place is rounded down to whole steps
    and that a place which a rule had asked for is left again, upward, once that gains a whole step.

    Args:
        verdict: The range.
        now_pct: Where the hem bar is.
        mine: A rule has put it there.
        step_pct: The smallest move.
    """
    low = ceil(verdict.firm_low_pct - THERE_PCT)
    high = max(low, floor(verdict.high_pct + _HAIR))
    best = high if high == 100 else max(low, high // step_pct * step_pct)
    if now_pct > verdict.high_pct + THERE_PCT:
        return Move(to_pct=best, by=verdict.high_by)
    if now_pct < verdict.firm_low_pct - THERE_PCT:
        return Move(to_pct=low, by=verdict.low_by)
    wanted_up = mine or now_pct < verdict.low_pct - THERE_PCT
    if wanted_up and best - now_pct >= min(step_pct, 100 - now_pct) and best - now_pct > THERE_PCT:
        return Move(to_pct=best, by=verdict.high_by)
    return None


def foreseeing(turn: Turn, shade: Shade) -> Shade:
    """Return the shade with what its rules will ask, or waiting for it; each turn reckons one shade."""
    readings = _readings(turn, shade)
    held, ruling = shade.ruling.foresight, shade.ruling
    if held is not None and still_true(held, turn.utc, readings):
        ruling = replace(ruling, waits=False)
    elif not turn.may_foresee:
        ruling = replace(ruling, waits=True)
    else:
        turn.may_foresee = False
        site, spec = turn.house.spec.site, shade.spec
        held = foresight_of(site, spec, turn.utc, readings=readings, before=ruling.standing)
        ruling = replace(ruling, foresight=held, waits=False)
        _write_down(turn, shade, held)
    return shade if ruling == shade.ruling else replace(shade, ruling=ruling)


def _write_down(turn: Turn, shade: Shade, held: Foresight) -> None:
    """Write down what the rules will ask, so that a day can be shown as it was foreseen."""
    turn.note(
        "rule.shade.foreseen",
        Level.DEBUG,
        shade=shade.id,
        begins=held.begins.isoformat(),
        step_s=held.step_s,
        spells="\n".join(f"{x.steps} {x.low_pct:g} {x.high_pct:g} {x.rule}".rstrip() for x in held.spells),
    )


def intended(turn: Turn, shade: Shade, verdict: Verdict, *, now_pct: float) -> tuple[Shade, Move | None]:
    """Return where the rules want a shade, None for where it is; the shade knows its next move then.

    Args:
        turn: What the event has led to so far.
        shade: The shade with its foresight.
        verdict: What the rules ask now.
        now_pct: Where the hem bar is.
    """
    held = shade.ruling.foresight
    assert held is not None, "foreseen before"
    restraint, until = turn.house.spec.restraint, next_look(turn.house.spec, turn.utc)
    now = (verdict.firm_low_pct, verdict.high_pct)
    foreseen = _as_foreseen(turn, shade, verdict)
    near = until_next_look(held, now, at=turn.utc, until=until) if foreseen else now
    cloudy = not foreseen and verdict.high_pct >= OPEN_PCT > next(coming_of(held, turn.utc)).high_pct
    shade = _ruling_with(shade, cloudy_since=(shade.ruling.cloudy_since or turn.utc) if cloudy else None)
    given_up = _cloudy_for_long(turn, shade)
    if given_up:
        near = (OPEN_PCT, OPEN_PCT)
    allowed = near[0] - THERE_PCT <= now_pct <= near[1] + THERE_PCT
    way = onward(
        held,
        near,
        at=turn.utc,
        until=until,
        place_pct=float(round(now_pct)),
        smallest_pct=restraint.smallest_move_pct,
        worth_s=restraint.move_worth_s if shade.ruling.mine or not allowed else None,
    )
    moves = moves_of(held, way, turn.utc)
    shade = _ruling_with(shade, next_move=moves[0] if moves else None, later=moves[1:])
    to = way.pieces[0].open_pct
    step_pct = restraint.smallest_move_pct
    if not allowed:
        return shade, _cloudy_move(turn, shade) if given_up else _asked_move(
            turn, shade, verdict, way, now_pct
        )
    gain = to - now_pct
    if shade.ruling.mine and gain >= min(step_pct, OPEN_PCT - now_pct) and gain > THERE_PCT:
        return shade, Move(to_pct=floor(to + _HAIR), by=verdict.high_by, ahead=_view_given_back(to))
    # What was only yielded to a lost demand still lifts it, as far as the others let it.
    unmet = now_pct < verdict.low_pct - THERE_PCT
    return shade, wish(verdict, now_pct=now_pct, mine=False, step_pct=step_pct) if unmet else None


def _asked_move(turn: Turn, shade: Shade, verdict: Verdict, way: Course, now_pct: float) -> Move:
    """Return the move that a rule asks before the next look, as far as the time after it needs it too."""
    held, step_pct = shade.ruling.foresight, turn.house.spec.restraint.smallest_move_pct
    assert held is not None, "foreseen before"
    first = way.pieces[0]
    to_pct, soon = floor(first.open_pct + _HAIR), ""
    asked = wish(verdict, now_pct=now_pct, mine=shade.ruling.mine, step_pct=step_pct)
    if asked is None or not _out_of(verdict, now_pct):
        at, verdict = _first_binding(turn, shade, verdict, now_pct)
        by = verdict.high_by if now_pct > verdict.high_pct else verdict.low_by
        asked, soon = Move(to_pct=to_pct, by=by, lost=verdict.lost), f"at {_clock(turn, at)}"
    ends = begins_at(held, turn.utc, first.ends)
    long = f"{to_pct} % will do until {_clock(turn, ends)}" if asked.to_pct != to_pct and asked.by else ""
    return replace(asked, to_pct=to_pct, ahead="; ".join(each for each in (soon, long) if each))


def _out_of(verdict: Verdict, now_pct: float) -> bool:
    return not verdict.firm_low_pct - THERE_PCT <= now_pct <= verdict.high_pct + THERE_PCT


def _first_binding(turn: Turn, shade: Shade, verdict: Verdict, now_pct: float) -> tuple[datetime, Verdict]:
    """Return the first minute before the next look at which the shade may not hang where it does, and why."""
    until = next_look(turn.house.spec, turn.utc)
    minutes = [
        turn.utc + timedelta(minutes=m) for m in range(1, ceil((until - turn.utc).total_seconds() / 60))
    ]
    coming = verdicts_at(
        turn.house.spec.site,
        shade.spec,
        [*minutes, until - timedelta(seconds=1)],
        readings=_readings(turn, shade),
        before=shade.ruling.standing,
    )
    pairs = zip([*minutes, until], coming, strict=True)
    return next((pair for pair in pairs if _out_of(pair[1], now_pct)), (until, verdict))


def _cloudy_move(turn: Turn, shade: Shade) -> Move:
    since = shade.ruling.cloudy_since
    assert since is not None, "it has been cloudy for long"
    return Move(to_pct=100, by=None, ahead=f"clouds: no rule has wanted it lower since {_clock(turn, since)}")


def _view_given_back(to: float) -> str:
    return "" if to >= OPEN_PCT else f"so far the rules leave it open for long enough: {to:.0f} %"


def _as_foreseen(turn: Turn, shade: Shade, verdict: Verdict) -> bool:
    """Say whether the rules ask now what they would under a cloudless sky."""
    ruling, house = shade.ruling, turn.house.spec
    (clear,) = verdicts_at(
        house.site, shade.spec, [turn.utc], readings=_readings(turn, shade), before=ruling.standing
    )
    return (clear.firm_low_pct, clear.high_pct) == (verdict.firm_low_pct, verdict.high_pct)


def _cloudy_for_long(turn: Turn, shade: Shade) -> bool:
    since = shade.ruling.cloudy_since
    return since is not None and shade.ruling.mine and turn.utc - since >= timedelta(seconds=VIEW_S)


def _ruling_with(shade: Shade, **changes: object) -> Shade:
    ruling = replace(shade.ruling, **changes)  # type: ignore[arg-type]  # fields by name
    return shade if ruling == shade.ruling else replace(shade, ruling=ruling)


def _readings(turn: Turn, shade: Shade) -> Readings:
    return serving(turn.house.spec.sensors, turn.house.readings, shade.id, turn.at)


def _clock(turn: Turn, at: datetime) -> str:
    site = turn.house.spec.site
    return hhmm((at if site is None else at.astimezone(zone_of(site.timezone))).time())
