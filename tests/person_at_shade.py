"""A person with a tape measure at a shade that is being commissioned: sees the truth to a mm, and answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from bridge.simulate.build import Build

EYE_MM = 0.4


@dataclass
class Person:
    """Answers by the key of a question.

    Attributes:
        build: The shade as it really is; its marks are at 0 and at its drop.
        drop_mm: Where the hem bar hangs now.
        turns: How many turns the tube has made from the upper limit, by its mark.
        rewire: What is done at the board when the motor runs the wrong way.
        reprogram: What is done at the board when it counts otherwise.
        fixed: Answers that do not follow from the window.
    """

    build: Build
    drop_mm: Callable[[], float]
    turns: Callable[[], float]
    rewire: Callable[[], None] = lambda: None
    reprogram: Callable[[], None] = lambda: None
    fixed: dict[str, str] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    _hung_mm: float = 0.0
    _turned: float = 0.0
    _jogged: tuple[float, float] = (0.0, 0.0)
    _share: float = 1.0

    def answer(self, key: str) -> str:
        """Return what the person says; "" takes what is proposed."""
        self.asked.append(key)
        if key in self.fixed:
            return self.fixed[key]
        before, self._hung_mm = self._hung_mm, self.drop_mm()
        if key == "rose":
            return "up" if self._hung_mm < before else "down"
        says: dict[str, Callable[[], str]] = {
            "promise": lambda: "yes",
            "still-here": lambda: "yes",
            "clean": lambda: "yes",
            "rewired": lambda: self._done(self.rewire),
            "ratio": lambda: self._done(self.reprogram),
            "upper": lambda: self._jog(0.0),
            "lower": lambda: self._jog(self.build.drop_mm),
            "mark": self._marked,
            "first-turn": lambda: f"{self.turns() - self._turned:.1f}",
            "made": lambda: f"{self.turns() - self._turned:.2f}",
            "drop": lambda: f"{round(self._hung_mm)}",
            "part": lambda: f"{round(self._hung_mm)}",
            "check": lambda: f"{round(self._hung_mm)}",
            "seen": lambda: f"{round(self._hung_mm - self.build.drop_mm)}",
        }
        return says[key]() if key in says else ""

    @staticmethod
    def _done(work: Callable[[], None]) -> str:
        work()
        return "yes"

    def _marked(self) -> str:
        self._turned = self.turns()
        return "yes"

    def _jog(self, mark_mm: float) -> str:
        """Ask for a move; one that led too far or not far enough is learnt from."""
        hung, (asked, began) = self._hung_mm, self._jogged
        if asked and abs(hung - began) > 1:
            self._share = min(max((hung - began) / asked, 0.05), 20.0)
        off = hung - mark_mm
        if abs(off) <= EYE_MM:
            self._jogged = (0.0, 0.0)
            return "here"
        mm = min(max(abs(off) / self._share, 0.1), 300.0 if off > 0 else 100.0)
        self._jogged = (-mm if off > 0 else mm, hung)
        return f"up {mm:.1f}" if off > 0 else f"down {mm:.1f}"
