"""What the broker keeps for a board that never reports: no target given up, and not nothing in silence.

Such a board finds the target on its topic each time it comes to the broker. A halt does not change that, so
the place at which the board is reckoned to rest is sent behind it. A broker that has lost the target leaves a
board that was without power at 0, wherever it hangs, and nobody can tell whether it was.
"""

from __future__ import annotations

from bridge.core.command.goals import Refusal
from bridge.core.command.supply import must_stagger, must_wait, note_start
from bridge.core.command.targets import LOST_COUNT, Draft, draft, sent
from bridge.core.outcome import Level
from bridge.core.position import one_way as position
from bridge.core.reckoning import Reckoning, Run
from bridge.core.replacing import replace
from bridge.core.spec import ShadeSpec
from bridge.core.state import Shade
from bridge.core.turn import Turn

# What is retained comes right behind the subscription; a slow network is given so long for it.
HANDED_BACK_S = 7.0
# Until its supply may have amps to spare.
RETRY_S = 2.0

MAY_BE_AT_ZERO = (
    "If the board has been without power it takes itself to be up though it hangs lower: ask `up`, look "
    "whether it hangs at its upper limit, `nudge` it up to there if it does not, and confirm `upper`"
)


def gives_up_a_target(spec: ShadeSpec, reckoning: Reckoning, run: Run) -> bool:
    """Say whether a run ends elsewhere than where the topic of its board leads: it has been halted."""
    return spec.one_way.retained and reckoning.target is not None and run.to != reckoning.target


def settled(turn: Turn, shade: Shade) -> Shade:
    """Return the shade after its topic was given the place where its board rests, if it is time for that."""
    reckoning = shade.reckoning
    due_s = reckoning.rests_s
    if due_s is None or turn.now_s < due_s or reckoning.run is not None or reckoning.alive is False:
        return shade
    if must_wait(turn, shade) or must_stagger(turn, shade):
        return replace(shade, reckoning=replace(reckoning, rests_s=turn.now_s + RETRY_S))
    ready = _least_moving(turn, shade)
    if ready is None:
        return _left(turn, shade)
    note_start(turn, shade)
    return sent(turn, replace(shade, knowledge=ready.knowledge), ready.run, ready.value, halts=False)


def _least_moving(turn: Turn, shade: Shade) -> Draft | None:
    """Return the target where it most likely rests, or further up where that might be too low; else None.

    A board begins and halts with the same delay, so the clock tells the place of a halt far better than the
    interval that is claimed. It moves by what the clock is wrong, and the hull is widened by all that may be.
    """
    counts, likely, base = shade.reckoning.counts, shade.reckoning.likely, shade.knowledge.base
    if counts is None or likely is None or base is None:
        return None
    for count in (min(max(likely, counts.low), counts.high), counts.low):
        ready = draft(shade, base.middle + count, request=None, now_s=turn.now_s)
        if not isinstance(ready, Refusal):
            return ready
    return None


def _left(turn: Turn, shade: Shade) -> Shade:
    topic = shade.spec.one_way.topic
    why = (
        f"it was halted, and {topic} still holds the target that it was halted from: it goes on there when "
        "its board has lost its network; ask it for a place to end that"
    )
    turn.note("shade.halt.unsettled", Level.ERROR, shade=shade.id, text=why)
    return replace(shade, trouble=why, reckoning=replace(shade.reckoning, rests_s=None))


def may_go_on(shade: Shade) -> Shade:
    """Return the shade when every board loses the broker, and finds what that keeps as it comes back."""
    spec, reckoning, run = shade.spec, shade.reckoning, shade.reckoning.run
    halts = run is not None and gives_up_a_target(spec, reckoning, run)
    if reckoning.target is None or not (halts or reckoning.rests_s is not None):
        return shade
    there = position.only(reckoning.target)
    reckoning = replace(reckoning, rests_s=None)
    if run is not None:
        rests = position.path(run).joined(run.rests).joined(there)
        run = replace(run, rests=rests, steady=False, timed=False)
        return replace(shade, reckoning=replace(reckoning, run=run))
    counts = None if reckoning.counts is None else reckoning.counts.joined(there)
    known = shade.knowledge
    if counts is not None and known.base is not None:
        known = replace(known, hull=known.hull.joined(position.claim_over(spec, known, counts)))
    return replace(shade, knowledge=known, reckoning=replace(reckoning, counts=counts))


# A broker that forgets.


def expected(shade: Shade, now_s: float) -> Shade:
    """Return the shade at the start of a session: its broker will hand back what it keeps for its board."""
    link, reckoning = shade.spec.one_way, shade.reckoning
    kept_s = now_s + HANDED_BACK_S if link.retained and reckoning.value is not None else None
    return shade if kept_s is None else replace(shade, reckoning=replace(reckoning, kept_s=kept_s))


def missed(turn: Turn, shade: Shade) -> Shade:
    """Return the shade once its broker has had time to hand its target back, and has not."""
    spec, reckoning = shade.spec, shade.reckoning
    if reckoning.kept_s is None or turn.now_s < reckoning.kept_s:
        return shade
    known, after = position.forgotten(spec, shade.knowledge, reckoning)
    topic = spec.one_way.topic
    if _is_up(shade, reckoning):
        text = f"the broker has lost what it kept on {topic}; it is given its target again"
        turn.note("board.target.kept", Level.WARNING, shade=shade.id, text=text)
        again = replace(reckoning, kept_s=None, rests_s=turn.now_s, likely=reckoning.target)
        return replace(shade, reckoning=again)
    why = (
        f"the broker has lost the target that it kept on {topic}; let it keep retained messages when it "
        f"restarts. {LOST_COUNT if after.counts is None else MAY_BE_AT_ZERO}"
    )
    turn.note("board.target.forgotten", Level.ERROR, shade=shade.id, text=why)
    return replace(shade, knowledge=known, reckoning=after, trouble=why)


def _is_up(shade: Shade, reckoning: Reckoning) -> bool:
    """Say whether a board at 0 and one at its target are all but the same, so that the target can be sent."""
    counts, base, travel = reckoning.counts, shade.knowledge.base, shade.spec.travel
    if reckoning.run is not None or counts is None or base is None or reckoning.target is None:
        return False
    both = counts.joined(position.only(0)).joined(position.only(reckoning.target))
    whole = position.claim_over(shade.spec, shade.knowledge, both)
    return travel.mm_between(whole.low, whole.high) <= shade.spec.tolerance_mm
