"""When a level group sets off, and what it is told on the way: decisions, without a network."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.core.command.level import READY_S, due_s, front_mm
from bridge.core.command.pace import brakes_mm, reached
from bridge.core.contract import Do, Link, Order
from bridge.core.dues import caught_up
from bridge.core.events import Button, Nudge, Percent, Press, Release, Switch, Ticked, Want
from bridge.core.outcome import SendOrder
from bridge.core.rules.demand import Demand, Standing
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import HouseSpec, ShadeSpec
from bridge.core.state import Pace, Purpose
from bridge.core.values import Rank
from tests.scene import TRAVEL, Scene, house_spec, on_supply, shade_spec


def a_shade(name: str, *, tube_mm: float = 40.0, drop_mm: float = 1500.0, moving_a: float = 1.0) -> ShadeSpec:
    roll = Roll(tube_mm=tube_mm, cloth_mm=0.5, drop_mm=drop_mm, wraps_left=1.5)
    return replace(on_supply(name, moving_a), travel=Travel(roll=roll, drive=TRAVEL.drive))


def a_row(*shades: ShadeSpec, amps: float = 10.0) -> HouseSpec:
    spec = house_spec(*(shades or (a_shade("one"), a_shade("two", tube_mm=50))), amps=amps)
    return replace(spec, groups=(replace(spec.groups[0], level=True),))


def gone(orders: tuple[SendOrder, ...]) -> list[str]:
    return [each.shade for each in orders if each.order.do is Do.GO]


@pytest.mark.parametrize(
    ("want", "drop_mm"),
    [
        (Percent(open_pct=100), 0),
        (Percent(open_pct=25), 1500),
        (Press(button=Button.UP), 0),
        (Press(button=Button.DOWN), 2000),
        (Nudge(by_pct=-10), 200),
        (Nudge(by_pct=30), 0),
        (Press(button=Button.STOP), None),
        (Release(), None),
    ],
)
def test_percent_is_that_of_the_longest_drop(want: Want, drop_mm: float | None) -> None:
    scene = Scene(a_row(a_shade("one"), a_shade("two", drop_mm=2000))).begin()
    assert scene.house is not None
    found = front_mm(scene.house, scene.spec.groups[0], want)
    assert found == (None if drop_mm is None else pytest.approx(drop_mm, abs=2))


def test_orders_leave_in_one_batch() -> None:
    scene = Scene(a_row()).begin()
    assert gone(scene.ask_all(40).orders) == ["one", "two"]


def test_a_group_that_is_not_level_is_left_to_its_members() -> None:
    scene = Scene(house_spec(shade_spec("one"), shade_spec("two"))).begin()
    orders = scene.ask_all(40).orders
    assert {each.order.pps for each in orders} == {3000}
    assert all(scene.shade(name).request.level is None for name in ("one", "two"))  # type: ignore[union-attr]  # there


def test_the_row_waits_a_while_for_a_member_that_has_yet_to_answer() -> None:
    scene = Scene(a_row()).begin()
    scene.boards["two"].heard = False
    assert scene.house is not None
    two = scene.shade("two")
    silent = replace(two, channel=replace(two.channel, answered=False, asked_seq=None))
    scene.house = replace(scene.house, shades={**scene.house.shades, two.id: silent})
    asked_s = scene.now_s
    assert gone(scene.ask_all(40).orders) == []
    assert due_s(scene.house, caught_up(None, scene.house, scene.house.now)) == asked_s + READY_S
    scene.run(READY_S + 0.1)
    assert [name for at_s, name in scene.starts] == ["one"]
    assert scene.starts[0][0] == pytest.approx(asked_s + READY_S)


def test_a_member_that_is_known_to_be_lost_is_not_waited_for() -> None:
    scene = Scene(a_row()).begin()
    scene.link("two", Link.LOST)
    assert gone(scene.ask_all(40).orders) == ["one"]


def test_none_leaves_before_the_supply_can_take_all() -> None:
    spec = a_row(a_shade("one"), a_shade("two"), a_shade("other"), amps=2.0)
    members = spec.groups[0].members[:2]
    scene = Scene(replace(spec, groups=(replace(spec.groups[0], members=members),))).begin()
    scene.ask("other", 50)
    assert gone(scene.ask_all(40).orders) == []
    assert [scene.shade(name).request.queued for name in members] == [True, True]  # type: ignore[union-attr]  # there
    scene.run(60)
    assert [name for _, name in scene.starts] == ["other", "one", "two"]
    assert scene.starts[1][0] == scene.starts[2][0] > scene.starts[0][0] + 1
    assert scene.worst_a["attic"] <= 2.0
    assert dict(scene.ends()) == {"other": "reached", "one": "reached", "two": "reached"}


def test_one_that_waited_before_the_row_goes_before_it() -> None:
    spec = a_row(a_shade("one"), a_shade("two"), a_shade("other"), a_shade("last"), amps=2.0)
    members = spec.groups[0].members[:2]
    scene = Scene(replace(spec, groups=(replace(spec.groups[0], members=members),))).begin()
    scene.ask("other", 50)
    scene.ask_all(40)
    scene.ask("last", 50)
    scene.run(90)
    assert [name for _, name in scene.starts] == ["other", "one", "two", "last"]


def test_a_new_speed_changes_nothing_else_of_the_order_in_force() -> None:
    scene = Scene(a_row()).begin()
    first = {each.shade: each.order for each in scene.ask_all(0).orders}
    known = {name: scene.shade(name).knowledge for name in ("one", "two")}
    scene.run(3.5)
    for name, order in first.items():
        pending = scene.shade(name).outstanding
        assert pending is not None
        assert pending.order.seq > order.seq
        assert pending.order.pps != order.pps
        same = replace(order, seq=pending.order.seq, seen=pending.order.seen, pps=pending.order.pps,
                       ramp=pending.order.ramp)  # fmt: skip
        assert pending.order == same
        assert scene.shade(name).knowledge.base == known[name].base


def test_nothing_leaves_while_the_service_is_locked() -> None:
    scene = Scene(a_row()).begin()
    scene.ask_all(0)
    scene.switch(Switch.LOCK, on=True)
    assert scene.house is not None
    assert all(shade.request is None for shade in scene.house.shades.values())
    assert due_s(scene.house, caught_up(None, scene.house, scene.house.now)) is None


def test_what_a_guard_forbids_a_short_shade_it_forbids_a_level_group_that_leads_there() -> None:
    scene = Scene(a_row(a_shade("one"), a_shade("two", drop_mm=750))).begin()
    assert scene.house is not None
    two = scene.shade("two")
    open_door = Demand(at_least_pct=30, guard=True, why="the door is open")
    standing = (Standing(number=0, rule="doorway", rank=Rank.WIND, demand=open_door),)
    held = replace(two, ruling=replace(two.ruling, standing=standing))
    scene.house = replace(scene.house, shades={**scene.house.shades, two.id: held})
    # Half of the long drop is all of the short one.
    assert gone(scene.ask_all(50).orders) == ["one"]
    assert ("two", "refused") in scene.ends()


def test_a_speed_that_is_still_on_its_way_when_its_request_fails_has_a_stop_behind_it() -> None:
    scene = Scene(a_row()).begin()
    scene.ask_all(0)
    scene.run(2.5)
    scene.boards["two"].heard = False
    orders = []
    for _ in range(80):
        scene.now_s += 1
        orders += [each.order.do for each in scene.event(Ticked(at=scene.at)).orders if each.shade == "two"]
    assert ("two", "failed") in scene.ends()
    assert orders.count(Do.STOP) == 1


def pace_of(scene: Scene, name: str) -> Pace:
    request = scene.shade(name).request
    assert request is not None
    assert request.level is not None
    assert request.level.pace is not None
    return request.level.pace


def orders_of(scene: Scene, want: Percent) -> dict[str, Order]:
    return {each.shade: each.order for each in scene.ask_all(want).orders if each.order.do is Do.GO}


def test_a_request_further_on_leads_the_front_on_and_one_behind_turns_it_round() -> None:
    scene = Scene(a_row()).begin()
    scene.ask_all(40)
    scene.run(4)
    first = pace_of(scene, "one")
    scene.ask_all(0)
    scene.run(0.3)
    on = pace_of(scene, "one")
    assert (on.from_mm, on.began_s) == (first.from_mm, first.began_s)
    assert on.to_mm == pytest.approx(1500, abs=0.1)
    scene.run(1.6)
    scene.ask_all(95)
    scene.run(0.3)
    back, left_s = pace_of(scene, "one"), scene.shade("one").ordered_at_s
    assert left_s is not None
    # It turns where the row has come to rest.
    assert back.from_mm == pytest.approx(reached(on, left_s)[0] + brakes_mm(on))
    assert back.began_s == pytest.approx(left_s + on.mmps / on.mmps2)
    assert back.to_mm == pytest.approx(75, abs=0.1)


def test_a_bar_that_hangs_in_the_way_is_ordered_when_the_front_comes_by() -> None:
    scene = Scene(a_row()).begin()
    scene.ask("two", 60)
    scene.run(60)
    scene.starts.clear()
    assert list(orders_of(scene, Percent(open_pct=20))) == ["one"]
    scene.run(60)
    (began_s, first), (joined_s, second) = scene.starts
    assert (first, second) == ("one", "two")
    assert dict(scene.ends()) == {"one": "reached", "two": "reached"}
    assert joined_s > began_s + 3


def test_a_motion_from_before_keeps_the_ramp_that_it_may_have_to_brake_with() -> None:
    scene = Scene(a_row(a_shade("one"), a_shade("two", tube_mm=25))).begin()
    scene.ask("one", 0)
    scene.run(3)
    ramps = [order.ramp for order in orders_of(scene, Percent(open_pct=0)).values()]
    assert ramps[0] == 3000
    scene.run(2.5)
    pending = scene.shade("one").outstanding
    assert pending is not None
    assert pending.order.ramp == 3000


def test_a_board_that_says_nothing_new_gets_no_new_speed() -> None:
    scene = Scene(a_row()).begin()
    scene.ask_all(0)
    scene.boards["two"].boot += 1
    two = scene.shade("two")
    assert two.outstanding is not None
    assert scene.house is not None
    other = replace(two, outstanding=replace(two.outstanding, purpose=Purpose.STOP))
    scene.house = replace(scene.house, shades={**scene.house.shades, two.id: other})
    seq = other.seq
    scene.now_s += 1.01
    scene.event(Ticked(at=scene.at))
    assert scene.shade("two").seq == seq
    assert scene.shade("one").seq > 1


def test_a_member_out_of_hearing_on_the_way_is_passed_over() -> None:
    scene = Scene(a_row()).begin()
    scene.ask_all(0)
    scene.run(1.5)
    scene.link("two", Link.LOST)
    scene.run(60)
    assert dict(scene.ends()) == {"one": "reached", "two": "failed"}


def test_the_queue_keeps_a_row_that_waits_already() -> None:
    spec = a_row(a_shade("one"), a_shade("two"), a_shade("other"), amps=2.0)
    members = spec.groups[0].members[:2]
    scene = Scene(replace(spec, groups=(replace(spec.groups[0], members=members),))).begin()
    scene.ask("other", 0)
    scene.ask_all(40)
    before = scene.shade("one").request
    scene.run(3)
    assert scene.shade("one").request == before
