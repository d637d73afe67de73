from dataclasses import replace

import pytest

from bridge.core.command.goals import Goal, Refusal, can_feel_the_top, resolve, target_of, top_sense
from bridge.core.contract import Sense
from bridge.core.events import Button, Nudge, Percent, Press, Release
from bridge.core.spec import Reference
from tests.unit.core.bench import SPEC, Bench

LOWER = SPEC.travel.lower_steps


def test_percent_open_is_a_position() -> None:
    shade = Bench().known_at_top().shade
    goal = resolve(shade, Percent(open_pct=0))
    assert isinstance(goal, Goal)
    assert (goal.at, goal.target_pct, goal.reference) == (LOWER, 0, False)


def test_down_is_the_lower_limit_and_up_the_upper() -> None:
    shade = Bench().known_at_top().shade
    down, up = (resolve(shade, Press(button=button)) for button in (Button.DOWN, Button.UP))
    assert isinstance(down, Goal)
    assert isinstance(up, Goal)
    assert (down.at, up.target_pct) == (LOWER, 100)


def test_from_nowhere_only_up_leads_on_and_that_by_a_reference_run() -> None:
    shade = Bench().in_conversation(awake=False).shade
    up = resolve(shade, Press(button=Button.UP))
    assert isinstance(up, Goal)
    assert up.reference
    for want in (Percent(open_pct=40), Nudge(by_pct=-5), Press(button=Button.DOWN)):
        assert isinstance(resolve(shade, want), Refusal)


def test_from_nowhere_without_a_sense_a_person_is_needed() -> None:
    shade = Bench(upper_switch=None).in_conversation(awake=False).shade
    refusal = resolve(shade, Press(button=Button.UP))
    assert isinstance(refusal, Refusal)
    assert "confirm" in refusal.why


def test_a_switch_goes_before_a_stall() -> None:
    stall = Reference(at_mm=-20.0, repeatability_mm=1.0)
    both = Bench(upper_stall=stall).in_conversation(senses=(Sense.UPPER_SWITCH, Sense.STALL)).shade
    assert top_sense(both) is Sense.UPPER_SWITCH
    broken = replace(both, spec=replace(both.spec, upper_switch=None))
    assert top_sense(broken) is Sense.STALL
    assert not can_feel_the_top(replace(broken, spec=replace(broken.spec, upper_stall=None)))


@pytest.mark.parametrize(
    ("want", "target"),
    [
        (Percent(open_pct=30), 30),
        (Press(button=Button.UP), 100),
        (Press(button=Button.DOWN), 0),
        (Press(button=Button.STOP), None),
        (Nudge(by_pct=5), None),
        (Release(), None),
    ],
)
def test_the_target_of_a_group_is_what_all_of_it_was_asked(want: object, target: int | None) -> None:
    assert target_of(want) == target  # type: ignore[arg-type]  # the parameters are of one union
