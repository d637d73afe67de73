"""What no request may do while wind, rain, ice or an open door forbids it; only a stop is above that."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from math import ceil

from bridge.core.command.goals import target_of
from bridge.core.events import Approach, Nudge, Want
from bridge.core.outcome import Level
from bridge.core.position.aim import aim
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.replacing import replace
from bridge.core.rules.demand import Demand, Standing, bounds, decided
from bridge.core.state import Request, Shade
from bridge.core.turn import Turn
from bridge.core.values import Rank

# Rounding to whole percent, and a hem bar that stops a little short.
ROUNDING_PCT = 1.0


def open_pct(shade: Shade, *, now_s: float) -> float | None:
    """Return where the hem bar is taken to be in percent open, 0 to 100; None when that is unknown."""
    if grade_of(shade.spec, shade.knowledge.hull) is Grade.UNKNOWN:
        return None
    travel = shade.spec.travel
    return travel.percent_at_steps(min(max(aim(shade, now_s=now_s).middle, 0), travel.lower_steps))


def guards(shade: Shade) -> Iterator[Standing]:
    """Yield the demands in force that bind everybody."""
    return (each for each in shade.ruling.standing if each.demand.guard)


def barred(turn: Turn, shade: Shade, want: Want, rank: Rank) -> str:
    """Return why a request must not be taken while a guard stands; "" when it may be."""
    now_pct = open_pct(shade, now_s=turn.now_s)
    for each in guards(shade):
        if each.rank > rank and not allows(each.demand, _leads_to(want, now_pct), now_pct):
            return forbidden(each)
    return ""


def forbidding(turn: Turn, shade: Shade, request: Request) -> Iterator[Standing]:
    """Yield the guards that forbid a request as things are now; a stop is above them all."""
    standing = list(guards(shade))
    if not standing or request.target_pct is None:
        return
    now_pct = open_pct(shade, now_s=turn.now_s)
    for each in standing:
        if each.rank > request.rank and not allows(each.demand, request.target_pct, now_pct):
            yield each


def forbidden(each: Standing) -> str:
    """Return in words that a guard forbids a request."""
    return f"the {each.rule} rule forbids it: {each.demand.why}"


def allows(demand: Demand, target_pct: float | None, now_pct: float | None) -> bool:
    """Say whether a demand lets a shade go to a percent open; None for one that is not known."""
    if now_pct is None or target_pct is None:
        up = target_pct is not None and target_pct >= 100.0
        return demand.may_raise and (up or (demand.may_lower and demand.at_least_pct == 0.0))
    low, high = bounds(demand, now_pct=now_pct)
    return low - ROUNDING_PCT <= target_pct <= high + ROUNDING_PCT


def _leads_to(want: Want, now_pct: float | None) -> float | None:
    if isinstance(want, Nudge):
        return None if now_pct is None else min(max(now_pct + want.by_pct, 0.0), 100.0)
    if isinstance(want, Approach):
        return 100.0 if want.place.value == "upper" else 0.0
    return target_of(want)


def needed(turn: Turn, shade: Shade) -> tuple[int, Standing] | None:
    """Return how far up the guards want a shade that is not there, nor on its way; None when all is well."""
    now_pct = open_pct(shade, now_s=turn.now_s)
    standing = list(guards(shade))
    if any(not each.demand.may_raise for each in standing):
        return None
    verdict = decided(standing, now_pct=100.0 if now_pct is None else now_pct)
    by = verdict.low_by
    if by is None or by.demand.at_least_pct == 0.0:
        return None
    request = shade.request
    heading = None if request is None else request.target_pct
    low = by.demand.at_least_pct
    if request is not None and heading is not None:
        on_its_way = heading >= low - ROUNDING_PCT
    else:
        on_its_way = now_pct is not None and now_pct >= low - ROUNDING_PCT
    return None if on_its_way else (ceil(low), by)


def after_stop(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after somebody has stopped it: a retract that a guard wants goes on after a pause."""
    wanted = needed(turn, shade)
    if wanted is None:
        return shade
    _, by = wanted
    pause_s = turn.house.spec.restraint.resume_s
    text = (
        f"stopped, but the {by.rule} rule wants it up: {by.demand.why}; it goes on in {pause_s:.0f} s. Keep "
        "clear, and switch the service lock on to work on it"
    )
    turn.note("shade.retract.interrupted", Level.ERROR, shade=shade.id, text=text, rule=by.rule)
    ruling = replace(shade.ruling, again_at=turn.utc + timedelta(seconds=pause_s), tries=0, tried_at=None)
    return replace(shade, ruling=ruling, reason=text, trouble=text)
