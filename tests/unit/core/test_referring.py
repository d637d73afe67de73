"""A shade in doubt and its reference: by itself only where allowed, asked or not."""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta

from bridge.core.events import Button, Percent, Press, Refer, Switch, Switched
from bridge.core.position.estimate import Grade
from bridge.core.referring import AGAIN_AFTER
from bridge.core.surroundings import Quiet, Restraint
from tests.small_house import BEGAN, SmallHouse, demo_spec


def doubtful_study(*, allowed: bool = True, quiet: Quiet | None = None, paused: bool = False) -> SmallHouse:
    """A house whose study has lost power on its way down, and got it back."""
    spec = demo_spec()
    shades = tuple(replace(each, refers_by_itself=allowed, hold_s=0.0) for each in spec.shades)
    spec = replace(spec, shades=shades, restraint=Restraint(quiet=quiet))
    house = SmallHouse(spec=spec)
    house.run(1)
    house.ask("study", Press(button=Button.UP))
    house.run(40)
    house.ask("study", Percent(open_pct=40))
    house.run(4)
    house.lose_power("attic-board")
    house.run(3)
    if paused:
        house.take(Switched(at=house.at, switch=Switch.PAUSE, on=True, source="a test"))
    house.give_power("attic-board")
    return house


def test_a_doubtful_shade_that_may_finds_its_switch_and_comes_back_to_where_it_was_wanted() -> None:
    house = doubtful_study()
    house.run(60)
    shown = house.shown("study")
    assert shown.grade in (Grade.REFERENCED, Grade.RECKONED)
    assert shown.position_pct == 40
    assert house.claim_holds("study")
    assert "the bridge" in shown.reason


def test_without_its_owners_word_it_stays_where_it_is_and_asks() -> None:
    house = doubtful_study(allowed=False)
    before = house.tube("study").drop_mm
    house.run(60)
    assert house.tube("study").drop_mm == before
    assert any(alert.id == "reference" for alert in house.shown("study").alerts)


def test_in_quiet_hours_it_waits() -> None:
    local = BEGAN.time()
    house = doubtful_study(quiet=Quiet(begins=local, ends=time(local.hour + 1)))
    before = house.tube("study").drop_mm
    house.run(600)
    assert house.tube("study").drop_mm == before
    assert house.shown("study").grade is Grade.DOUBTFUL
    house.run(3600)
    assert house.shown("study").position_pct == 40


def test_a_pause_holds_it_back_until_it_ends() -> None:
    house = doubtful_study(paused=True)
    house.run(30)
    assert house.shown("study").grade is Grade.DOUBTFUL
    house.take(Switched(at=house.at, switch=Switch.PAUSE, on=False, source="a test"))
    house.run(60)
    assert house.shown("study").position_pct == 40


def test_what_failed_is_not_tried_again_the_same_day() -> None:
    spec = demo_spec()
    shades = tuple(replace(each, refers_by_itself=True, hold_s=0.0) for each in spec.shades)
    house = SmallHouse(spec=replace(spec, shades=shades), stuck_open=("study",))
    house.run(120)
    begun = [note for note in house.said("shade.reference.begun") if note.shade == "study"]
    assert len(begun) == 1
    house.now_s += (AGAIN_AFTER + timedelta(minutes=1)).total_seconds()
    house.run(60)
    begun = [note for note in house.said("shade.reference.begun") if note.shade == "study"]
    assert len(begun) == 2


def test_anybody_can_ask_for_a_reference_and_it_comes_back() -> None:
    house = doubtful_study(allowed=False)
    house.ask("study", Refer())
    house.run(60)
    assert house.shown("study").position_pct == 40
    assert house.shown("study").grade in (Grade.REFERENCED, Grade.RECKONED)


def test_a_shade_that_feels_nothing_refuses_and_says_why() -> None:
    house = SmallHouse()
    house.ask("landing", Refer())
    ended = house.said("request.ended")[-1]
    assert "neither an upper switch" in str(dict(ended.fields)["why"])
