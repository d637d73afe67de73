import pytest

from bridge.core.contract import Link, Why
from bridge.core.events import Button
from bridge.core.outlook import BoardState, Motion, ShadeOutlook, shade_outlook
from bridge.core.position.estimate import Grade
from tests.unit.core.bench import Bench


def seen(bench: Bench) -> ShadeOutlook:
    assert bench.house is not None
    return shade_outlook(bench.house, bench.shade)


def test_an_unknown_shade_gets_no_made_up_percent() -> None:
    outlook = seen(Bench())
    assert (outlook.position_pct, outlook.grade, outlook.board) == (None, Grade.UNKNOWN, BoardState.UNHEARD)


def test_the_board_is_told_as_far_as_it_is_heard() -> None:
    bench = Bench()
    bench.reach()
    bench.link(boot=1)
    assert seen(bench).board is BoardState.ASKED
    bench.answer(awake=False)
    assert seen(bench).board is BoardState.UP
    bench.link(Link.OFF)
    assert seen(bench).board is BoardState.OFF
    bench.link(boot=1)
    bench.link(Link.LOST)
    assert seen(bench).board is BoardState.LOST


def test_all_faces_show_the_hull_that_is_held() -> None:
    bench = Bench().known_at_top()
    outlook, hull = seen(bench), bench.shade.knowledge.hull
    low, high = bench.hull_mm
    assert (outlook.low_steps, outlook.high_steps) == (hull.low, hull.high)
    assert -1e-9 < outlook.width_mm - (high - low) < 0.1 + 1e-9
    assert outlook.low_pct <= 100 - 100 * high / 1800
    assert outlook.high_pct >= 100 - 100 * low / 1800


def test_motion_says_which_way_it_goes() -> None:
    bench = Bench().known_at_top()
    assert seen(bench).motion is Motion.STILL
    bench.ask(50)
    down = bench.order
    bench.report(count=10, to=down.to, moving=True, why=Why.STARTED, seq=down.seq)
    lowering = seen(bench)
    bench.report(count=9000, to=down.to, moving=True, why=Why.PROGRESS, seq=down.seq)
    assert (lowering.motion, lowering.target_pct) == (Motion.LOWERING, 50)
    assert seen(bench).position_pct == pytest.approx(81, abs=1)
    bench.now_s += 1
    bench.ask(95)
    bench.report(count=9500, to=bench.order.to, moving=True, why=Why.STARTED, seq=bench.order.seq)
    assert seen(bench).motion is Motion.RAISING


def test_a_reference_run_is_told_as_such() -> None:
    bench = Bench().in_conversation(awake=False)
    bench.press(Button.UP)
    bench.report(count=-5, moving=True, why=Why.STARTED, seq=bench.order.seq)
    assert seen(bench).motion is Motion.REFERENCING


def test_0_and_100_are_kept_for_the_limits() -> None:
    bench = Bench().known_at_top()
    assert seen(bench).position_pct == 100
    bench.ask(1)
    order = bench.order
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=order.seq, awake=False)
    assert seen(bench).position_pct == 1
