from dataclasses import replace

import pytest

from bridge.core.contract import Do, Link, Why
from bridge.core.events import Asked, Button, LinkHeard, Percent, ReportHeard
from bridge.core.house import handle
from bridge.core.outcome import Decisions
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.spec import ContractLink
from bridge.core.values import BoardId, Rank, ShadeId
from tests.unit.core.bench import ATTIC, SPEC, Bench


def settled_at_top() -> Bench:
    return Bench().known_at_top()


def test_a_first_run_knows_nothing_and_is_written_at_once() -> None:
    bench = Bench()
    assert bench.last.grew
    assert bench.house is not None
    assert (bench.house.term, bench.house.broker_up) == (1, False)
    assert grade_of(SPEC, bench.shade.knowledge.hull) is Grade.UNKNOWN


def test_each_run_claims_a_higher_term_and_asks_again() -> None:
    bench = settled_at_top()
    before = bench.shade
    bench.now_s += 60
    bench.start()
    assert bench.house is not None
    assert bench.house.term == 2
    assert not bench.shade.channel.answered
    assert bench.shade.seq >= before.seq
    assert bench.shade.knowledge.hull.contains(before.knowledge.hull)


def test_a_journal_that_lost_rows_is_not_believed() -> None:
    bench = settled_at_top()
    bench.start(memory_lost=True)
    assert grade_of(SPEC, bench.shade.knowledge.hull) is Grade.UNKNOWN


def test_a_young_request_is_kept_over_a_restart_and_an_old_one_expires() -> None:
    for wait_s, fates in ((20, []), (31, ["expired"])):
        bench = settled_at_top()
        bench.lose()
        bench.ask(50)
        bench.now_s += wait_s
        bench.start()
        assert bench.fates == fates


def test_a_wall_clock_set_back_lets_a_request_expire() -> None:
    bench = settled_at_top()
    bench.lose()
    bench.ask(50)
    bench.now_s -= 3600
    bench.start()
    assert bench.fates == ["expired"]


def test_changed_measures_keep_what_is_claimed_in_mm_and_unlink_the_count() -> None:
    bench = settled_at_top()
    low, high = bench.hull_mm
    roll = replace(SPEC.travel.roll, cloth_mm=0.6)
    bench.spec = replace(SPEC, travel=replace(SPEC.travel, roll=roll))
    bench.start()
    assert bench.shade.knowledge.base is None
    assert bench.hull_mm[0] <= low
    assert bench.hull_mm[1] >= high
    assert "shade.drive.changed" in bench.noted


def test_another_channel_of_a_board_starts_a_conversation_of_its_own() -> None:
    bench = settled_at_top()
    bench.spec = replace(SPEC, link=ContractLink(board=ATTIC, channel=3))
    bench.start()
    assert (bench.shade.knowledge.base, bench.shade.channel.boot) == (None, None)


def test_an_event_that_changes_nothing_gives_back_the_same_house() -> None:
    bench = settled_at_top()
    before = bench.house
    bench.report(n=1, count=0)
    bench.report(n=1, count=0)
    assert before is not None
    same, decided = handle(
        bench.house,
        LinkHeard(at=bench.at(), board=BoardId("attic-board"), link=Link.LOST, boot=0, retained=True),
    )
    assert same is bench.house
    assert decided == Decisions()


def test_what_is_not_in_the_settings_is_noted_and_otherwise_ignored() -> None:
    bench = settled_at_top()
    stray = ReportHeard(
        at=bench.at(), board=BoardId("nobody"), channel=0, report=bench.said(), retained=False
    )
    assert bench.happens(stray).notes[0].name == "board.channel.unknown"
    ask = Asked(
        at=bench.at(), shade=ShadeId("attic"), want=Percent(open_pct=1), rank=Rank.HAND, source="page"
    )
    assert bench.happens(ask).notes[0].name == "shade.name.unknown"


def test_an_old_claim_is_outbid_and_a_higher_live_one_is_obeyed() -> None:
    bench = settled_at_top()
    bench.claim(7, retained=True)
    assert bench.house is not None
    assert bench.house.term == 8
    stood_down = []
    for term in (8, 9):
        bench.claim(term, retained=False)
        stood_down.append(bench.house.stood_down)
    assert stood_down == [False, True]
    assert bench.due_s is None


def test_an_order_that_unlinks_the_count_is_flushed_though_the_hull_stays() -> None:
    bench = Bench().in_conversation(awake=False)
    bench.press(Button.UP)
    assert bench.order.do is Do.SEEK
    assert bench.last.grew


def test_a_report_that_narrows_the_claim_needs_no_flush() -> None:
    bench = settled_at_top()
    bench.ask(50)
    order = bench.order
    assert bench.last.grew
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=order.seq, awake=False)
    assert not bench.last.grew


def test_a_hold_ends_though_the_wall_clock_steps_back() -> None:
    bench = settled_at_top()
    bench.ask(100)
    bench.ask(50)
    bench.report(count=0, why=Why.REFUSED, because="speed", seq=bench.shade.seq - 1, awake=False)
    bench.tick(3.0)
    bench.answer(count=0, awake=False)
    assert bench.shade.hold_until is not None
    due = bench.due_s
    assert due == pytest.approx(7197.0, abs=1)
    bench.tick(7300.0)
    assert bench.shade.hold_until is None


def test_without_a_broker_only_deadlines_are_waited_for() -> None:
    bench = settled_at_top()
    bench.lose()
    assert bench.due_s is None
    bench.ask(50)
    assert bench.due_s == pytest.approx(30.0)


def test_a_bridge_that_has_stood_down_claims_nothing_of_what_it_does_not_hear() -> None:
    bench = Bench().known_at_top()
    bench.claim(7, retained=False)
    assert bench.house is not None
    assert bench.house.stood_down
    assert bench.hull_mm[1] < 5
    bench.link(Link.LOST)
    known = bench.shade.knowledge
    assert (known.base, known.hull) == (None, SPEC.ends)
    before = bench.house
    bench.tick(5.0)
    assert bench.shade is before.shades[bench.shade.id]


def test_a_bridge_that_stands_down_while_deaf_claims_nothing_either() -> None:
    bench = Bench().known_at_top()
    bench.link(Link.LOST)
    assert bench.hull_mm[1] < 5
    bench.claim(7, retained=False)
    assert bench.shade.knowledge.hull == SPEC.ends
