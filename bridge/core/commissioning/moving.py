"""Short moves under the eyes of a person: how far, how fast, and never lower than is known to be safe."""

from __future__ import annotations

from dataclasses import replace
from math import pi

from bridge.core.commissioning.state import Facts, Motion, Stand, State, Turn, read_number
from bridge.core.contract import Do
from bridge.core.errors import RequestError

UP_MOST_MM, DOWN_MOST_MM = 300.0, 100.0
# While nobody knows how much cloth is left: one short move for each look at the tube.
DOWN_UNKNOWN_MM = 20.0
# How far the button at the board may lead from where a jog ends.
BUTTON_MM = 100.0
GENTLE_MMPS = 80.0
JOG_HINT = "up MM / down MM / here"


def gentle_pps(facts: Facts) -> int:
    """Return a speed that a person can follow with the eyes, in steps a second."""
    a_mm = float(facts.drive.pulses_per_turn) / (pi * facts.roll.rolled_diameter_mm)
    return max(1, min(facts.top_pps, round(GENTLE_MMPS * a_mm)))


def below(state: State, stand: Stand) -> int:
    """Return the steps from the upper mark to where the shade stands."""
    assert state.upper is not None
    assert stand.count is not None
    return stand.count - state.upper


def drop_mm(state: State, steps: int) -> float:
    """Return the drop that goes with steps from the upper mark."""
    return state.facts.travel.drop_at_steps(min(steps, state.facts.travel.end_steps))


def count_at(state: State, drop: float) -> int:
    """Return the count at a drop."""
    assert state.upper is not None
    return state.upper + round(state.facts.travel.steps_at_drop(drop))


def steps_of(state: State, stand: Stand, mm: float) -> int:
    """Return the steps that move the hem bar by `mm` from where it stands."""
    roll, a_turn = state.facts.roll, float(state.facts.drive.pulses_per_turn)
    diameter = roll.rolled_diameter_mm
    if state.upper is not None:
        turns = min(max(below(state, stand) / a_turn, 0.0), roll.wound_turns)
        diameter = roll.diameter_at_turns(turns)
    return round(mm / (pi * diameter) * a_turn)


def lowest(state: State, stand: Stand) -> int:
    """Return the greatest count to which anything may lower the shade.

    With the upper mark known that is half a turn short of the end of the cloth by the measures of the
    settings; before it, where the hem bar has hung already.
    """
    if state.upper is None:
        assert stand.count is not None
        return max(stand.count, stand.count if state.deepest is None else state.deepest)
    return state.upper + state.facts.travel.deepest_steps


def go(state: State, stand: Stand, to: int, *, pps: int | None = None, button: bool = False) -> Motion:
    """Return the order that leads to count `to`; with `button` a hand at the board may go on from there.

    Raises:
        RequestError: it would lead lower than is known to be safe, or beyond the board's own ends.
    """
    assert stand.count is not None
    deepest = lowest(state, stand)
    if to > max(stand.count, deepest):
        raise RequestError(
            where="down",
            problem="that is lower than is known to be safe",
            remedy="the cloth may end there; go less far, or check drop and wraps left in the settings",
        )
    if state.facts.reach is not None:
        to = min(max(to, state.facts.reach[0]), state.facts.reach[1])
    room = steps_of(state, stand, BUTTON_MM) if button else 0
    low, high = min(stand.count, to), max(stand.count, to)
    return Motion(
        do=Do.GO,
        to=to,
        low=low - room,
        high=max(high, min(high + room, deepest)),
        pps=gentle_pps(state.facts) if pps is None else pps,
        ramp=state.facts.ramp_pps2,
    )


def jog(state: State, stand: Stand, key: str, text: str) -> Turn | None:
    """Return the short move that a person asks for; None when the hem bar is where it should be.

    Raises:
        RequestError: no such word, too far at once, or lower than is safe.
    """
    word, _, amount = text.strip().lower().partition(" ")
    if word == "here" and not amount:
        return None
    if word not in ("up", "down") or not amount:
        raise RequestError(
            where=key, problem=f"{text!r} is no move", remedy=f"answer {JOG_HINT}, such as: down 5"
        )
    most = UP_MOST_MM if word == "up" else DOWN_MOST_MM
    mm = read_number(key, amount, least=0.1, most=most, unit="mm")
    assert stand.count is not None
    way = steps_of(state, stand, mm)
    if word == "up":
        return Turn(state=state, motion=go(state, stand, stand.count - way, button=True))
    to = stand.count + way
    if state.upper is not None or to <= lowest(state, stand):
        return Turn(state=state, motion=go(state, stand, to, button=True))
    if mm > DOWN_UNKNOWN_MM:
        raise RequestError(
            where=key,
            problem="nobody knows yet how much cloth is left",
            remedy=f"go lower than it has hung by {DOWN_UNKNOWN_MM:g} mm at most at a time, eyes on the tube",
        )
    # Under a person's eyes: that counts as where it has hung.
    return Turn(state=state, motion=go(replace(state, deepest=to), stand, to))
