"""A retract that fails: how often it is tried again, what people are told, and what brings it back soon."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise

import pytest

from bridge.core.contract import Link, Why
from bridge.core.events import Button, Press
from bridge.core.outcome import Level
from bridge.core.retracting import LONGEST_S, pause_s
from bridge.core.surroundings import Restraint
from bridge.core.values import Moment
from tests.scene import EPOCH, FakeBoard, house_spec, shade_spec
from tests.weather import AZORES, WINDOW, Weather, choice, sensor

UP = Press(button=Button.UP)


class Stuck(FakeBoard):
    """A board whose upper switch never closes: a seek runs to its bound."""

    sticks = True

    def arrive(self) -> object:  # type: ignore[override]  # the same report, with another end
        seeking, report = self.seeks, super().arrive()
        if not seeking or not self.sticks:
            return report
        self.n -= 1
        return self.report(Why.NOT_FOUND)


@dataclass
class Stepped(Weather):
    """A scene whose wall clock can be set; monotonic time goes on."""

    wall_s: float = 0.0

    @property
    def at(self) -> Moment:
        return Moment(utc=EPOCH + timedelta(seconds=self.now_s + self.wall_s), mono_s=self.now_s)


def gale(board: Callable[..., FakeBoard] = Stuck) -> Stepped:
    """A gust has just come, at a shade whose switch has stopped closing; every `up` looks for it."""
    asked = (choice("wind", gust_limit_mps=10.0), choice("rain"))
    shade = shade_spec("landing", rules=asked, window=WINDOW, tolerance_mm=0.5)
    sensors = sensor("gust", stale_s=1e7), sensor("rain", stale_s=1e7)
    spec = house_spec(shade, site=AZORES, sensors=sensors, restraint=Restraint(dwell_s=0.0))
    scene = Stepped(spec)
    scene.begin()
    scene.say("rain", 0.0)
    scene.hold_at("gust", 3.0, 1000)
    scene.ask("landing", 20)
    scene.run(60)
    before = scene.boards["landing"]
    scene.boards["landing"] = board(**{name: getattr(before, name) for name in before.__dataclass_fields__})
    scene.notes.clear()
    scene.starts.clear()
    scene.say("gust", 12.0)
    return scene


def blow(scene: Weather, for_s: float) -> None:
    scene.hold_at("gust", 12.0, for_s, every_s=20)


def test_a_switch_that_sticks_is_not_run_against_once_a_minute_for_hours() -> None:
    scene = gale()
    blow(scene, 3 * 3600)
    times = [at_s - scene.starts[0][0] for at_s, _ in scene.starts]
    waits = [later - sooner for sooner, later in pairwise(times)]
    assert waits[:4] == pytest.approx([60, 120, 240, 480], abs=25)
    assert all(wait == pytest.approx(LONGEST_S, abs=25) for wait in waits[4:])
    assert len(times) < 18


def test_people_are_told_once_what_to_do() -> None:
    scene = gale()
    blow(scene, 3300)
    (told,) = scene.told("shade.retract.failing")
    assert told.level is Level.ERROR
    assert told.text.startswith("it must be up (gust 12.0 m/s (force 6); your limit is 10.0 m/s) and can't")
    assert "look at the switch; raise it by hand" in told.text
    assert "look at the switch" in scene.shade("landing").trouble


def test_a_word_of_its_board_brings_the_next_try_soon_and_the_promise_is_kept() -> None:
    scene = gale()
    blow(scene, 3600)
    scene.starts.clear()
    board = scene.boards["landing"]
    assert isinstance(board, Stuck)
    board.sticks = False
    scene.tell("landing", board.report(Why.TOLD))  # somebody has mended the switch and tried it
    blow(scene, 90)
    assert len(scene.starts) >= 1
    assert scene.open_pct("landing") == 100
    assert scene.shade("landing").ruling.tries == 0


def test_a_board_that_babbles_is_not_sent_off_more_often_than_once_a_minute() -> None:
    scene = gale()
    for _ in range(360):
        if not scene.boards["landing"].moving:
            scene.tell("landing", scene.boards["landing"].report(Why.TOLD))
        scene.run(10)
    assert len(scene.starts) <= 3600 / 60 + 1


def test_a_board_that_was_away_is_sent_up_as_soon_as_it_is_back() -> None:
    scene = gale(FakeBoard)
    scene.run(3)
    scene.link("landing", Link.LOST)
    blow(scene, 3 * 3600)
    scene.starts.clear()
    scene.link("landing", Link.UP)
    blow(scene, 60)
    assert scene.open_pct("landing") == 100


def test_another_guard_that_wants_it_up_brings_the_next_try_soon() -> None:
    scene = gale()
    blow(scene, 1200)
    waits = scene.shade("landing").ruling.again_at
    scene.say("gust", 12.5)
    assert scene.shade("landing").ruling.again_at == waits, "more of the same wind is no news"
    scene.starts.clear()
    scene.say("rain", 1.0)
    scene.run(1)
    assert len(scene.starts) == 1


def test_a_person_s_stop_is_no_failure() -> None:
    scene = gale(FakeBoard)
    scene.run(2)
    scene.ask("landing", Press(button=Button.STOP))
    blow(scene, 120)
    assert scene.told("shade.retract.failing") == []
    assert scene.open_pct("landing") == 100


def test_a_clock_that_is_set_back_does_not_keep_a_shade_down() -> None:
    scene = gale()
    blow(scene, 3600)
    board = scene.boards["landing"]
    assert isinstance(board, Stuck)
    board.sticks, scene.wall_s = False, -365 * 86400.0
    blow(scene, 60)
    assert scene.open_pct("landing") == 100


@pytest.mark.parametrize("wall_s", [-365 * 86400.0, 365 * 86400.0, 600.0])
def test_a_clock_that_is_set_changes_nothing_of_how_long_ago_a_gust_was(wall_s: float) -> None:
    scene = gale(FakeBoard)
    scene.run(30)
    scene.hold_at("gust", 3.0, 300)
    scene.wall_s = wall_s
    scene.hold_at("gust", 3.0, 500)
    scene.ask("landing", 30)
    assert scene.ends()[-1] == ("landing", "refused")
    scene.hold_at("gust", 3.0, 900)
    scene.ask("landing", 30)
    scene.run(30)
    assert scene.open_pct("landing") == 30


def test_the_pause_doubles_up_to_its_longest_and_is_never_shorter_than_the_first() -> None:
    assert [pause_s(tries, first_s=60.0) for tries in (1, 2, 3, 4, 5, 99)] == [60, 120, 240, 480, 900, 900]
    assert pause_s(3, first_s=1800.0) == 1800.0
