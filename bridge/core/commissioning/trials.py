"""The steps that try what was found: upper switch, speed and ramp, holding at several heights, last look."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

from bridge.core.commissioning.asking import AWAY, YES_NO, Step, detour, off_mark, onward, yes_or_skip
from bridge.core.commissioning.holding import HELD_MM, holds_at, map_in_words
from bridge.core.commissioning.moving import below, count_at, drop_mm, gentle_pps, go, steps_of
from bridge.core.commissioning.state import Motion, Question, Stand, State, Turn, read_number, read_yes
from bridge.core.contract import Do, Sense, Why
from bridge.core.errors import RequestError
from bridge.core.shade.profile import move_profile

# Below the switch before it is sought, and how fast.
SWITCH_ROOM_MM = 30.0
SPEED_SHARE = 0.6
SLOWER = 0.75
# What a hand on a watch leaves open, and what the bridge allows a board's pace anyway.
WATCH_S, PACE = 0.7, 0.05
OFF_MM = 2.0


# The upper switch.


def _no_switch(_state: State, stand: Stand) -> bool:
    return Sense.UPPER_SWITCH not in stand.senses


def _ask_switch(_state: State, _stand: Stand) -> Question:
    text = (
        (
            f"The board feels an upper switch. The hem bar goes to {SWITCH_ROOM_MM:g} mm below the upper "
            "mark first, then "
            "creeps up to the switch. Is the way clear?"
        ),
    )
    return Question(key="switch", text=text, hint="yes / skip", default="yes")


def _take_switch(state: State, stand: Stand, text: str) -> Turn:
    if not yes_or_skip("switch", text):
        rest = tuple(step for step in state.rest if step not in ("seek", "met"))
        return onward(replace(state, rest=rest))
    return onward(state, go(state, stand, count_at(state, SWITCH_ROOM_MM)))


def _ask_seek(state: State, _stand: Stand) -> Question:
    most = SWITCH_ROOM_MM + state.facts.overrun_mm
    text = (f"Now up, slowly, {most:.0f} mm at most. Be ready to cut the power. Go?",)
    return Question(key="seek", text=text, hint="yes / skip", default="yes")


def _take_seek(state: State, stand: Stand, text: str) -> Turn:
    if not yes_or_skip("seek", text):
        rest = tuple(step for step in state.rest if step != "met")
        return onward(replace(state, rest=rest))
    most = steps_of(state, stand, SWITCH_ROOM_MM + state.facts.overrun_mm)
    pps = max(1, gentle_pps(state.facts) // 3)
    return onward(state, Motion(do=Do.SEEK, at_most=most, pps=pps, ramp=state.facts.ramp_pps2))


def _ask_met(state: State, stand: Stand) -> Question:
    if stand.why is not Why.UPPER_SWITCH:
        text = "It did not meet the switch. Look at its wire, its place and overrun_mm; again, or without it?"
        return Question(key="met", text=(text,), hint="again / without")
    at = drop_mm(state, below(state, stand))
    where = f"{-at:.1f} mm above" if at <= 0 else f"{at:.1f} mm below"
    text = f"The switch closed {where} the upper mark. Is that where the hem bar hangs?"
    return Question(key="met", text=(text,), hint="yes / again / without", default="yes")


def _take_met(state: State, stand: Stand, text: str) -> Turn:
    word = text.strip().lower()
    assert state.upper is not None
    home = go(state, stand, state.upper)
    if word == "again":
        return onward(detour(state, "switch", "seek", "met"), home)
    if word == "without":
        return onward(replace(state, facts=replace(state.facts, upper_switch_mm=None)), home)
    if word not in ("yes", "y") or stand.why is not Why.UPPER_SWITCH:
        raise RequestError(
            where="met", problem=f"{text!r} is no answer here", remedy="answer again or without"
        )
    at = round(drop_mm(state, below(state, stand)), 1)
    return onward(replace(state, facts=replace(state.facts, upper_switch_mm=at)), home)


# Speed and ramp.


def _own_speed(state: State, _stand: Stand) -> bool:
    return not state.facts.two_way


def _ask_speed(state: State, _stand: Stand) -> Question:
    facts = state.facts
    text = (
        (
            f"Speed and ramp: it runs down {100 * SPEED_SHARE:.0f} % of the drop and up again. Answer "
            "steps/s and "
            "steps/s2, as in: 3000 4000"
        ),
    )
    return Question(
        key="speed", text=text, hint="steps/s steps/s2", default=f"{facts.top_pps} {facts.ramp_pps2}"
    )


def _take_speed(state: State, stand: Stand, text: str) -> Turn:
    words = text.split()
    if len(words) != 2:
        raise RequestError(
            where="speed", problem=f"{text!r} is not two numbers", remedy="answer as in: 3000 4000"
        )
    pps = round(read_number("speed", words[0], least=1, most=200_000))
    ramp = round(read_number("speed", words[1], least=1, most=10_000_000))
    changed = replace(state, facts=replace(state.facts, top_pps=pps, ramp_pps2=ramp))
    down = go(changed, stand, count_at(changed, SPEED_SHARE * changed.facts.drop_mm), pps=pps)
    return onward(changed, down)


def _ask_back(_state: State, _stand: Stand) -> Question:
    return Question(key="back", text=("And up again?",), hint=YES_NO, default="yes")


def _take_back(state: State, stand: Stand, text: str) -> Turn:
    if not read_yes("back", text):
        return Turn(state=state, stop=AWAY)
    assert state.upper is not None
    return onward(state, go(state, stand, state.upper, pps=state.facts.top_pps))


def _ask_clean(_state: State, _stand: Stand) -> Question:
    text = ("Did it run evenly both ways, and does the hem bar hang at the upper mark again, within 2 mm?",)
    return Question(key="clean", text=text, hint=YES_NO)


def _take_clean(state: State, _stand: Stand, text: str) -> Turn:
    if read_yes("clean", text):
        return onward(state)
    facts = state.facts
    slower = replace(facts, top_pps=max(1, round(SLOWER * facts.top_pps)))
    said = f"Then it may have lost steps. Bring it to the upper mark again, and try {slower.top_pps} steps/s."
    again = detour(replace(state, facts=slower), "upper", "speed", "back", "clean")
    return onward(again, None, said)


# The speed of a board that never tells: by a person's watch.


def _tells(state: State, _stand: Stand) -> bool:
    return state.facts.two_way


def _ask_watch(state: State, stand: Stand) -> Question:
    way = "up" if _timed_end(state, stand) == state.upper else "down"
    text = (
        "The board runs at a speed of its own; where it is on the way is reckoned from that. Take a watch.",
        f"It runs {way} a good part of the drop; time it from its first move to its last. Go?",
    )
    return Question(key="watch", text=text, hint="yes / skip", default="yes")


def _take_watch(state: State, stand: Stand, text: str) -> Turn:
    if not yes_or_skip("watch", text):
        rest = tuple(step for step in state.rest if step != "timed")
        return onward(replace(state, rest=rest))
    assert stand.count is not None
    there = go(state, stand, _timed_end(state, stand))
    return onward(replace(state, way=abs(there.to - stand.count)), there)


def _timed_end(state: State, stand: Stand) -> int:
    """Return the count to which the timed move leads: the upper mark when it is far enough, else down."""
    assert state.upper is not None
    down = count_at(state, SPEED_SHARE * state.facts.drop_mm)
    return state.upper if below(state, stand) > (down - state.upper) / 2 else down


def _seconds(state: State) -> float:
    facts = state.facts
    return move_profile(steps=state.way, top_pps=facts.top_pps, ramp_pps2=facts.ramp_pps2).duration_s


def _ask_timed(state: State, _stand: Stand) -> Question:
    text = (f"How many seconds did it run? By the settings {_seconds(state):.1f} s.",)
    return Question(key="timed", text=text, hint="s", default=f"{_seconds(state):.1f}")


def _take_timed(state: State, _stand: Stand, text: str) -> Turn:
    took_s = read_number("timed", text, least=0.5, most=3600, unit="s")
    facts, told_s = state.facts, _seconds(state)
    if abs(took_s - told_s) <= max(WATCH_S, PACE * told_s):
        return onward(state)
    pps = top_pps(state.way, took_s=took_s, ramp_pps2=facts.ramp_pps2)
    remark = f"It ran {took_s:g} s where the settings say {told_s:.1f} s: {pps} steps/s, not {facts.top_pps}."
    changed = replace(facts, top_pps=pps)
    return onward(replace(state, facts=changed, remarks=(*state.remarks, remark)), None, remark)


def top_pps(steps: int, *, took_s: float, ramp_pps2: int) -> int:
    """Return the top speed, in steps a second, at which a move of `steps` > 0 takes so long.

    Raises:
        RequestError: it would take longer even without a top speed.

    Source:
        A trapezoid takes t = d/v + v/a; its smaller root in v.
    """
    root = took_s * took_s - 4 * steps / ramp_pps2
    if root < 0:
        raise RequestError(
            where="timed",
            problem=f"with a ramp of {ramp_pps2} steps/s2 it can't be there in {took_s:g} s",
            remedy="time it again (undo), or correct ramp_pps2 in the settings",
        )
    return max(1, round(ramp_pps2 * (took_s - sqrt(root)) / 2))


# Holding.


def _no_holding(state: State, _stand: Stand) -> bool:
    return not state.heights or not state.facts.sleeps


def _ask_hold(state: State, _stand: Stand) -> Question:
    height = state.heights[0]
    expected = "holds" if holds_at(state.facts, height) else "does not hold"
    text = (
        f"Does the unpowered motor hold the cloth at {height:g} % open? {map_in_words(state.facts)}",
        f"By that it {expected} there. It goes there awake; support the hem bar before you let it sleep.",
    )
    default = "yes" if expected == "holds" else "skip"
    return Question(key=f"hold-{height:g}", text=text, hint="yes / skip", default=default)


def _take_hold(state: State, stand: Stand, text: str) -> Turn:
    height, *left = state.heights
    after = replace(state, heights=tuple(left), height=height)
    if not yes_or_skip(f"hold-{height:g}", text):
        more = detour(after, "hold") if left else after
        return onward(more)
    steps = ("asleep", "creep") if state.facts.two_way else ("creep",)
    there = count_at(state, state.facts.roll.drop_at_percent(height))
    return onward(detour(after, *steps), go(state, stand, there))


def _ask_asleep(state: State, _stand: Stand) -> Question:
    text = ("A hand under the hem bar, without lifting it. Take the current off now?",)
    return Question(key=f"asleep-{state.height:g}", text=text, hint=YES_NO, default="yes")


def _take_asleep(state: State, _stand: Stand, text: str) -> Turn:
    if not read_yes("asleep", text):
        return Turn(state=state, stop=AWAY)
    return onward(state, Motion(do=Do.SLEEP))


def _ask_creep(state: State, _stand: Stand) -> Question:
    text = (
        "Watch it for half a minute. By how many mm has it sunk, or did it pull your hand? 0 when it stays.",
    )
    return Question(key=f"creep-{state.height:g}", text=text, hint="mm", default="0")


def _take_creep(state: State, _stand: Stand, text: str) -> Turn:
    assert state.height is not None
    sank = read_number("creep", text, least=0, most=15000, unit="mm")
    after = replace(state, tried=(*state.tried, (state.height, sank)), height=None)
    more = detour(after, "hold") if after.heights else after
    wake = Motion(do=Do.WAKE) if state.facts.two_way else None
    if sank <= HELD_MM:
        return onward(more, wake)
    said = [
        (
            "It does not hold there, so the count no longer tells where it hangs: bring it to the upper mark "
            "again."
        )
    ]
    if holds_at(state.facts, state.height):
        said.append(
            f"The holding map says otherwise at {state.height:g} %: friction, weight or detent differ."
        )
    return onward(replace(detour(more, "upper"), upper=None), wake, *said)


# The last look.


def _ask_home(state: State, _stand: Stand) -> Question:
    text = (f"It goes to the upper limit at {state.facts.top_pps} steps/s. Go?",)
    return Question(key="home", text=text, hint=YES_NO, default="yes")


def _take_home(state: State, stand: Stand, text: str) -> Turn:
    if not read_yes("home", text):
        return Turn(state=state, stop=AWAY)
    assert state.upper is not None
    return onward(state, go(state, stand, state.upper, pps=state.facts.top_pps))


def _take_check(state: State, stand: Stand, text: str) -> Turn:
    off = read_number("check", text, least=-500, most=500, unit="mm")
    assert state.upper is not None
    if abs(off) <= OFF_MM:
        return onward(state)
    remark = (
        f"After all moves the hem bar hung {off:+g} mm from the upper mark: steps are lost, or the "
        "cloth slips."
    )
    upper = state.upper - steps_of(state, stand, off)
    return onward(replace(state, upper=upper, remarks=(*state.remarks, remark)), None, remark)


def _ask_finish(state: State, _stand: Stand) -> Question:
    facts = state.facts
    text = (
        (
            f"Found: tube {facts.tube_mm:g} mm, cloth {facts.cloth_mm:g} mm, drop {facts.drop_mm:g} mm, "
            f"{facts.wraps_left:g} wraps left, gear {facts.gear}, {facts.top_pps} steps/s, {facts.ramp_pps2} "
            "steps/s2."
        ),
        *(f"  - {each}" for each in state.remarks),
        "Write this to the settings? Their comments are kept, and the old file beside them.",
    )
    return Question(key="finish", text=text, hint=YES_NO, default="yes")


def _take_finish(state: State, _stand: Stand, text: str) -> Turn:
    if not read_yes("finish", text):
        return Turn(state=state, stop=AWAY)
    return Turn(state=replace(state, step="done", rest=(), at=None))


def _ask_check(_state: State, _stand: Stand) -> Question:
    return off_mark("check", "upper")


TRIALS = {
    "switch": Step(ask=_ask_switch, take=_take_switch, idle=_no_switch),
    "seek": Step(ask=_ask_seek, take=_take_seek, idle=_no_switch),
    "met": Step(ask=_ask_met, take=_take_met, idle=_no_switch),
    "speed": Step(ask=_ask_speed, take=_take_speed, idle=_own_speed),
    "back": Step(ask=_ask_back, take=_take_back, idle=_own_speed),
    "clean": Step(ask=_ask_clean, take=_take_clean, idle=_own_speed),
    "watch": Step(ask=_ask_watch, take=_take_watch, idle=_tells),
    "timed": Step(ask=_ask_timed, take=_take_timed, idle=_tells),
    "hold": Step(ask=_ask_hold, take=_take_hold, idle=_no_holding),
    "asleep": Step(ask=_ask_asleep, take=_take_asleep),
    "creep": Step(ask=_ask_creep, take=_take_creep),
    "home": Step(ask=_ask_home, take=_take_home),
    "check": Step(ask=_ask_check, take=_take_check),
    "finish": Step(ask=_ask_finish, take=_take_finish),
}
