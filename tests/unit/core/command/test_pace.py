"""The front of a level group, and the speed at which one shade follows it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.core.command.pace import (
    CATCH_UP,
    brakes_mm,
    goal_mm,
    is_moving,
    mm_a_step,
    place_mm,
    reached,
    speed,
    when_s,
)
from bridge.core.contract import Why
from bridge.core.events import Percent
from bridge.core.state import Pace, Shade
from tests.scene import Scene, house_spec, shade_spec

DOWN = Pace(
    from_mm=0, to_mm=1000, began_s=100.0, mmps=50, mmps2=100, begins_s=100.0, looks_at_s=None, least_ramp=0
)
UP = replace(DOWN, from_mm=1000, to_mm=0)


def moving(*, seen_s: float = 106.0) -> Shade:
    """Return a shade on its way down, which its board last told of at `seen_s`."""
    scene = Scene(house_spec(shade_spec("one"))).begin()
    scene.now_s = 1000.0
    scene.ask("one", Percent(open_pct=0))
    board = scene.boards["one"]
    board.at = 2000
    scene.tell("one", board.report(Why.PROGRESS))
    shade = scene.shade("one")
    return replace(shade, channel=replace(shade.channel, heard_at_s=seen_s))


def test_the_front_speeds_up_runs_evenly_and_brakes_to_its_end() -> None:
    # 0.5 s and 12.5 mm for each ramp, 975 mm at 50 mm/s between.
    assert reached(DOWN, 99.0) == (0, 0)
    assert reached(DOWN, 100.25) == pytest.approx((3.125, 25))
    assert reached(DOWN, 110.5) == pytest.approx((512.5, 50))
    assert reached(DOWN, 120.25) == pytest.approx((1000 - 3.125, 25))
    assert reached(DOWN, 130.0) == (1000, 0)
    assert reached(UP, 110.5) == pytest.approx((487.5, 50))
    assert brakes_mm(DOWN) == 12.5


def test_when_the_front_comes_by_is_the_inverse_of_where_it_is() -> None:
    for ahead_mm in (1.0, 12.5, 500.0, 995.0):
        at_mm, _ = reached(DOWN, 100 + when_s(DOWN, ahead_mm))
        assert at_mm == pytest.approx(ahead_mm, abs=1e-3)
    assert when_s(DOWN, -5) == 0


def test_a_step_moves_the_bar_as_the_travel_says() -> None:
    spec = shade_spec("one")
    for drop_mm in (0.0, 700.0, 1500.0):
        steps = float(spec.travel.steps_at_drop(drop_mm))
        moved = spec.travel.mm_between(steps - 10, steps + 10) / 20
        assert mm_a_step(spec, drop_mm) == pytest.approx(moved, rel=1e-5)


def test_the_place_goes_on_from_the_last_report_but_never_past_the_target() -> None:
    shade = moving(seen_s=106.0)
    assert is_moving(shade)
    assert shade.outstanding is not None
    assert shade.outstanding.order.pps == 3000
    travel, base = shade.spec.travel, shade.knowledge.base
    assert base is not None
    assert place_mm(shade, 106.0) == pytest.approx(travel.drop_at_steps(2000 + base.middle))
    assert place_mm(shade, 106.5) == pytest.approx(travel.drop_at_steps(3500 + base.middle))
    assert place_mm(shade, 1e6) == pytest.approx(goal_mm(shade), abs=1)


def test_a_shade_on_the_front_runs_as_fast_as_its_roll_makes_of_it() -> None:
    shade = moving()
    at_mm = place_mm(shade, 106.0)
    began_s = 106.0 - 0.5 - (at_mm - 12.5) / 50
    pace = replace(DOWN, to_mm=1500, began_s=began_s, begins_s=began_s)
    pps, ramp = speed(shade, pace, 106.0)
    assert pps == pytest.approx(50 / mm_a_step(shade.spec, at_mm + 25), abs=1)
    assert ramp == pytest.approx(100 / mm_a_step(shade.spec, at_mm + 25), abs=1)


@pytest.mark.parametrize(("off_s", "share"), [(0.5, 1 + CATCH_UP), (-0.5, 1 - CATCH_UP)])
def test_a_shade_that_is_off_catches_up_or_waits_within_bounds(off_s: float, share: float) -> None:
    shade = moving()
    at_mm = place_mm(shade, 106.0)
    began_s = 106.0 - 0.5 - (at_mm - 12.5) / 50 - off_s
    pace = replace(DOWN, to_mm=1500, began_s=began_s, begins_s=began_s)
    pps, _ = speed(shade, pace, 106.0)
    assert pps == pytest.approx(share * 50 / mm_a_step(shade.spec, at_mm + 25 + 50 * off_s), abs=2)


def test_while_it_speeds_up_nothing_is_mended_and_a_ramp_from_before_stays() -> None:
    shade = moving()
    pace = replace(DOWN, to_mm=1500, began_s=105.9, begins_s=105.9, least_ramp=2800)
    pps, ramp = speed(shade, pace, 106.0)
    assert pps == pytest.approx(50 / mm_a_step(shade.spec, reached(pace, 106.5)[0]), rel=0.01)
    assert ramp == 2800


def test_no_speed_and_no_ramp_is_beyond_those_of_the_settings() -> None:
    shade = moving()
    assert speed(shade, replace(DOWN, mmps=1e5, mmps2=1e6), 106.0) == (3000, 3000)
    assert speed(shade, replace(DOWN, mmps=1e-6, mmps2=1e-6), 106.0) == (1, 1)
