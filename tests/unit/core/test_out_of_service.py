"""A shade that somebody works on: no order but a stop, nothing claimed, and a clean start afterwards."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from bridge.core.contract import Do
from bridge.core.events import Approach, Asked, Button, Percent, Place, Press, SettingsChanged, TargetHeard
from bridge.core.house import due_s
from bridge.core.outlook import shade_outlook
from bridge.core.position.allowance import physical_range
from bridge.core.position.estimate import Grade
from bridge.core.position.one_way import only
from bridge.core.spec import HouseSpec
from bridge.core.values import Rank
from tests.one_way_world import PORCH, STOP, World, given_link
from tests.unit.core.bench import SPEC, Bench


def known_at_top() -> Bench:
    bench = Bench().known_at_top()
    bench.report(count=0, awake=False)
    return bench


def switch(bench: Bench, *, in_service: bool) -> None:
    bench.spec = replace(bench.spec, in_service=in_service)
    house = HouseSpec(name="Gull House", shades=(bench.spec,))
    bench.happens(SettingsChanged(at=bench.at(), spec=house))


@pytest.mark.parametrize("rank", [Rank.HAND, Rank.RULE, Rank.WIND, Rank.ICE])
def test_out_of_service_every_move_is_refused_and_nothing_is_due(rank: Rank) -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    for want in (Percent(open_pct=40), Press(button=Button.UP), Approach(place=Place.LOWER)):
        bench.ask(want, rank)
        assert bench.last.orders == ()
        assert "out of service" in bench.why
    assert bench.house is not None
    assert due_s(bench.house) is None


def test_out_of_service_the_board_is_not_even_asked() -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    assert bench.last.orders == ()
    bench.link(boot=2)
    assert bench.last.orders == ()
    bench.report(boot=2, n=1, count=700, seq=90)
    bench.tick(600.0)
    assert bench.last.orders == ()


def test_a_stop_leaves_even_then() -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    bench.press(Button.STOP)
    assert bench.dos == [Do.STOP]
    assert bench.shade.request is None
    bench.tick(SPEC.hold_s + 1.0)
    assert bench.last.orders == ()
    assert bench.house is not None
    assert due_s(bench.house) is None


def test_what_was_known_ends_and_the_faces_say_why() -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    assert bench.house is not None
    outlook = shade_outlook(bench.house, bench.shade)
    assert outlook.grade is Grade.UNKNOWN
    assert outlook.position_pct is None
    assert not outlook.in_service
    assert "out of service" in outlook.reason
    assert bench.shade.knowledge.hull.contains(physical_range(SPEC))


def test_a_move_under_way_is_halted_when_it_goes_out_of_service() -> None:
    bench = known_at_top()
    bench.ask(40)
    switch(bench, in_service=False)
    assert bench.dos == [Do.STOP]
    assert bench.fates == ["failed"]


def test_back_in_service_the_board_is_asked_above_every_number_it_has_acted_on() -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    bench.report(count=5000, seq=70)
    switch(bench, in_service=True)
    assert bench.dos == [Do.TELL]
    assert bench.order.seq > 70
    assert bench.shade.knowledge.base is None
    bench.answer(count=5000)
    bench.ask(40)
    assert bench.fates == ["refused"]


def test_a_restart_between_leaves_it_unknown_too() -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    bench.start()
    assert bench.shade.knowledge.hull.contains(physical_range(SPEC))
    bench.spec = replace(bench.spec, in_service=True)
    bench.start()
    assert bench.shade.knowledge.base is None
    assert bench.shade.seq > 0


def test_confirmations_wait_until_it_is_back_in_service() -> None:
    bench = known_at_top()
    switch(bench, in_service=False)
    bench.confirm(Place.LOWER)
    assert [note.name for note in bench.last.notes] == ["shade.confirmation.refused"]


def test_a_one_way_board_is_confirmed_at_the_last_target_that_others_sent_it() -> None:
    world = World(given_link())
    world.start()
    away = replace(world.spec, in_service=False)
    world.take(SettingsChanged(at=world.moment, spec=HouseSpec(name="h", shades=(away,))))
    said = len(world.published)
    world.take(TargetHeard(at=world.moment, shade=PORCH, value=Fraction(4000), retained=False))
    world.take(Asked(at=world.moment, shade=PORCH, want=Percent(open_pct=50), rank=Rank.HAND, source="page"))
    assert len(world.published) == said
    world.take(SettingsChanged(at=world.moment, spec=HouseSpec(name="h", shades=(world.spec,))))
    assert world.shade.reckoning.counts == only(4000)
    assert world.shade.reckoning.run is None
    assert world.shade.knowledge.hull.contains(physical_range(world.spec))


def test_a_one_way_board_is_told_to_halt_even_then() -> None:
    world = World(given_link(stop=STOP))
    world.start()
    away = replace(world.spec, in_service=False)
    world.take(SettingsChanged(at=world.moment, spec=HouseSpec(name="h", shades=(away,))))
    stop = Press(button=Button.STOP)
    world.take(Asked(at=world.moment, shade=PORCH, want=stop, rank=Rank.HAND, source="page"))
    world.run(1.0)
    assert world.published[-1] == ("porch/halt", b"halt")
    assert world.shade.request is None
