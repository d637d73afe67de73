from dataclasses import replace

import pytest

from bridge.core.contract import Why
from bridge.core.events import Percent
from bridge.core.position.aim import aim
from bridge.core.state import Shade
from bridge.core.values import Interval
from tests.one_way_world import ALIVE, given_link, settled_world
from tests.unit.core.bench import Bench


def drop_mm(shade: Shade, now_s: float = 0.0) -> float:
    return shade.spec.travel.drop_at_steps(aim(shade, now_s=now_s).middle)


def test_at_rest_and_unheard_it_is_what_is_claimed() -> None:
    bench = Bench()
    assert aim(bench.shade, now_s=0.0) == bench.shade.knowledge.hull
    bench = Bench().known_at_top()
    assert aim(bench.shade, now_s=0.0) == bench.shade.knowledge.hull


def test_on_the_way_it_is_around_the_last_count() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    bench.report(moving=True, why=Why.PROGRESS, count=9000, to=20000)
    base = bench.shade.knowledge.base
    assert base is not None
    assert aim(bench.shade, now_s=0.0) == base.shifted(9000)


def test_on_the_way_it_is_never_out_of_the_claim() -> None:
    """Steps that the stop may yet swallow widen the link on one side only."""
    bench = Bench().known_at_top()
    bench.ask(50)
    bench.report(moving=True, why=Why.PROGRESS, count=9000, to=20000)
    shade, known = bench.shade, bench.shade.knowledge
    assert known.base is not None
    hull = Interval(low=known.base.low + 8000, high=known.base.high + 9500)
    swallowed = replace(known, hull=hull, base=Interval(low=known.base.low, high=known.base.high + 20_000))
    at = aim(replace(shade, knowledge=swallowed), now_s=0.0)
    assert at == Interval(low=known.base.low + 9000, high=hull.high)
    elsewhere = replace(known, hull=hull.shifted(-9000))
    assert aim(replace(shade, knowledge=elsewhere), now_s=0.0) == elsewhere.hull


def test_of_a_board_that_never_reports_it_follows_the_clock() -> None:
    world = settled_world()
    assert drop_mm(world.shade, world.now) == pytest.approx(0, abs=10)
    world.ask(Percent(open_pct=0))
    world.run(6.0)
    assert drop_mm(world.shade, world.now) == pytest.approx(world.true_mm, abs=60)
    world.run(60.0)
    assert drop_mm(world.shade, world.now) == pytest.approx(1800, abs=10)


def test_nothing_is_sharper_than_the_claim_where_the_count_is_not_known() -> None:
    shade = settled_world(given_link(alive=ALIVE)).shade
    hull = shade.knowledge.hull
    for reckoning in (
        replace(shade.reckoning, counts=Interval(low=0, high=9000)),
        replace(shade.reckoning, counts=None),
        replace(shade.reckoning, alive=False),
        replace(shade.reckoning, counts=Interval(low=30000, high=30000)),  # out of the claim
    ):
        assert aim(replace(shade, reckoning=reckoning), now_s=0.0) == hull
    lost = replace(shade, knowledge=replace(shade.knowledge, base=None))
    assert aim(lost, now_s=0.0) == hull
