"""One commissioning in the core against a true shade, no time and no wire between."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from random import Random

from bridge.core.commissioning import courses
from bridge.core.commissioning.courses import Purpose
from bridge.core.commissioning.state import Facts, Motion, Question, Stand, State
from bridge.core.contract import Do, Sense, Why
from bridge.simulate.build import Build
from bridge.simulate.truth import Tube
from tests.person_at_shade import Person

BUILD = Build(
    tube_mm=38.2,
    cloth_mm=0.46,
    drop_mm=1320.0,
    wraps_left=1.6,
    start_mm=500.0,
    gear=Fraction(57, 11),
    upper_switch_mm=-5.3,
    slip_move_mm=0.05,
    slip_turn_mm=0.02,
)
FACTS = Facts(
    tube_mm=38.0,
    cloth_mm=0.5,
    drop_mm=1300.0,
    wraps_left=1.6,
    pulses_per_rev=800,
    gear=Fraction(57, 11),
    full_steps_per_rev=200,
    top_pps=3000,
    ramp_pps2=3000,
    holds=((0.0, 100.0),),
    overrun_mm=10.0,
    upper_switch_mm=-4.0,
    two_way=True,
    sleeps=True,
)
# More questions than any commissioning needs: beyond them one is asked for ever.
MOST = 200


@dataclass
class Bench:
    """A shade, its board, and the person; `run` goes through all questions."""

    build: Build = BUILD
    facts: Facts = FACTS
    purpose: Purpose = Purpose.WHOLE
    backwards: bool = False
    board_ratio: Fraction | None = None
    fixed: dict[str, str] = field(default_factory=dict)
    boot: int = 7
    count: int | None = 1000
    why: Why = Why.TOLD
    said: list[str] = field(default_factory=list)
    motions: list[Motion] = field(default_factory=list)
    stopped: str = ""

    def __post_init__(self) -> None:
        self.tube = Tube.new(self.build, Random(3))
        self.state: State = courses.begin(self.facts, self.purpose)
        self.person = Person(
            build=self.build,
            drop_mm=lambda: self.tube.drop_mm,
            turns=lambda: self.tube.turns,
            rewire=self._rewire,
            reprogram=self._reprogram,
            fixed=self.fixed,
        )

    @property
    def stand(self) -> Stand:
        senses = () if self.build.upper_switch_mm is None else (Sense.UPPER_SWITCH,)
        return Stand(
            count=self.count,
            boot=self.boot,
            awake=self.tube.state.energised,
            why=self.why,
            senses=senses if self.facts.two_way else (),
            pulses_per_turn=self.board_ratio,
        )

    def restart(self) -> None:
        """The board loses its power and comes back, its count kept."""
        self.tube.cut()
        self.tube.power_up()
        self.boot += 1

    def _rewire(self) -> None:
        self.backwards = False
        self.restart()

    def _reprogram(self) -> None:
        self.board_ratio = self.state.facts.drive.pulses_per_turn
        self.restart()

    def question(self) -> Question:
        self.state = courses.settled(self.state, self.stand)
        return courses.question(self.state, self.stand)

    def answer(self, text: str) -> None:
        turn = courses.reply(self.state, self.stand, text)
        self.state, self.stopped = turn.state, turn.stop
        self.said += turn.said
        if turn.motion is not None:
            self.obey(turn.motion)

    def step(self) -> str:
        """Answer one question as the person does; returns its key."""
        question = self.question()
        text = self.person.answer(question.key) or question.default or ""
        self.answer(text)
        return question.key

    def run(self, until: str = "done") -> None:
        for _ in range(MOST):
            self.state = courses.settled(self.state, self.stand)
            if self.state.step == until:
                return
            self.step()
            assert not self.stopped, self.stopped
        raise AssertionError(f"after {MOST} questions: {self.person.asked[-10:]}")

    def rehearsed(self) -> dict[str, list[str]]:
        """Go through all questions; what was answered to each key, in turn."""
        said: dict[str, list[str]] = {}
        self.state = courses.settled(self.state, self.stand)
        while self.state.step != "done":
            question = self.question()
            text = self.person.answer(question.key) or question.default or ""
            said.setdefault(question.key, []).append(text)
            self.answer(text)
            self.state = courses.settled(self.state, self.stand)
        return said

    def obey(self, motion: Motion) -> None:
        self.motions.append(motion)
        self.why = Why.ARRIVED
        if motion.do is Do.SLEEP:
            self.tube.cut()
            return
        self.tube.energise()
        self.count = 0 if self.count is None else self.count
        if motion.do is Do.GO:
            assert motion.low <= motion.to <= motion.high
            self.drive(motion.to - self.count, motion.pps)
        elif motion.do is Do.SEEK:
            self._seek(motion)

    def drive(self, steps: int, pps: float) -> None:
        assert self.count is not None
        self.tube.begin_move()
        self.tube.drive(-steps if self.backwards else steps, pps)
        self.count += steps
        assert not self.tube.wrong_way

    def _seek(self, motion: Motion) -> None:
        self.why = Why.NOT_FOUND
        for _ in range(motion.at_most):
            if self.tube.upper_closed:
                self.why = Why.UPPER_SWITCH
                return
            self.drive(-1, motion.pps)

    def error_mm(self, open_pct: float) -> float:
        """How far off the hem bar would hang at a percent, by the measures found and the place found."""
        facts, state = self.state.facts, self.state
        assert state.upper is not None
        assert self.count is not None
        steps = state.upper + round(facts.travel.steps_at_percent(open_pct)) - self.count
        twin = self.tube.twin()
        twin.energise()
        twin.drive(steps, 1000)
        return twin.drop_mm - self.build.drop_mm * (1 - open_pct / 100)


def with_facts(**changed: object) -> Facts:
    return replace(FACTS, **changed)  # type: ignore[arg-type]  # fields by name
