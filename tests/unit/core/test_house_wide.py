"""What concerns more than one shade: groups, the rules' pause and the service lock."""

from dataclasses import replace

from bridge.core.contract import Do, Link
from bridge.core.events import (
    BrokerLost,
    BrokerReached,
    Button,
    ClaimHeard,
    Nudge,
    Percent,
    Press,
    Release,
    Started,
    Switch,
)
from bridge.core.house import due_s
from bridge.core.outcome import Decisions
from bridge.core.values import Rank
from tests.scene import Scene, house_spec, shade_spec

UP, STOP = Press(button=Button.UP), Press(button=Button.STOP)


def two() -> Scene:
    return Scene(house_spec(shade_spec("one"), shade_spec("two"))).begin()


def fates(decisions: Decisions) -> list[tuple[str, str]]:
    ends = [note for note in decisions.notes if note.name == "request.ended"]
    return [(str(dict(note.fields)["fate"]), str(dict(note.fields)["why"])) for note in ends]


def orders(decisions: Decisions) -> list[tuple[str, Do]]:
    return [(sent.shade, sent.order.do) for sent in decisions.orders]


class TestGroups:
    def test_every_member_is_asked_the_same(self) -> None:
        scene = two()
        assert orders(scene.ask_all(40)) == [("one", Do.GO), ("two", Do.GO)]
        scene.run(60)
        assert scene.ends() == [("one", "reached"), ("two", "reached")]
        assert [scene.shade(name).target_pct for name in ("one", "two")] == [40, 40]

    def test_the_last_percent_accepted_is_the_group_s_target(self) -> None:
        scene = two()
        assert scene.house is not None
        assert scene.house.group_targets == {}
        scene.ask_all(40)
        assert scene.house.group_targets == {"all": 40}
        scene.ask_all(UP)
        assert scene.house.group_targets == {"all": 100}
        for want in (Nudge(by_pct=-5), STOP, Release()):
            scene.ask_all(want)
            assert scene.house.group_targets == {"all": 100}

    def test_one_member_that_cannot_does_not_keep_the_others_from_it(self) -> None:
        scene = two()
        scene.ask("one", 90, Rank.WIND)
        decisions = scene.ask_all(40)
        assert fates(decisions) == [("refused", "90 % from a test ranks higher and is under way")]
        assert orders(decisions) == [("two", Do.GO)]
        assert scene.house is not None
        assert scene.house.group_targets == {"all": 40}

    def test_a_percent_that_nobody_takes_is_no_target(self) -> None:
        scene = Scene(house_spec(shade_spec("one"), shade_spec("two"))).begin(referenced=False)
        decisions = scene.ask_all(40)
        assert [fate for fate, _ in fates(decisions)] == ["refused", "refused"]
        assert scene.house is not None
        assert scene.house.group_targets == {}

    def test_a_group_that_is_not_there_is_noted(self) -> None:
        (note,) = two().ask_all(40, group="cellar").notes
        assert (note.name, note.text) == ("group.name.unknown", "there is no group cellar")

    def test_the_target_of_a_group_that_the_settings_no_longer_name_is_forgotten(self) -> None:
        scene = two()
        scene.ask_all(40)
        scene.event(Started(at=scene.at, spec=scene.spec))
        assert scene.house is not None
        assert scene.house.group_targets == {"all": 40}
        scene.event(Started(at=scene.at, spec=replace(scene.spec, groups=())))
        assert scene.house.group_targets == {}


class TestPause:
    def test_the_rules_rest_and_people_do_not(self) -> None:
        scene = two()
        (note,) = scene.switch(Switch.PAUSE, on=True).notes
        assert note.text == "the rules' pause was switched on by a test"
        assert fates(scene.ask("one", 40, Rank.RULE)) == [("refused", "the rules are paused")]
        assert fates(scene.ask("one", 40, Rank.BASE)) == [("refused", "the rules are paused")]
        assert orders(scene.ask("one", 40)) == [("one", Do.GO)]

    def test_wind_and_rain_are_no_comfort_and_go_on(self) -> None:
        scene = two()
        scene.switch(Switch.PAUSE, on=True)
        assert orders(scene.ask("one", 40, Rank.RAIN)) == [("one", Do.GO)]
        assert orders(scene.ask("two", 40, Rank.WIND)) == [("two", Do.GO)]

    def test_its_end_is_its_end(self) -> None:
        scene = two()
        scene.switch(Switch.PAUSE, on=True)
        scene.switch(Switch.PAUSE, on=False)
        scene.ask_all(Release())
        assert orders(scene.ask("one", 40, Rank.RULE)) == [("one", Do.GO)]

    def test_it_outlives_a_restart(self) -> None:
        scene = two()
        scene.switch(Switch.PAUSE, on=True)
        scene.event(Started(at=scene.at, spec=scene.spec))
        assert scene.house is not None
        assert scene.house.paused


class TestLock:
    def test_what_moves_is_stopped_and_what_waits_has_ended(self) -> None:
        scene = two()
        scene.link("two", Link.LOST)
        scene.ask_all(40)
        decisions = scene.switch(Switch.LOCK, on=True)
        assert orders(decisions) == [("one", Do.STOP)]
        assert [fate for fate, _ in fates(decisions)] == ["superseded", "superseded"]
        assert not scene.boards["one"].moving
        assert any(note.text == "the service lock was switched on by a test" for note in decisions.notes)

    def test_whatever_is_asked_is_refused_by_whomever(self) -> None:
        scene = two()
        scene.switch(Switch.LOCK, on=True)
        locked = ("refused", "the service lock is on: somebody works on the shades")
        for rank in (Rank.RULE, Rank.HAND, Rank.WIND):
            decisions = scene.ask("one", 40, rank)
            assert fates(decisions) == [locked]
            assert decisions.orders == ()
        for want in (STOP, UP, Nudge(by_pct=5), Release()):
            assert scene.ask_all(want).orders == ()

    def test_no_order_at_all_leaves(self) -> None:
        scene = two()
        scene.switch(Switch.LOCK, on=True)
        sent = [
            scene.link("one", Link.LOST),
            scene.link("one", Link.UP),
            scene.event(BrokerLost(at=scene.at)),
            scene.event(BrokerReached(at=scene.at)),
            scene.link("one", Link.UP),
        ]
        assert [each.orders for each in sent] == [()] * 5
        assert scene.house is not None
        # Nothing is waited for but the ends of the holds, so no tick comes to nothing.
        assert due_s(scene.house) == scene.now_s + min(
            (shade.hold_until - scene.at.utc).total_seconds()
            for shade in scene.house.shades.values()
            if shade.hold_until is not None
        )

    def test_once_it_ends_boards_are_asked_and_requests_taken(self) -> None:
        scene = two()
        scene.switch(Switch.LOCK, on=True)
        scene.link("one", Link.LOST)
        scene.link("one", Link.UP)
        assert orders(scene.switch(Switch.LOCK, on=False)) == [("one", Do.TELL)]
        assert orders(scene.ask_all(40)) == [("one", Do.GO), ("two", Do.GO)]

    def test_switching_it_on_twice_stops_nothing_twice(self) -> None:
        scene = two()
        scene.ask("one", 40)
        scene.switch(Switch.LOCK, on=True)
        assert scene.switch(Switch.LOCK, on=True).orders == ()

    def test_it_outlives_a_restart(self) -> None:
        scene = two()
        scene.switch(Switch.LOCK, on=True)
        scene.event(Started(at=scene.at, spec=scene.spec))
        scene.event(BrokerReached(at=scene.at))
        assert scene.link("one", Link.UP).orders == ()

    def test_requests_end_though_the_broker_is_away(self) -> None:
        scene = two()
        scene.event(BrokerLost(at=scene.at))
        scene.ask_all(Percent(open_pct=40))
        decisions = scene.switch(Switch.LOCK, on=True)
        assert decisions.orders == ()
        assert [fate for fate, _ in fates(decisions)] == ["superseded", "superseded"]

    def test_a_bridge_that_has_stood_down_locks_without_a_word(self) -> None:
        scene = two()
        assert scene.house is not None
        scene.event(ClaimHeard(at=scene.at, term=scene.house.term + 1, retained=False))
        assert scene.switch(Switch.LOCK, on=True).orders == ()


def test_a_request_to_a_lost_board_waits_half_a_minute_and_then_says_what_to_do() -> None:
    scene = two()
    scene.link("one", Link.LOST)
    scene.ask("one", 40)
    scene.run(29)
    assert scene.ends() == []
    scene.run(2)
    assert scene.ends() == [("one", "expired")]
    assert scene.shade("one").trouble == (
        "40 % from a test expired: board one-board did not answer in 30 s; check its power and network"
    )
