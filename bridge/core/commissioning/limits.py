"""The steps that find the lower limit and the roll: by a person at the mark and a tape measure."""

from __future__ import annotations

from dataclasses import replace

from bridge.core.commissioning import measuring
from bridge.core.commissioning.asking import AWAY, YES_NO, Step, detour, off_mark, onward, yes_or_skip
from bridge.core.commissioning.moving import JOG_HINT, below, count_at, drop_mm, go, jog
from bridge.core.commissioning.state import Question, Stand, State, Turn, read_number, read_yes
from bridge.core.errors import RequestError
from bridge.core.shade.roll import solve_roll

SHORT_OF_MM, SHORT_OF_SHARE = 100.0, 0.1
# What another board on the same drive may be off at the lower mark: a person's eye, or 0.3 % of the drop.
SEEN_MM, SEEN_SHARE = 3.0, 0.003


def _near_lower_mm(state: State) -> float:
    drop = state.facts.drop_mm
    return drop - min(SHORT_OF_MM, SHORT_OF_SHARE * drop)


def _ask_lower_go(state: State, _stand: Stand) -> Question:
    text = (
        (
            f"The hem bar goes down to about {_near_lower_mm(state):.0f} mm below the upper mark and stays "
            "awake there. "
            "Is its way clear?"
        ),
    )
    return Question(key="lower-go", text=text, hint=YES_NO, default="yes")


def _take_lower_go(state: State, stand: Stand, text: str) -> Turn:
    if not read_yes("lower-go", text):
        return Turn(state=state, stop=AWAY)
    return onward(state, go(state, stand, count_at(state, _near_lower_mm(state)), button=True))


def _ask_lower(state: State, stand: Stand) -> Question:
    text = (
        (
            "Bring the hem bar down to the lower mark, by these moves or by the button at the board. Come "
            "from above."
        ),
        f"By the settings it hangs {drop_mm(state, below(state, stand)):.0f} mm below the upper mark now.",
    )
    return Question(key="lower", text=text, hint=JOG_HINT)


def _take_lower(state: State, stand: Stand, text: str) -> Turn:
    turn = jog(state, stand, "lower", text)
    if turn is not None:
        return turn
    way = below(state, stand)
    if way < state.facts.drive.pulses_per_turn / 2:
        raise RequestError(
            where="lower",
            problem="that is less than half a turn below the upper mark",
            remedy="go further down",
        )
    return onward(replace(state, lower=way))


def _turns(state: State) -> float:
    assert state.lower is not None
    return float(state.facts.drive.turns_for_steps(state.lower))


def _ask_drop(state: State, _stand: Stand) -> Question:
    assert state.lower is not None
    text = (
        (
            "Measure from the upper mark straight down to where that same edge of the hem bar hangs now, to "
            "1 mm."
        ),
        (
            f"({_turns(state):.3f} turns lie between; by tube and cloth of the settings that is "
            f"{drop_mm(state, state.lower):.0f} mm.)"
        ),
    )
    return Question(key="drop", text=text, hint="mm")


def _take_drop(state: State, _stand: Stand, text: str) -> Turn:
    drop = read_number("drop", text, least=100, most=15000, unit="mm")
    facts, turns = state.facts, _turns(state)
    if "part" in state.rest:
        measuring.from_one_drop(turns=turns, drop_mm=drop, tube_mm=facts.tube_mm, wraps_left=facts.wraps_left)
        return onward(replace(state, facts=replace(facts, drop_mm=drop)))
    # Tube and cloth were found at the last window; how much of it stays wound is new.
    roll = solve_roll(tube_mm=facts.tube_mm, cloth_mm=facts.cloth_mm, drop_mm=drop, turns=turns)
    if roll.wraps_left < 1:
        raise RequestError(
            where="drop",
            problem=f"that would leave {roll.wraps_left:.2f} wraps on the tube; one at least must stay",
            remedy="measure again, or `undo` and take a lower limit further up",
        )
    said = f"{roll.wraps_left:.2f} wraps stay on the tube at this lower limit."
    changed = replace(facts, drop_mm=drop, wraps_left=round(roll.wraps_left, 2))
    return onward(replace(state, facts=changed), None, said)


def _ask_part_go(_state: State, _stand: Stand) -> Question:
    text = ("It goes up to half of the turns now, for a second measure of the cloth. Is its way clear?",)
    return Question(key="part-go", text=text, hint="yes / skip", default="yes")


def _take_part_go(state: State, stand: Stand, text: str) -> Turn:
    if not yes_or_skip("part-go", text):
        rest = tuple(step for step in state.rest if step != "part")
        return onward(_solved_by_one(replace(state, rest=rest)))
    assert state.upper is not None
    assert state.lower is not None
    return onward(state, go(state, stand, state.upper + state.lower // 2))


def _solved_by_one(state: State) -> State:
    facts = state.facts
    roll = measuring.from_one_drop(
        turns=_turns(state), drop_mm=facts.drop_mm, tube_mm=facts.tube_mm, wraps_left=facts.wraps_left
    )
    remark = (
        "Cloth follows from one drop, with tube and wraps left as they were told: the middle was not "
        "measured."
    )
    facts = replace(facts, cloth_mm=round(roll.cloth_mm, 4))
    return replace(state, facts=facts, remarks=(*state.remarks, remark))


def _ask_part(_state: State, _stand: Stand) -> Question:
    text = ("Measure the drop again, from the upper mark to the same edge of the hem bar, to 1 mm.",)
    return Question(key="part", text=text, hint="mm")


def _measured(state: State) -> measuring.Measured:
    assert state.part is not None
    steps, part_mm = state.part
    return measuring.from_two_drops(
        turns=_turns(state),
        drop_mm=state.facts.drop_mm,
        part_turns=float(state.facts.drive.turns_for_steps(steps)),
        part_mm=part_mm,
    )


def _take_part(state: State, stand: Stand, text: str) -> Turn:
    part_mm = read_number("part", text, least=10, most=state.facts.drop_mm, unit="mm")
    found = replace(state, part=(below(state, stand), part_mm))
    measured, facts = _measured(found), state.facts
    told = measuring.contradictions(
        measured, tube_mm=facts.tube_mm, cloth_mm=facts.cloth_mm, wraps_left=facts.wraps_left
    )
    if told:
        return onward(detour(found, "roll"), None, *told)
    return onward(_with_roll(found, measured, keep="wraps"))


def _with_roll(state: State, measured: measuring.Measured, *, keep: str) -> State:
    facts = state.facts
    roll = measuring.roll_of(
        measured,
        drop_mm=facts.drop_mm,
        tube_mm=facts.tube_mm if keep == "tube" else None,
        wraps_left=facts.wraps_left if keep == "wraps" else None,
    )
    remark = (
        f"Cloth {roll.cloth_mm:.3f} mm, tube {roll.tube_mm:.2f} mm and {roll.wraps_left:.2f} wraps "
        "left follow "
    )
    remark += f"from two measured drops, with the {'tube' if keep == 'tube' else 'wraps left'} as told."
    facts = replace(facts, tube_mm=roll.tube_mm, cloth_mm=roll.cloth_mm, wraps_left=roll.wraps_left)
    return replace(state, facts=facts, remarks=(*state.remarks, remark))


def _ask_roll(state: State, _stand: Stand) -> Question:
    measured, facts = _measured(state), state.facts
    text = (
        "What do you trust more?",
        (
            f"  wraps: {facts.wraps_left:g} wraps left were counted; the tube is then "
            f"{measured.tube_mm(facts.wraps_left):.1f} mm"
        ),
        (
            f"  tube:  {facts.tube_mm:g} mm was measured; {measured.wraps_left(facts.tube_mm):.2f} wraps are "
            "left then"
        ),
        "  (or `undo` to measure the drops again; with fewer wraps left the bridge lowers less far)",
    )
    return Question(key="roll", text=text, hint="wraps / tube")


def _take_roll(state: State, _stand: Stand, text: str) -> Turn:
    word = text.strip().lower()
    if word not in ("wraps", "tube"):
        raise RequestError(where="roll", problem=f"{text!r} is no answer", remedy="answer wraps or tube")
    told = measuring.contradictions(
        _measured(state),
        tube_mm=state.facts.tube_mm,
        cloth_mm=state.facts.cloth_mm,
        wraps_left=state.facts.wraps_left,
    )
    changed = _with_roll(state, _measured(state), keep=word)
    return onward(replace(changed, remarks=(*changed.remarks, *told)))


# Another board on the same drive.


def _ask_visit(_state: State, _stand: Stand) -> Question:
    text = ("It goes to the lower limit, by the settings. Is its way clear?",)
    return Question(key="visit", text=text, hint=YES_NO, default="yes")


def _take_visit(state: State, stand: Stand, text: str) -> Turn:
    if not read_yes("visit", text):
        return Turn(state=state, stop=AWAY)
    return onward(state, go(state, stand, count_at(state, state.facts.drop_mm), button=True))


def _take_seen(state: State, _stand: Stand, text: str) -> Turn:
    off = read_number("seen", text, least=-2000, most=2000, unit="mm")
    if abs(off) > max(SEEN_MM, SEEN_SHARE * state.facts.drop_mm):
        drop = state.facts.drop_mm
        raise RequestError(
            where="seen",
            problem=(
                f"{off:+g} mm of {drop:g} mm: this is not the drive of the settings, or the upper mark "
                "was missed"
            ),
            remedy="`undo` and find the upper mark again, or begin anew with --new-drive",
        )
    return onward(state)


def _ask_seen(_state: State, _stand: Stand) -> Question:
    return off_mark("seen", "lower")


LIMITS = {
    "lower-go": Step(ask=_ask_lower_go, take=_take_lower_go),
    "lower": Step(ask=_ask_lower, take=_take_lower),
    "drop": Step(ask=_ask_drop, take=_take_drop),
    "part-go": Step(ask=_ask_part_go, take=_take_part_go),
    "part": Step(ask=_ask_part, take=_take_part),
    "roll": Step(ask=_ask_roll, take=_take_roll),
    "visit": Step(ask=_ask_visit, take=_take_visit),
    "seen": Step(ask=_ask_seen, take=_take_seen),
}
