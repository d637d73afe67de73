"""One commissioning from question to question: which steps, what to ask now, what an answer leads to.

Pure: whoever drives it moves the board as it is told, says afterwards how the channel stands, and keeps the
states for an undo.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum

from bridge.core.commissioning.asking import AWAY, YES_NO, Step
from bridge.core.commissioning.beginning import BEGINNING
from bridge.core.commissioning.limits import LIMITS
from bridge.core.commissioning.moving import go
from bridge.core.commissioning.state import Facts, Question, Stand, State, Turn, read_yes
from bridge.core.commissioning.trials import TRIALS

STEPS: Mapping[str, Step] = {**BEGINNING, **LIMITS, **TRIALS}
HEIGHTS = (90.0, 70.0, 50.0, 30.0, 10.0)
# Where to begin again once the board has restarted in the middle of it.
_AGAIN = {
    "first-turn": "mark",
    "made": "mark",
    "lower": "lower-go",
    "part": "part-go",
    "seek": "switch",
    "met": "switch",
    "back": "speed",
    "clean": "speed",
    "timed": "watch",
    "check": "home",
    "seen": "visit",
    "asleep": "hold",
    "creep": "hold",
}
_BEFORE_UPPER = ("promise", "still-here", "measures", "direction", "rose", "rewired", "upper")
_DRIVE = ("mark", "first-turn", "made", "ratio")
_SWITCH = ("switch", "seek", "met")
_PROOF = (*_SWITCH, "speed", "back", "clean", "watch", "timed", "hold", "home", "check", "finish")
_LEARN = ("promise", "measures", "direction", "rose", "upper")


class Purpose(StrEnum):
    """What a commissioning is for."""

    WHOLE = "whole"
    NEW_BOARD = "new board"
    NEW_DRIVE = "new drive"
    NEW_WINDOW = "new window"


COURSES: Mapping[Purpose, tuple[str, ...]] = {
    Purpose.WHOLE: (*_LEARN, *_DRIVE, "lower-go", "lower", "drop", "part-go", "part", *_PROOF),
    # The marks at the window and the cloth stay, so their drop stands.
    Purpose.NEW_DRIVE: (*_LEARN, *_DRIVE, "lower-go", "lower", "part-go", "part", *_PROOF),
    Purpose.NEW_BOARD: (
        *(step for step in _LEARN if step != "measures"),
        "ratio",
        "visit",
        "seen",
        *_SWITCH,
        "home",
        "check",
        "finish",
    ),
    Purpose.NEW_WINDOW: (
        *(step for step in _LEARN if step != "measures"),
        "ratio",
        "lower-go",
        "lower",
        "drop",
        *_SWITCH,
        "hold",
        "home",
        "check",
        "finish",
    ),
}


def begin(facts: Facts, purpose: Purpose) -> State:
    """Return a commissioning before its first question."""
    first, *rest = COURSES[purpose]
    return State(facts=facts, step=first, rest=tuple(rest), heights=HEIGHTS)


def resumed(state: State) -> State:
    """Return a commissioning that is taken up again another time: the promise comes first."""
    if state.step in ("done", "promise", "still-here"):
        return state
    return replace(state, step="still-here", rest=(state.step, *state.rest), at=state.at)


def settled(state: State, stand: Stand) -> State:
    """Return the state at its next question: a board that has restarted is found again, idle steps pass."""
    state = _after_restart(state, stand)
    while state.step != "done" and STEPS[state.step].idle(state, stand):
        step, *rest = state.rest
        state = replace(state, step=step, rest=tuple(rest))
    return state


def _after_restart(state: State, stand: Stand) -> State:
    if state.boot in (None, stand.boot) or state.step == "done":
        return state
    if state.step in _BEFORE_UPPER:
        return replace(state, boot=None, upper=None, deepest=None, at=None)
    step = _AGAIN.get(state.step, state.step)
    between = tuple(each for each in _repeated(step, state.step) if each != step)
    rest = ("still-here", "upper", step, *between, *state.rest)
    heights = state.heights if state.height is None else (state.height, *state.heights)
    first, *others = rest
    return replace(
        state,
        step=first,
        rest=tuple(others),
        boot=None,
        upper=None,
        deepest=None,
        at=None,
        height=None,
        heights=heights,
    )


def _repeated(first: str, last: str) -> tuple[str, ...]:
    """Return the steps from one to another that have to be gone through again, both ends included."""
    if first == "hold":
        return ()
    whole = COURSES[Purpose.WHOLE] if first in COURSES[Purpose.WHOLE] else COURSES[Purpose.NEW_BOARD]
    return whole[whole.index(first) : whole.index(last) + 1] if last in whole else ()


def question(state: State, stand: Stand) -> Question:
    """Return what to ask now of a `settled` state."""
    if _elsewhere(state, stand):
        text = ("The shade is not where this question needs it. It goes there now. Is its way clear?",)
        return Question(key="return", text=text, hint=YES_NO, default="yes")
    return STEPS[state.step].ask(state, stand)


def reply(state: State, stand: Stand, text: str) -> Turn:
    """Return what an answer leads to; nothing when the question has lost its sense since it was asked.

    Raises:
        RequestError: it is no answer to this question, or asks for what would not be safe; nothing changed.
    """
    now = settled(state, stand)
    if now.step != state.step:
        restarted = state.boot not in (None, stand.boot)
        said = "Its board has restarted, so its count no longer tells where the hem bar hangs."
        return Turn(state=now, said=(said,) if restarted else ())
    if _elsewhere(state, stand):
        if not read_yes("return", text):
            return Turn(state=state, stop=AWAY)
        assert state.at is not None
        return Turn(state=state, motion=go(state, stand, state.at))
    return STEPS[state.step].take(_looked_at(state, stand), stand, text)


def _looked_at(state: State, stand: Stand) -> State:
    """Return the state with where the shade hangs under the eyes of a person counted as safe."""
    if stand.count is None or state.step in ("promise", "still-here", "measures", "rewired"):
        return state
    deepest = stand.count if state.deepest is None else max(state.deepest, stand.count)
    return replace(state, deepest=deepest, boot=stand.boot)


def _elsewhere(state: State, stand: Stand) -> bool:
    """Say whether the shade has been moved since the question that is under way was first asked."""
    anywhere = ("upper", "lower", "still-here")
    if state.at is None or stand.count is None or state.upper is None or state.step in anywhere:
        return False
    return abs(stand.count - state.at) > state.facts.drive.cycle_pulses
