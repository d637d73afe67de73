"""What the steps of a commissioning share: their form, the way on, and answers that many of them take."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from bridge.core.commissioning.state import Motion, Question, Stand, State, Turn, read_yes
from bridge.core.contract import Do
from bridge.core.errors import RequestError

YES_NO = "yes / no"
AWAY = "Put away; it goes on here next time."


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step: its question, and what an answer leads to.

    Attributes:
        ask: The question, for where the shade stands.
        take: What an answer leads to; raises RequestError for one that can't be.
        idle: Whether there is nothing to ask.
    """

    ask: Callable[[State, Stand], Question]
    take: Callable[[State, Stand, str], Turn]
    idle: Callable[[State, Stand], bool] = lambda _state, _stand: False


def onward(state: State, motion: Motion | None = None, *said: str) -> Turn:
    """Return the turn to the next step, its question asked where `motion` leads."""
    at = motion.to if motion is not None and motion.do is Do.GO else None
    step, *rest = state.rest
    return Turn(state=replace(state, step=step, rest=tuple(rest), at=at), motion=motion, said=said)


def detour(state: State, *steps: str) -> State:
    """Return the state with other steps ahead of the rest."""
    return replace(state, rest=(*steps, *state.rest))


def yes_or_skip(key: str, text: str) -> bool:
    """Return whether an answer is yes; False for skip."""
    return text.strip().lower() != "skip" and _agreed(key, text)


def _agreed(key: str, text: str) -> bool:
    if not read_yes(key, text):
        raise RequestError(where=key, problem="nothing has been moved", remedy="answer yes, skip or quit")
    return True


def off_mark(key: str, limit: str) -> Question:
    """Return the question of how far from a mark the hem bar hangs."""
    text = (f"By how many mm does the hem bar hang below the {limit} mark? Negative above it.",)
    return Question(key=key, text=text, hint="mm", default="0")
