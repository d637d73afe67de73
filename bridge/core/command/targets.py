"""A target for a board that never reports: drafted, held against the end of the cloth, and sent.

Every way down goes through `refuse_downward`; there is no other way to send one.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from bridge.core.command.goals import Refusal
from bridge.core.outcome import Level, SendTarget
from bridge.core.position import one_way as position
from bridge.core.position.allowance import nearest_cycle, steps_for_mm
from bridge.core.position.claims import reckoned_at
from bridge.core.position.estimate import Knowledge
from bridge.core.reckoning import Echo, Run
from bridge.core.replacing import quick, replace
from bridge.core.shade.units import count_of, reach, value_for
from bridge.core.spec import Unit
from bridge.core.state import Shade
from bridge.core.turn import Turn
from bridge.core.values import Steps

# A message that the broker has not passed back by then was lost, or the broker keeps it to itself.
ECHO_WAIT_S = 10.0
ECHOES_MAX = 20
LOST_COUNT = (
    "nobody knows where its board takes it to be; take it to the upper limit, switch its board off and on "
    "there, and confirm `upper`"
)
UNKNOWN = (
    "the position is unknown; raise it by `nudge` while you watch, or take it to a limit, and confirm that"
)


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A target ready to leave, and what will be reckoned and known once it has left."""

    value: Fraction
    run: Run
    knowledge: Knowledge


def offset(shade: Shade) -> Steps:
    """Return the middle of what a count means; 0 while nothing tells, so that positions stand for counts."""
    return 0 if shade.knowledge.base is None else shade.knowledge.base.middle


def _count_for(shade: Shade, goal: Steps) -> Steps:
    """Return the count that leads the middle of the estimate to a goal; in doubt, up leads nowhere but up."""
    base, counts = shade.knowledge.base, shade.reckoning.counts
    if base is None or counts is None or goal > 0:
        return goal - offset(shade)
    if base.width <= steps_for_mm(shade.spec, shade.spec.doubtful_mm):
        return goal - offset(shade)
    return min(goal - base.low, counts.low)


def draft(shade: Shade, goal: Steps, *, request: int | None, now_s: float) -> Draft | Refusal:
    """Return the target that leads the middle of the estimate to position `goal`."""
    spec, reckoning = shade.spec, shade.reckoning
    if reckoning.counts is None and reckoning.run is None:
        return Refusal(why=LOST_COUNT)
    exact = _count_for(shade, goal)
    rounds = spec.one_way.unit is Unit.STEPS and not spec.one_way.rest_current
    value = value_for(spec, nearest_cycle(spec, exact) if rounds else exact)
    to = count_of(spec, value)
    run = position.set_off(spec, reckoning, to=to, request=request, now_s=now_s)
    known = position.perhaps_fallen(spec, shade.knowledge, reckoning)
    known = position.departed(spec, known, run, way=position.way_to(reckoning, to))
    refusal = _out_of_reach(shade, exact) or refuse_downward(shade, known, run)
    return refusal or Draft(value=value, run=run, knowledge=known)


def _out_of_reach(shade: Shade, exact: Steps) -> Refusal | None:
    """Refuse what the board's own scale can't say, but for the tolerance."""
    ends = reach(shade.spec)
    slack = ceil(steps_for_mm(shade.spec, shade.spec.tolerance_mm))
    if ends is None or ends.low - slack <= exact <= ends.high + slack:
        return None
    return Refusal(why="the percent scale of its board ends before that; take it to a limit and confirm it")


def refuse_downward(shade: Shade, after: Knowledge, run: Run) -> Refusal | None:
    """Refuse a way down on which the cloth could come to its end, for any position it may have now."""
    if run.to <= run.began.low:
        return None
    if after.base is None:
        return Refusal(why=UNKNOWN)
    spec = shade.spec
    lowest = reckoned_at(spec, after, run.to).high + position.slack(spec)
    if lowest <= spec.travel.deepest_steps:
        return None
    spare = spec.travel.deepest_steps - (lowest - run.to) + after.base.middle
    safe = ceil(spec.travel.percent_at_steps(max(spare, 0)))
    return Refusal(
        why=f"the hem bar may be far from where it is reckoned, so lower than {safe} % could unroll the "
        "cloth past its end; take it to a limit and confirm that first"
    )


def sent(turn: Turn, shade: Shade, run: Run | None, value: Fraction | None, *, halts: bool) -> Shade:
    """Put a message on the list of what leaves once the journal holds it."""
    turn.targets.append(SendTarget(shade=shade.id, value=value, halts=halts))
    turn.note(
        "order.sent",
        Level.INFO,
        shade=shade.id,
        do="halt" if halts else "go",
        target=None if value is None else float(value),
    )
    reckoning = shade.reckoning
    echoes = (*reckoning.echoes, Echo(value=value, at_s=turn.now_s))[-ECHOES_MAX:]
    reckoning = replace(reckoning, echoes=echoes)
    if run is None:
        return replace(shade, reckoning=reckoning)
    reckoning = replace(reckoning, run=run, vouched_s=None)
    if value is not None:
        reckoning = replace(reckoning, target=run.to, value=value, rests_s=None, likely=None, kept_s=None)
    return awaiting(turn, replace(shade, reckoning=reckoning, ordered_at_s=turn.now_s), run)


def awaiting(turn: Turn, shade: Shade, run: Run) -> Shade:
    """Return the shade with its request given the time that its run may take."""
    request = shade.request
    if request is None:
        return shade
    until = turn.now_s + ECHO_WAIT_S + shade.spec.one_way.latency_s + run.lasts_s + 1.0
    return replace(shade, request=replace(request, deadline_s=max(request.deadline_s, until)))
