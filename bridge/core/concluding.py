"""What the end of a motion means for the request that it served: reached, on from there, or given up.

What it means for the position is in the estimate before this looks.
"""

from __future__ import annotations

from bridge.core.command.requests import Fate, ended
from bridge.core.contract import Report, Why
from bridge.core.outcome import Level
from bridge.core.position.claims import width_mm
from bridge.core.replacing import replace
from bridge.core.state import Outstanding, Purpose, Request, Shade
from bridge.core.turn import Turn
from bridge.core.values import Interval

HELD = (
    "it stalled short of its upper stop; look at what held it, or take it to its upper limit by the button "
    "at its board and confirm `upper`"
)
# Orders of one request that a board may act on without telling how it ended.
UNTOLD_MAX = 2
UNTOLD = (
    "its board has not told how it ended, twice; see where it hangs, and look at the board's network and "
    "program"
)


def at_rest(turn: Turn, shade: Shade, pending: Outstanding, report: Report) -> Shade:
    """Return the shade once its board stands still with the order in force behind it."""
    if pending.purpose is Purpose.SLEEP:
        return shade
    _note_move(turn, shade, pending, report)
    request = shade.request
    if request is None or pending.request != request.id or _lowered_clear(pending, request):
        return shade
    if pending.purpose is Purpose.STOP:
        return ended(turn, shade, Fate.REACHED, f"at {_where(shade)}")
    if pending.purpose is Purpose.REFERENCE:
        return _sought(turn, shade, pending, report)
    if report.count == pending.order.to:
        return _arrived(turn, shade, request)
    if report.why in (Why.UPPER_SWITCH, Why.LOWER_SWITCH):
        return _met_on_the_way(turn, shade, request, report)
    if report.why in (Why.TOLD, Why.REFUSED):
        return _tried_again(turn, shade, pending, report)
    why = f"it ended with {report.why.value} at {_where(shade)}; look at what stopped it"
    return ended(turn, shade, Fate.FAILED, why)


def _lowered_clear(pending: Outstanding, request: Request) -> bool:
    """Say whether the move only led away from a closed switch; the reference run comes now."""
    return request.backed_off and request.reference and pending.purpose is Purpose.MOVE


def _arrived(turn: Turn, shade: Shade, request: Request) -> Shade:
    """Return the shade where it was sent; one of a level group may still have its reference to take."""
    if request.level is not None and request.level.refers:
        return replace(shade, request=replace(request, reference=True, level=None))
    return ended(turn, shade, Fate.REACHED, f"at {_where(shade)}")


def _met_on_the_way(turn: Turn, shade: Shade, request: Request, report: Report) -> Shade:
    """Return the shade after a switch has cut a move short: on from there, unless the goal lies beyond it."""
    at = shade.knowledge.hull
    upper = report.why is Why.UPPER_SWITCH
    assert request.goal is not None
    if at.low < request.goal if upper else request.goal < at.high:
        return shade
    off = width_mm(shade.spec, at.joined(Interval(low=request.goal, high=request.goal)))
    if off <= max(shade.spec.tolerance_mm, 2 * width_mm(shade.spec, at)):
        return ended(turn, shade, Fate.REACHED, f"at {_where(shade)}, by its switch")
    why = (
        f"its {report.why.value} stops it at {_where(shade)}, short of there; check the switch and its place"
    )
    return ended(turn, shade, Fate.FAILED, why)


def _sought(turn: Turn, shade: Shade, pending: Outstanding, report: Report) -> Shade:
    """Return the shade after a seek: on to where it was asked to go, another try, or given up."""
    request = shade.request
    assert request is not None
    if report.why in (Why.UPPER_SWITCH, Why.LOWER_SWITCH):
        return replace(shade, request=replace(request, reference=False))
    if report.why is Why.STALLED and shade.spec.upper_stall is not None:
        if shade.knowledge.mark is None:
            return ended(turn, shade, Fate.FAILED, HELD)
        return replace(shade, request=replace(request, reference=False))
    if report.why is Why.TOLD:
        return _tried_again(turn, shade, pending, report)
    why = f"the upper end was not found ({report.because or report.why.value}); look at the switch"
    return ended(turn, shade, Fate.FAILED, why)


def _tried_again(turn: Turn, shade: Shade, pending: Outstanding, report: Report) -> Shade:
    """Return the shade after its board stands still and nobody has told why: to be tried again, or given up.

    An order that was lost on its way moved nothing, and the time that its request may wait bounds that. One
    that was acted on may have ended at something that must not be pushed at without end.
    """
    request = shade.request
    assert request is not None
    if not pending.heard and pending.began_count in (None, report.count):
        return shade
    untold = request.untold + 1
    if untold >= UNTOLD_MAX:
        return ended(turn, shade, Fate.FAILED, UNTOLD)
    return replace(shade, request=replace(request, untold=untold))


def _where(shade: Shade) -> str:
    spec, hull = shade.spec, shade.knowledge.hull
    pct = spec.travel.percent_at_steps(hull.middle)
    return f"{pct:.0f} %, known to {width_mm(spec, hull):.0f} mm"


def _note_move(turn: Turn, shade: Shade, pending: Outstanding, report: Report) -> None:
    request = shade.request
    turn.note(
        "shade.move.finished",
        Level.INFO,
        shade=shade.id,
        from_steps=pending.began_steps,
        to_steps=shade.knowledge.hull.middle,
        took_s=round(turn.now_s - pending.sent_at_s, 1),
        why=report.why.value,
        cause="bridge" if request is None else request.source,
        width_mm=round(width_mm(shade.spec, shade.knowledge.hull), 1),
    )
