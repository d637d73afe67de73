from dataclasses import replace

import pytest

from bridge.core.contract import Do, Link, Why
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from tests.unit.core.bench import SPEC, Bench

END_MM = SPEC.travel.drop_at_steps(SPEC.travel.end_steps)


def is_whole_range(hull_mm: tuple[float, float]) -> bool:
    low, high = hull_mm
    return low == pytest.approx(-25.0, abs=0.1) and high == pytest.approx(END_MM)


def test_a_board_that_comes_up_is_asked_where_it_is() -> None:
    bench = Bench()
    bench.reach()
    bench.link(boot=7)
    assert (bench.order.do, bench.order.boot, bench.order.seq) == (Do.TELL, 7, 1)


def test_a_retained_report_is_a_hint_and_never_evidence() -> None:
    bench = Bench()
    bench.reach()
    bench.report(retained=True, boot=3, n=40, count=500, seq=17)
    assert bench.order == replace(bench.order, do=Do.TELL, boot=3, seen=40, seq=18)
    assert is_whole_range(bench.hull_mm)
    assert not bench.shade.channel.answered


def test_a_retained_report_of_an_older_boot_is_passed_over() -> None:
    bench = Bench()
    bench.reach()
    bench.link(boot=5)
    bench.report(retained=True, boot=4, n=900, seq=30)
    assert (bench.shade.channel.boot, bench.shade.channel.n, bench.shade.seq) == (5, 0, 1)


def test_the_answer_is_evidence_and_so_is_what_follows_it() -> None:
    bench = Bench().known_at_top()
    bench.report(count=0, why=Why.TOLD, answers=None)
    assert bench.shade.channel.answered
    assert bench.shade.channel.n == bench.n


def test_a_report_that_comes_again_changes_nothing() -> None:
    bench = Bench().known_at_top()
    before = bench.shade
    bench.report(n=bench.n, count=9999)
    assert bench.shade == before
    assert bench.noted == ["board.report.outdated"]


def test_a_live_report_of_another_boot_is_no_evidence_and_ends_the_claim() -> None:
    bench = Bench(local_button=True, unpowered_holds=()).known_at_top()
    assert grade_of(SPEC, bench.shade.knowledge.hull) is Grade.REFERENCED
    bench.report(boot=2, n=1, count=0, seq=0, why=Why.BOOT)
    assert (bench.order.do, bench.order.boot) == (Do.TELL, 2)
    assert is_whole_range(bench.hull_mm)


def test_a_renewed_link_is_asked_again_and_nothing_is_claimed_meanwhile() -> None:
    bench = Bench(unpowered_holds=()).known_at_top()
    bench.link(boot=1)
    assert bench.order.do is Do.TELL
    assert bench.hull_mm[1] == pytest.approx(END_MM)


def test_a_lost_board_is_not_asked_and_waits_for_no_tick() -> None:
    bench = Bench().known_at_top()
    bench.link(Link.LOST)
    assert bench.noted == ["board.link.lost"]
    assert bench.last.orders == ()
    assert bench.due_s is None


def test_lost_twice_is_told_once() -> None:
    bench = Bench().known_at_top()
    bench.link(Link.LOST)
    bench.link(Link.LOST)
    assert bench.noted == []


def test_a_retained_word_does_not_overrule_a_board_in_conversation() -> None:
    bench = Bench().known_at_top()
    bench.link(Link.LOST, retained=True)
    assert bench.shade.channel.answered


def test_lost_of_an_older_boot_is_passed_over() -> None:
    bench = Bench().in_conversation(boot=4)
    bench.link(Link.LOST, boot=3)
    assert bench.shade.channel.answered


def test_a_board_that_counts_its_reports_afresh_has_forgotten() -> None:
    bench = Bench().known_at_top()
    for _ in range(5):
        bench.report(count=0)
    bench.link(boot=1)
    bench.n = 0
    bench.answer(count=0)
    assert "board.count.restarted" in bench.noted
    assert bench.shade.knowledge.mark is None
    assert bench.shade.knowledge.base == bench.shade.knowledge.anchor


def test_a_board_that_has_seen_a_higher_term_is_outbid() -> None:
    bench = Bench()
    bench.reach()
    bench.link(boot=1)
    bench.report(why=Why.REFUSED, because="term", term=9, seq=0)
    assert (bench.order.do, bench.order.term) == (Do.TELL, 10)


def test_out_of_hearing_the_button_may_be_used_within_its_bounds() -> None:
    bench = Bench(local_button=True).known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=order.to, why=Why.ARRIVED, to=order.to, seq=order.seq)
    bench.link(Link.LOST)
    low, high = bench.hull_mm
    assert low == pytest.approx(-8, abs=3)
    assert high == pytest.approx(1805, abs=8)


def test_a_request_waits_anew_for_a_board_that_is_lost() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    bench.now_s += 20
    bench.link(Link.LOST)
    bench.tick(29)
    assert bench.fates == []
    bench.tick(1)
    assert bench.fates == ["expired"]


def test_a_hint_of_orders_that_are_not_here_leaves_no_bounds_to_rely_on() -> None:
    bench = Bench().known_at_top()
    bench.ask(50)
    order = bench.order
    bench.report(count=order.to, to=order.to, why=Why.ARRIVED, seq=order.seq)
    bench.lose()
    bench.reach()
    bench.report(count=order.to, seq=order.seq, retained=True)
    ours = bench.shade.channel.bounds
    bench.report(count=order.to, seq=bench.shade.seq + 3, retained=True)
    assert (ours is None, bench.shade.channel.bounds) == (False, None)
