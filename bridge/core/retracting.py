"""What guards make a shade do: halted on a way that they forbid, raised to where they want it.

A retract that fails is asked again, later each time: a switch that sticks is not run against once a minute
for hours. When something is heard of the board itself, or another guard wants it up as well, it need not
wait that long.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from bridge.core.asking import ask
from bridge.core.comfort import tell, with_ruling
from bridge.core.command.guards import forbidden, forbidding, guards, needed
from bridge.core.command.requests import Fate, ended
from bridge.core.events import Asked, Button, Percent, Press
from bridge.core.intending import Move
from bridge.core.outcome import Level
from bridge.core.rules.demand import Standing, decided
from bridge.core.state import Shade
from bridge.core.turn import Turn

# The longest between two tries at a retract that fails.
LONGEST_S = 900.0
# The first may have failed for a message that was lost; of the second on people are told.
ALERT_AT = 2


def enforced(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after its guards have had their way, as far as orders can leave."""
    if not turn.may_order:
        return shade
    shade = _turned_back(turn, shade)
    wanted = needed(turn, shade)
    if wanted is None and shade.request is None:
        return unguarded(shade)
    if wanted is None:
        return shade if _waits(turn, shade) else with_ruling(shade, again_at=None)
    return shade if _waits(turn, shade) else _retracted(turn, shade, *wanted)


def unguarded(shade: Shade) -> Shade:
    """Return the shade without a retract to be tried again: the guards have their way, or there are none."""
    ruling = replace(shade.ruling, again_at=None, tries=0, tried_at=None)
    return shade if ruling == shade.ruling else replace(shade, ruling=ruling)


def sooner(turn: Turn, before: Shade | None, shade: Shade) -> Shade:
    """Return the shade with a retract that has failed tried again soon if what made it fail may be over.

    So it may be when its board answers again, or says something that no order of ours has brought about.
    """
    ruling = shade.ruling
    if before is None or ruling.again_at is None or ruling.tried_at is None or before.request is not None:
        return shade
    answers = shade.channel.answered and not before.channel.answered
    by_itself = before.outstanding is None and shade.channel.report is not before.channel.report
    if not answers and not by_itself and _wants_up(before) >= _wants_up(shade):
        return shade
    soon = ruling.tried_at + timedelta(seconds=turn.house.spec.restraint.resume_s)
    return with_ruling(shade, again_at=min(ruling.again_at, max(soon, turn.utc)))


def pause_s(tries: int, *, first_s: float) -> float:
    """Return how long after the last of so many tries, 1 or more, the next may follow."""
    doubled_s: float = first_s * 2 ** min(tries - 1, 10)
    return max(first_s, min(doubled_s, LONGEST_S))


def _wants_up(shade: Shade) -> frozenset[str]:
    return frozenset(each.rule for each in guards(shade) if each.demand.at_least_pct > 0)


def _retracted(turn: Turn, shade: Shade, low: int, by: Standing) -> Shade:
    """Return the shade with what a guard wants asked of it."""
    want = Press(button=Button.UP) if low >= 100 else Percent(open_pct=low)
    move = Move(to_pct=low, by=by)
    event = Asked(at=turn.at, shade=shade.id, want=want, rank=by.rank, source=move.source)
    after = ask(turn, shade, event)
    taken = after is not shade
    after = _tried(turn, after)
    if not taken:
        text = f"it can't be raised though it must be: {by.demand.why}; raise it by hand"
        if after.ruling.tries == 1:
            turn.note("shade.retract.refused", Level.ERROR, shade=shade.id, text=text, rule=by.rule)
        return replace(after, trouble=text)
    if after.ruling.tries == ALERT_AT and shade.trouble:
        text = (
            f"it must be up ({by.demand.why}) and can't be raised: {shade.trouble}; raise it by hand. It is "
            "tried again less and less often, and sooner once its board says something new"
        )
        turn.note("shade.retract.failing", Level.ERROR, shade=shade.id, text=text, rule=by.rule)
    lost = decided(after.ruling.standing, now_pct=float(low)).lost
    after = tell(turn, after, f"moved to {low} %", by=by, lost=lost, at_pct=low, moved=True)
    return replace(after, reason=f"Raised to {low} %: {by.demand.why}")


def _tried(turn: Turn, shade: Shade) -> Shade:
    """Return the shade with another try counted, and when the next may follow should it fail."""
    tries = shade.ruling.tries + 1
    wait = timedelta(seconds=pause_s(tries, first_s=turn.house.spec.restraint.resume_s))
    again_at = turn.utc + wait
    ruling = replace(shade.ruling, again_at=again_at, tries=tries, tried_at=turn.utc, mine=True)
    return replace(shade, ruling=ruling)


def _waits(turn: Turn, shade: Shade) -> bool:
    """Say whether a move that was asked, or halted, a while ago must not be asked again yet."""
    ruling = shade.ruling
    if ruling.again_at is None:
        return False
    first_s = turn.house.spec.restraint.resume_s
    longest = timedelta(seconds=pause_s(max(ruling.tries, 1), first_s=first_s))
    # A wall clock that was set back must not keep it down.
    return timedelta(0) < ruling.again_at - turn.utc <= longest


def _turned_back(turn: Turn, shade: Shade) -> Shade:
    """Return the shade without a request that a guard forbids: stopped if it is under way, else ended."""
    request = shade.request
    if request is None:
        return shade
    for each in forbidding(turn, shade, request):
        if not _begun(shade, request.id):
            return ended(turn, shade, Fate.FAILED, forbidden(each))
        if each.demand.may_raise:
            stop = Press(button=Button.STOP)
            source = f"the {each.rule} rule"
            event = Asked(at=turn.at, shade=shade.id, want=stop, rank=each.rank, source=source)
            return replace(ask(turn, shade, event), reason=f"Stopped: {each.demand.why}")
    return shade


def _begun(shade: Shade, request: int) -> bool:
    pending, run = shade.outstanding, shade.reckoning.run
    return (pending is not None and pending.request == request) or (
        run is not None and run.request == request
    )
