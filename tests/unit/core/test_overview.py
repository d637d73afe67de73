from dataclasses import replace

import pytest

from bridge.core.contract import Link
from bridge.core.events import Button, ClaimHeard, Press, Switch
from bridge.core.outlook import BoardState, Motion, ShadeOutlook, shade_outlook
from bridge.core.overview import BridgeOutlook, GroupOutlook, bridge_outlook, group_outlook
from tests.scene import Scene, house_spec, shade_spec

UP = Press(button=Button.UP)


def two(*, referenced: bool = True) -> Scene:
    return Scene(house_spec(shade_spec("one"), shade_spec("two"))).begin(referenced=referenced)


def members(scene: Scene) -> list[ShadeOutlook]:
    assert scene.house is not None
    return [shade_outlook(scene.house, shade) for shade in scene.house.shades.values()]


def seen(scene: Scene, *changed: ShadeOutlook) -> GroupOutlook:
    assert scene.house is not None
    return group_outlook(scene.house, scene.spec.groups[0], changed or members(scene))


def bridge(scene: Scene) -> BridgeOutlook:
    assert scene.house is not None
    return bridge_outlook(scene.house)


def test_members_at_one_percent_are_the_group_s_percent() -> None:
    scene = two()
    scene.ask_all(40)
    scene.run(60)
    outlook = seen(scene)
    assert (outlook.name, outlook.members) == ("All", ("one", "two"))
    assert (outlook.position_pct, outlook.target_pct) == (40, 40)
    assert (outlook.motion, outlook.board) == (Motion.STILL, BoardState.UP)
    assert outlook.reason == "40 % asked by a test"


@pytest.mark.parametrize(
    ("one", "other", "mean"),
    [(40, 50, 45), (0, 1, 1), (99, 100, 99), (0, 100, 50), (100, 100, 100), (0, 0, 0)],
)
def test_else_it_is_their_mean_and_an_end_only_when_all_are_there(one: int, other: int, mean: int) -> None:
    scene = two()
    a, b = members(scene)
    outlook = seen(scene, replace(a, position_pct=one), replace(b, position_pct=other))
    assert outlook.position_pct == mean


def test_one_unknown_member_leaves_the_group_without_a_percent() -> None:
    scene = two(referenced=False)
    scene.ask("one", UP)
    scene.run(60)
    outlook = seen(scene)
    assert members(scene)[0].position_pct == 100
    assert outlook.position_pct is None
    assert outlook.target_pct is None


def test_the_target_is_the_members_or_the_last_one_asked_of_the_group() -> None:
    scene = two()
    scene.ask_all(40)
    scene.ask("one", 70)
    assert seen(scene).target_pct == 40
    scene.ask("two", 70)
    assert seen(scene).target_pct == 70


def test_members_that_move_differently_have_no_motion_in_common() -> None:
    scene = two()
    scene.ask("one", 40)
    assert seen(scene).motion is Motion.LOWERING
    scene.run(60)
    scene.ask("one", 90)
    scene.ask("two", 40)
    outlook = seen(scene)
    assert outlook.motion is None
    assert outlook.reason == "One: 90 % asked by a test; Two: 40 % asked by a test"


def test_a_group_answers_as_long_as_one_of_its_boards_does() -> None:
    scene = two()
    scene.link("one", Link.LOST)
    assert seen(scene).board is BoardState.UP
    scene.link("two", Link.OFF)
    assert seen(scene).board is BoardState.LOST


def test_the_bridge_tells_its_switches_and_whether_it_is_in_charge() -> None:
    scene = two()
    assert scene.house is not None
    assert bridge(scene) == BridgeOutlook(
        paused=False, locked=False, in_charge=True, term=scene.house.term, alerts=()
    )
    scene.switch(Switch.PAUSE, on=True)
    scene.switch(Switch.LOCK, on=True)
    assert (bridge(scene).paused, bridge(scene).locked) == (True, True)
    scene.event(ClaimHeard(at=scene.at, term=scene.house.term + 1, retained=False))
    assert not bridge(scene).in_charge
    assert [alert.id for alert in bridge(scene).alerts] == ["charge"]


def test_a_lost_board_is_an_alert_of_its_own_beside_the_request_s() -> None:
    scene = two()
    scene.link("one", Link.LOST)
    scene.ask("one", 40)
    scene.run(31)
    alerts = {alert.id: alert.text for alert in members(scene)[0].alerts}
    assert alerts["board"] == "board one-board can't be reached; check its power and network"
    assert alerts["request"].startswith("40 % from a test expired")
    scene.link("two", Link.OFF)
    assert members(scene)[1].alerts[0].text == (
        "board two-board has been switched off; switch it on again when the work on it is done"
    )
