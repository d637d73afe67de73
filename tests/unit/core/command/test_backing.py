from dataclasses import replace

import pytest

from bridge.core.command.backing import clear_of_switch
from bridge.core.contract import Do, Why
from bridge.core.events import Button
from bridge.core.rules.demand import Demand, Ruling, Standing
from bridge.core.state import Purpose
from bridge.core.values import Rank
from tests.unit.core.bench import SPEC, STUDY, Bench


def closed(bench: Bench, count: int) -> None:
    """The seek that has just left is refused: the switch is closed."""
    seek = bench.order
    assert seek.do is Do.SEEK
    bench.now_s += 1
    bench.report(count=count, why=Why.REFUSED, because="switch-closed", seq=seek.seq - 1)
    assert bench.dos == [Do.TELL]


def in_doubt() -> Bench:
    """Half a metre down, known well, and then sent to look for its switch; the word of that got lost."""
    bench = Bench(doubtful_mm=6.0).known_at_top()
    bench.ask(70)
    down = bench.order
    bench.report(count=down.to, why=Why.ARRIVED, seq=down.seq)
    bench.now_s += 20
    bench.report(count=down.to, why=Why.STALLED, stalls=1, seq=down.seq)
    bench.press(Button.UP)
    assert bench.order.do is Do.SEEK
    bench.tick(3.0)
    bench.answer(count=-130, stalls=1)
    return bench


def test_the_place_that_is_clear_lies_below_the_switch_by_all_the_room_above_it() -> None:
    down_mm = SPEC.travel.drop_at_steps(clear_of_switch(SPEC) + SPEC.ends.low)
    assert -4.0 + 1.0 + 10.0 < down_mm < 12.0


def test_a_seek_refused_by_a_closed_switch_is_tried_again_from_below_it() -> None:
    bench = in_doubt()
    closed(bench, -130)
    bench.answer(count=-130, stalls=1)
    back = bench.order
    assert back.do is Do.GO
    assert back.to is not None
    assert back.to + 130 == pytest.approx(clear_of_switch(SPEC), abs=9)
    bench.now_s += 1
    bench.report(count=back.to, to=back.to, why=Why.ARRIVED, seq=back.seq, stalls=1)
    seek = bench.order
    assert (seek.do, bench.fates) == (Do.SEEK, [])
    bench.now_s += 1
    bench.report(count=-100, to=-100, why=Why.UPPER_SWITCH, seq=seek.seq, stalls=1)
    assert "shade.reference.met" in bench.noted
    go = bench.order
    bench.report(count=go.to, to=go.to, why=Why.ARRIVED, seq=go.seq, stalls=1)
    assert bench.fates == ["reached"]


def test_a_switch_that_is_closed_below_its_place_is_to_be_looked_at() -> None:
    bench = in_doubt()
    closed(bench, -130)
    bench.answer(count=-130, stalls=1)
    back = bench.order
    bench.now_s += 1
    bench.report(count=back.to, to=back.to, why=Why.ARRIVED, seq=back.seq, stalls=1)
    seek = bench.order
    bench.report(count=back.to, why=Why.REFUSED, because="switch-closed", seq=seek.seq - 1, stalls=1)
    assert bench.fates == ["failed"]
    assert "it sticks, so look at the switch" in bench.why
    assert bench.shade.trouble
    assert bench.shade.outstanding is None


def test_a_shade_that_may_hang_anywhere_is_not_lowered_and_its_owner_is_told_what_to_do() -> None:
    bench = Bench().in_conversation()
    bench.press(Button.UP)
    closed(bench, 0)
    bench.answer(count=0)
    assert bench.fates == ["failed"]
    assert "lower it a little by the button at its board and ask `up` again" in bench.why


def test_while_a_guard_stands_it_is_not_lowered_either() -> None:
    bench = in_doubt()
    closed(bench, -130)
    assert bench.house is not None
    wind = Demand(at_least_pct=100.0, guard=True, why="wind")
    ruling = Ruling(standing=(Standing(number=0, rule="wind", rank=Rank.WIND, demand=wind),))
    bench.house = replace(bench.house, shades={STUDY: replace(bench.shade, ruling=ruling)})
    bench.answer(count=-130, stalls=1)
    assert bench.fates == ["failed"]
    assert Do.GO not in bench.dos


def test_a_closed_switch_stops_no_move() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=0, why=Why.REFUSED, because="switch-closed", seq=order.seq - 1)
    assert bench.fates == ["failed"]
    assert bench.shade.outstanding is None or bench.shade.outstanding.purpose is not Purpose.MOVE
