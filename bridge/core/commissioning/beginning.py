"""The steps from a shade that nobody trusts to one whose drive is known: promise, direction, mark test."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import floor

from bridge.core.commissioning import ratio
from bridge.core.commissioning.asking import AWAY, YES_NO, Step, detour, onward
from bridge.core.commissioning.moving import JOG_HINT, go, jog, steps_of
from bridge.core.commissioning.state import Motion, Question, Stand, State, Turn, read_number, read_yes
from bridge.core.contract import Do
from bridge.core.errors import RequestError
from bridge.core.shade.drive import parse_gear

CAUTIONS = (
    "This is hobby control software: no safety device, and not certified.",
    "Stay at the shade and look at it all the time; it can also move by itself, and when power returns.",
    (
        "Remove or make inaccessible every cord and loop; keep hands, hair, pets and children clear of the "
        "hem bar."
    ),
    "Never use a shade as a guard or a lock, nor on an escape route.",
    "Have a way to cut the motor's power within reach that needs neither board nor network.",
    "Force must be limited by mechanics; software and stall sensing are no protection.",
    "Support the cloth when you work on it: an unpowered motor may let it fall.",
    "A shade outside needs wind protection at its board or wired.",
    (
        "Use a listed limited-power supply, a fuse for each branch, well apart from mains. Local codes, the "
        "landlord's rules and licensed electricians prevail; mains work is never part of this."
    ),
)
TRY_MM = 20.0
MARK_TURNS_MOST = 10
# What reading a pencil mark leaves open, in turns: some 10 degrees.
READING_TURNS = 0.03
# So much of a turn has to be seen before a ratio far from the settings is gone by, and so much further the
# tube is sent at a time until then.
COUNTED_TURNS, MORE_MOST = 0.7, 4.0
NEAR = 1.15


def _ask_promise(_state: State, _stand: Stand) -> Question:
    text = (
        "Before anything moves:",
        *(f"  - {each}" for each in CAUTIONS),
        "",
        "You are asked before every move. Ctrl-C halts one that is under way.",
        "Are you at the shade, is its way clear, and do you stay until this is done or put away?",
    )
    return Question(key="promise", text=text, hint=YES_NO)


def _take_promise(state: State, _stand: Stand, text: str) -> Turn:
    return _promised("promise", state, text)


def _ask_still_here(_state: State, _stand: Stand) -> Question:
    text = (
        "It goes on where it was left. The motor gets its current now; the hem bar may jump by a mm.",
        "Are you at the shade, is its way clear, can you cut its power, and do you stay?",
    )
    return Question(key="still-here", text=text, hint=YES_NO)


def _take_still_here(state: State, _stand: Stand, text: str) -> Turn:
    turn = _promised("still-here", state, text)
    # The next question was on its way: it is asked where it was to be asked.
    return replace(turn, state=replace(turn.state, at=state.at))


def _promised(key: str, state: State, text: str) -> Turn:
    """Go on, awake, when somebody stays at the shade."""
    if not read_yes(key, text):
        return Turn(
            state=state, stop="Nothing has been moved. Come back when somebody can stay at the shade."
        )
    return onward(state, Motion(do=Do.WAKE) if state.facts.two_way else None)


def _ask_measures(state: State, _stand: Stand) -> Question:
    facts = state.facts
    text = (
        "The settings say:",
        (
            f"  tube {facts.tube_mm:g} mm, cloth {facts.cloth_mm:g} mm, drop {facts.drop_mm:g} mm, "
            f"{facts.wraps_left:g} wraps left at the lower limit"
        ),
        (
            f"  {facts.pulses_per_rev} pulses for a turn of the motor, gear {facts.gear}, "
            f"{facts.top_pps} steps/s, {facts.ramp_pps2} steps/s2"
        ),
        (
            "Tube and wraps must be measured and counted; cloth, drop and gear may be guesses, they are "
            "found now."
        ),
        "Is that so, as far as you know?",
    )
    return Question(key="measures", text=text, hint=YES_NO, default="yes")


def _take_measures(state: State, _stand: Stand, text: str) -> Turn:
    if read_yes("measures", text):
        return onward(state)
    return Turn(state=state, stop="Put the right measures into the settings, then begin again.")


def _upward(state: State, stand: Stand) -> bool:
    """Say whether the first move can be upward; a board with ends of its own may stand at its upper one."""
    assert stand.count is not None
    reach = state.facts.reach
    return reach is None or stand.count - steps_of(state, stand, TRY_MM) >= reach[0]


def _ask_direction(state: State, stand: Stand) -> Question:
    way = "rise" if _upward(state, stand) else "sink, since its board stands at its upper end,"
    text = (f"The hem bar is to {way} by some {TRY_MM:g} mm. A hand at the power switch: ready?",)
    return Question(key="direction", text=text, hint=YES_NO, default="yes")


def _take_direction(state: State, stand: Stand, text: str) -> Turn:
    if not read_yes("direction", text):
        return Turn(state=state, stop="Nothing has been moved.")
    assert stand.count is not None
    up = _upward(state, stand)
    way = steps_of(state, stand, TRY_MM)
    to = stand.count - way if up else stand.count + way
    # Downward this short way is attended, and from the upper end of the board's own range.
    known = replace(state, deepest=max(to, stand.count), downward=not up)
    return onward(known, go(known, stand, to))


def _ask_rose(_state: State, _stand: Stand) -> Question:
    return Question(key="rose", text=("Which way did the hem bar go?",), hint="up / down / nothing")


def _take_rose(state: State, stand: Stand, text: str) -> Turn:
    word = text.strip().lower()
    if word not in ("up", "down", "nothing"):
        raise RequestError(
            where="rose", problem=f"{text!r} is no answer", remedy="answer up, down or nothing"
        )
    if word == "nothing":
        said = (
            "Then check, in this order: the driver's supply and fuse, its sleep input, the motor's two coils "
            "on their pairs, the current limit. Support the cloth, and switch off before you touch a plug."
        )
        return onward(detour(state, "direction", "rose"), None, said)
    if (word == "down") == state.downward:
        return onward(state)
    assert stand.count is not None
    way = steps_of(state, stand, TRY_MM)
    back = stand.count - way if state.downward else stand.count + way
    known = replace(state, deepest=max(back, stand.count))
    said = "It is wired the wrong way round. It goes back to where it was."
    return onward(detour(known, "rewired", "direction", "rose"), go(known, stand, back), said)


def _ask_rewired(_state: State, _stand: Stand) -> Question:
    text = (
        "Reversing a motor is the board's setting, never the bridge's: in its board.json give `active` of",
        "`direction` the other level (0 for 1, 1 for 0), copy the file to the board and restart the board.",
        (
            "(On another program: its own setting for the direction. Or switch off and swap the two wires of "
            "one coil.)"
        ),
        "Is it done, and is the board back?",
    )
    return Question(key="rewired", text=text, hint=YES_NO)


def _take_rewired(state: State, _stand: Stand, text: str) -> Turn:
    if not read_yes("rewired", text):
        return Turn(state=state, stop=AWAY)
    return onward(replace(state, deepest=None), Motion(do=Do.WAKE) if state.facts.two_way else None)


def _ask_upper(_state: State, _stand: Stand) -> Question:
    text = (
        "Bring the hem bar to the upper mark: where it hangs when the shade is open. The button at the board",
        "may be used too. Come from below for the last few mm.",
    )
    return Question(key="upper", text=text, hint=JOG_HINT)


def _take_upper(state: State, stand: Stand, text: str) -> Turn:
    turn = jog(state, stand, "upper", text)
    if turn is not None:
        return turn
    return onward(replace(state, upper=stand.count, boot=stand.boot))


def _mark_turns(state: State) -> float:
    """Return how many turns the mark test makes: all that surely stay above the lower limit, ten at most."""
    turns = float(max(1, min(MARK_TURNS_MOST, floor(0.75 * state.facts.roll.total_turns))))
    if state.facts.reach is not None and state.upper is not None:
        room = (state.facts.reach[1] - state.upper) / float(state.facts.drive.pulses_per_turn)
        turns = min(turns, room)
    return turns


def _a_turn(state: State) -> float:
    return float(state.facts.drive.pulses_per_turn)


def _below_upper(state: State, stand: Stand, steps: float) -> Motion:
    assert state.upper is not None
    return go(state, stand, state.upper + round(steps))


def _ask_mark(state: State, _stand: Stand) -> Question:
    text = (
        "The mark test. Draw a line across the tube's end and the bracket beside it.",
        (
            f"The tube makes one turn down first, then {_mark_turns(state):g} in all, by the ratio in the "
            "settings. Ready?"
        ),
    )
    return Question(key="mark", text=text, hint="yes / skip", default="yes")


def _take_mark(state: State, stand: Stand, text: str) -> Turn:
    if text.strip().lower() == "skip":
        rest = tuple(step for step in state.rest if step not in ("first-turn", "made"))
        remark = "The gear ratio was not tried; it is the settings' own."
        return onward(replace(state, rest=rest, remarks=(*state.remarks, remark)))
    if not read_yes("mark", text):
        return Turn(state=state, stop=AWAY)
    return onward(replace(state, sent=1.0), _below_upper(state, stand, _a_turn(state)))


def _ask_first_turn(_state: State, _stand: Stand) -> Question:
    text = ("Roughly how many turns has the tube made in all? 1 when the line is about back.",)
    return Question(key="first-turn", text=text, hint="turns", default="1")


def _take_first_turn(state: State, stand: Stand, text: str) -> Turn:
    made = read_number("first-turn", text, least=0.02, most=20.0)
    a_turn = state.sent / made
    whole = _mark_turns(state) * a_turn
    if made < COUNTED_TURNS and a_turn > NEAR:
        # Too little has been seen to go far by it: on to about one turn, and look again.
        sent = min(MORE_MOST * state.sent, a_turn)
        further = _below_upper(_by_rough_ratio(state, a_turn), stand, sent * _a_turn(state))
        return Turn(state=replace(state, sent=sent, at=further.to), motion=further)
    sent = max(state.sent, whole)
    return onward(
        replace(state, sent=sent), _below_upper(_by_rough_ratio(state, a_turn), stand, sent * _a_turn(state))
    )


def _by_rough_ratio(state: State, a_turn: float) -> State:
    """Return the state with the end of the cloth where the turns that were seen have it.

    Args:
        state: With the ratio of the settings.
        a_turn: Turns by that ratio for one turn of the tube.
    """
    if 1 / NEAR <= a_turn <= NEAR:
        return state
    gear = (state.facts.gear * Fraction(a_turn)).limit_denominator(1000)
    return replace(state, facts=replace(state.facts, gear=gear))


def _ask_made(state: State, _stand: Stand) -> Question:
    text = (
        (
            f"By the ratio in the settings it has now made {state.sent:.2f} turns in all, counted from the "
            "upper mark."
        ),
        (
            "How many has it made by the line? Count whole turns, and the rest as parts of a turn (90 "
            "degrees: 0.25)."
        ),
    )
    return Question(key="made", text=text, hint="turns, to 0.01", default=f"{state.sent:.2f}")


def _take_made(state: State, stand: Stand, text: str) -> Turn:
    made = read_number("made", text, least=0.05 * state.sent, most=20.0 * state.sent)
    assert state.upper is not None
    home = go(state, stand, state.upper)
    if abs(made - state.sent) <= READING_TURNS:
        said = f"The line came back: {state.facts.gear} it is."
        return onward(replace(state, confirmed=True), home, said)
    measured = float(state.facts.gear) * state.sent / made
    short = "short" if made < state.sent else "too far"
    said = (
        f"{abs(state.sent - made):.2f} of a turn {short}: the ratio is not {state.facts.gear} but about "
        f"{measured:.3f}."
    )
    asked = detour(replace(state, ratio=measured), "gear")
    return onward(asked, home, said)


def _offered(state: State) -> tuple[Fraction, ...]:
    return ratio.candidates(state.ratio, tolerance=2 * READING_TURNS / _mark_turns(state))


def _ask_gear(state: State, _stand: Stand) -> Question:
    found = _offered(state)
    text = (
        f"Exact ratios that explain {state.ratio:.3f}, the likeliest first:",
        *(f"  {ratio.in_words(each)}" for each in found),
        "Which is it? Look for the number of teeth in the data sheet if you can.",
    )
    default = str(found[0]) if found else None
    return Question(key="gear", text=text, hint="a fraction", default=default)


def _take_gear(state: State, _stand: Stand, text: str) -> Turn:
    gear = parse_gear(text.strip())
    tolerance = 2 * READING_TURNS / _mark_turns(state)
    if abs(float(gear) / state.ratio - 1) > tolerance:
        raise RequestError(
            where="gear",
            problem=(
                f"{gear} is {float(gear):.3f}, and {state.ratio:.3f} was measured, to {100 * tolerance:.1f} %"
            ),
            remedy="answer one of those above, or `undo` and count the turns again",
        )
    remark = f"The gear in the settings was {state.facts.gear}; the mark test says {ratio.in_words(gear)}."
    facts = replace(state.facts, gear=gear)
    return onward(replace(state, facts=facts, confirmed=True, remarks=(*state.remarks, remark)))


def _ratio_fits(state: State, stand: Stand) -> bool:
    return stand.pulses_per_turn in (None, state.facts.drive.pulses_per_turn)


def _ask_ratio(state: State, stand: Stand) -> Question:
    exact = state.facts.drive.pulses_per_turn
    text = (
        (
            f"The board counts {stand.pulses_per_turn} pulses a turn, and {exact} is right. In its "
            "board.json write"
        ),
        f'  "pulses_per_turn": [{exact.numerator}, {exact.denominator}]',
        "for this channel, copy the file to the board and restart it. Support the cloth meanwhile.",
        "Is it done, and is the board back?",
    )
    return Question(key="ratio", text=text, hint=YES_NO)


def _take_ratio(state: State, stand: Stand, text: str) -> Turn:
    if not read_yes("ratio", text):
        return Turn(state=state, stop=AWAY)
    raise RequestError(
        where="ratio",
        problem=f"the board still says {stand.pulses_per_turn}",
        remedy="copy board.json to it and restart it; the bridge orders no board that counts otherwise",
    )


BEGINNING = {
    "promise": Step(ask=_ask_promise, take=_take_promise),
    "still-here": Step(ask=_ask_still_here, take=_take_still_here),
    "measures": Step(ask=_ask_measures, take=_take_measures),
    "direction": Step(ask=_ask_direction, take=_take_direction),
    "rose": Step(ask=_ask_rose, take=_take_rose),
    "rewired": Step(ask=_ask_rewired, take=_take_rewired),
    "upper": Step(ask=_ask_upper, take=_take_upper),
    "mark": Step(ask=_ask_mark, take=_take_mark),
    "first-turn": Step(ask=_ask_first_turn, take=_take_first_turn),
    "made": Step(ask=_ask_made, take=_take_made),
    "gear": Step(ask=_ask_gear, take=_take_gear),
    "ratio": Step(ask=_ask_ratio, take=_take_ratio, idle=_ratio_fits),
}
