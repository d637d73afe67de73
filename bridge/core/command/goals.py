"""From what was asked to a position, or to the reason why that can't be done now."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf
from typing import assert_never

from bridge.core.contract import Sense
from bridge.core.events import Approach, Button, Nudge, Percent, Place, Press, Refer, Want
from bridge.core.position.allowance import steps_for_mm
from bridge.core.position.claims import claim_at, grade_of, width_mm
from bridge.core.position.estimate import Grade
from bridge.core.replacing import quick, replace
from bridge.core.spec import ShadeSpec
from bridge.core.state import Level, Purpose, Shade
from bridge.core.values import GroupId, Steps

# What leads somewhere.
Ways = Percent | Nudge | Press | Approach | Refer
# Room to jog to the mark from above it.
MARGIN_MM = 10.0
UNKNOWN = (
    "the position is unknown; raise it to its switch with `up`, or take it to a limit by the button at its "
    "board and confirm that"
)


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """A position to go to, after a reference run where one is needed."""

    at: Steps
    target_pct: int
    reference: bool = False
    level: Level | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Why not, in words."""

    why: str


def resolve(shade: Shade, want: Ways) -> Goal | Refusal:
    """Return where `want` leads from what is known now; a stop is not asked here."""
    if (pending := shade.outstanding) is not None and pending.purpose is Purpose.REFERENCE:
        goal = _resolved(shade, want, unknown=False)
        return goal if isinstance(goal, Refusal) else replace(goal, reference=True)
    return _resolved(shade, want, unknown=grade_of(shade.spec, shade.knowledge.hull) is Grade.UNKNOWN)


def _resolved(shade: Shade, want: Ways, *, unknown: bool) -> Goal | Refusal:
    match want:
        case Percent(open_pct=100) if not unknown:
            return _raised(shade, unknown=False)
        case Percent(open_pct=pct):
            return Refusal(why=UNKNOWN) if unknown else _at_percent(shade, pct)
        case Nudge(by_pct=by):
            return _nudged(shade, by, unknown=unknown)
        case Press(button=Button.UP):
            return _raised(shade, unknown=unknown)
        case Refer():
            return _there_and_back(shade)
        case Approach(place=place):
            return Refusal(why=UNKNOWN) if unknown else _near(shade, place)
        case Press():
            return Refusal(why=UNKNOWN) if unknown else _at_percent(shade, 0)
        case _:
            assert_never(want)


def _at_percent(shade: Shade, pct: int) -> Goal:
    return Goal(at=round(shade.spec.travel.steps_at_percent(pct)), target_pct=pct)


def _raised(shade: Shade, *, unknown: bool) -> Goal | Refusal:
    """Go to the upper limit, by way of the switch there when that is worth it: a reference for nothing."""
    worth = unknown or shade.knowledge.hearsay or _width_at_top(shade) > shade.spec.tolerance_mm
    if worth and can_feel_the_top(shade):
        return Goal(at=0, target_pct=100, reference=True)
    return Refusal(why=UNKNOWN) if unknown else _at_percent(shade, 100)


def _there_and_back(shade: Shade) -> Goal | Refusal:
    """Go by way of the upper end, and on to where the shade was last asked to be."""
    if not can_feel_the_top(shade):
        return Refusal(why="it has neither an upper switch nor an upper stop that it can feel")
    back = 100 if shade.target_pct is None else shade.target_pct
    return replace(_at_percent(shade, back), reference=True)


def _width_at_top(shade: Shade) -> float:
    """Return how well the position would be known, in mm, once the shade had gone up without a reference."""
    known = shade.knowledge
    if known.base is None:
        return inf
    return width_mm(shade.spec, claim_at(shade.spec, known, -known.base.middle))


def _near(shade: Shade, place: Place) -> Goal:
    """Stop short of a limit by the width of what is known and a margin, so that a person can jog the rest."""
    spec, known = shade.spec, shade.knowledge
    limit = spec.travel.lower_steps if place is Place.LOWER else 0
    width = known.hull.width
    if known.base is not None:
        width = claim_at(spec, known, limit - known.base.middle).width
    short = width + ceil(steps_for_mm(spec, MARGIN_MM))
    at = max(limit - short, 0) if place is Place.LOWER else min(short, spec.travel.lower_steps)
    return Goal(at=at, target_pct=round(spec.travel.percent_at_steps(at)))


def _nudged(shade: Shade, by_pct: int, *, unknown: bool) -> Goal | Refusal:
    """Go on from where it is heading, or from where it is; a nudge past a limit goes to the limit."""
    if unknown and by_pct < 0:
        return Refusal(why=UNKNOWN)
    travel = shade.spec.travel
    start = shade.knowledge.hull.middle
    heading = shade.outstanding
    if heading is not None and heading.purpose is Purpose.MOVE and heading.goal is not None:
        start = heading.goal
    drop = travel.drop_at_steps(start) - by_pct / 100 * travel.roll.drop_mm
    within = min(max(drop, 0.0), travel.roll.drop_mm)
    at = round(travel.steps_at_drop(within))
    return Goal(at=at, target_pct=round(travel.percent_at_steps(at)))


def level_goal(shade: Shade, goal: Goal, *, group: GroupId, to_mm: float) -> Goal:
    """Return where the front of a level group at drop `to_mm` leads a shade, at most to its own lower limit.

    A reference on the way would not be level: it waits until the shade is up. A shade in too much doubt for
    that moves by itself.
    """
    spec, known = shade.spec, shade.knowledge
    unknown = known.base is None or grade_of(spec, known.hull) is Grade.UNKNOWN
    if unknown or (known.hearsay and goal.reference):
        return goal
    drop_mm = min(to_mm, spec.travel.roll.drop_mm)
    refers = goal.reference and drop_mm == 0 and can_feel_the_top(shade)
    return Goal(
        at=round(spec.travel.steps_at_drop(drop_mm)),
        target_pct=round(front_percent(spec, to_mm)),
        level=None if known.hearsay else Level(group=group, refers=refers),
    )


def front_percent(spec: ShadeSpec, to_mm: float) -> float:
    """Return how far open a shade of a level group is once its front is at drop `to_mm`."""
    roll = spec.travel.roll
    return roll.percent_at_drop(min(to_mm, roll.drop_mm))


def can_feel_the_top(shade: Shade) -> bool:
    """Say whether the shade can find its upper limit by itself."""
    return top_sense(shade) is not None


def top_sense(shade: Shade) -> Sense | None:
    """Return what the shade feels its upper end by: a switch before a stall; None without either.

    Until its board has said what it feels, the settings are believed; a board without the sense refuses.
    """
    report, spec = shade.channel.report, shade.spec
    senses = tuple(Sense) if report is None else report.senses
    if spec.upper_switch is not None and Sense.UPPER_SWITCH in senses:
        return Sense.UPPER_SWITCH
    if spec.upper_stall is not None and Sense.STALL in senses:
        return Sense.STALL
    return None


def target_of(want: Want) -> int | None:
    """Return the percent open that a request names by itself; None for a nudge, a stop or a release."""
    match want:
        case Percent(open_pct=pct):
            return pct
        case Press(button=Button.UP):
            return 100
        case Press(button=Button.DOWN):
            return 0
        case _:
            return None
