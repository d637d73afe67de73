"""A new disk with the broker's memory, and an older journal put back: in doubt, and never too narrow."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.core.contract import Do, Why
from bridge.core.events import BrokerLost, BrokerReached, Button, ClaimHeard, MemoryHeard, Percent, Press
from bridge.core.outlook import shade_outlook
from bridge.core.position.allowance import physical_range
from bridge.core.position.claims import width_mm
from bridge.core.position.estimate import Grade
from bridge.core.position.memory import Memory
from bridge.core.recalling import ORDERS_LOST_MAX, fresh, refuted, remembered
from bridge.core.state import House
from bridge.core.values import BoardId, Interval
from tests.core_house import KITCHEN, STUDY, Talk, demo_spec

UP = Press(button=Button.UP)


def settled(talk: Talk | None = None) -> Talk:
    """Return a house whose shade has found its switch and stands at 60 %."""
    talk = talk or Talk()
    talk.start()
    talk.link()
    talk.answer()
    talk.find_top(UP)
    talk.go(60)
    assert grade(talk) in (Grade.REFERENCED, Grade.RECKONED)
    return talk


def grade(talk: Talk) -> Grade:
    assert talk.house is not None
    return shade_outlook(talk.house, talk.shade).grade


def memory_of(talk: Talk) -> Memory:
    assert talk.house is not None
    memory = remembered(talk.shade, talk.house.term)
    assert memory is not None
    return memory


def truth(talk: Talk) -> Interval:
    return talk.shade.knowledge.hull


def new_disk(old: Talk, memory: Memory | None) -> Talk:
    """Return a house without a journal before the same board, which has been asked and not answered yet."""
    talk = Talk(
        spec=old.spec, name=old.name, now_s=old.now_s, boot=old.boot, n=old.n, seq=old.seq, count=old.count
    )
    talk.start()
    if memory is not None:
        talk.tell(MemoryHeard(at=talk.at(), shade=talk.name, memory=memory))
    talk.link(retained=True)
    return talk


def test_a_shade_at_rest_is_remembered_with_its_offset_in_steps_and_its_band_in_mm() -> None:
    talk = settled()
    memory = memory_of(talk)
    known = talk.shade.knowledge
    assert (memory.boot, memory.n, memory.base) == (talk.boot, talk.n, known.base)
    assert memory.low_mm <= 720 <= memory.high_mm  # 60 % open of 1800 mm
    assert memory.high_mm - memory.low_mm < 20


def test_a_moving_an_unheard_and_a_fresh_shade_are_not_remembered() -> None:
    talk = Talk()
    talk.start()
    assert remembered(talk.shade, 1) is None
    talk.link()
    talk.answer()
    assert remembered(talk.shade, 1) is None
    settled(talk := Talk())
    talk.ask(Percent(open_pct=20))
    assert remembered(talk.shade, 1) is None
    talk.obey()
    assert remembered(talk.shade, 1) is not None
    talk.tell(BrokerLost(at=talk.at()))
    assert remembered(talk.shade, 1) is None


def test_absence_means_nothing() -> None:
    talk = new_disk(settled(), None)
    talk.answer()
    assert grade(talk) is Grade.UNKNOWN


def test_nothing_is_believed_of_a_memory_before_its_board_has_answered() -> None:
    old = settled()
    talk = new_disk(old, memory_of(old))
    assert truth(talk).contains(physical_range(talk.shade_spec))
    assert grade(talk) is Grade.UNKNOWN


def test_a_new_disk_takes_a_memory_up_in_doubt_when_the_board_has_done_nothing_since() -> None:
    old = settled()
    talk = new_disk(old, memory_of(old))
    talk.answer()
    assert truth(talk).contains(truth(old))
    assert truth(talk).width == truth(old).width
    assert grade(talk) is Grade.DOUBTFUL
    assert talk.noted("shade.memory.recalled")


def test_what_a_memory_told_stays_in_doubt_through_moves_until_a_reference_is_met() -> None:
    old = settled()
    talk = new_disk(old, memory_of(old))
    talk.answer()
    talk.go(40)
    assert grade(talk) is Grade.DOUBTFUL
    talk.find_top(UP)
    assert grade(talk) is Grade.REFERENCED


def test_reports_that_nobody_read_widen_what_a_memory_tells() -> None:
    old = settled()
    memory = memory_of(old)
    widths = []
    for unread in (0, 1, 4):
        talk = new_disk(old, memory)
        talk.n += unread
        talk.answer()
        assert truth(talk).contains(truth(old))
        widths.append(truth(talk).width)
    assert widths[0] < widths[1] < widths[2]


def test_orders_that_a_memory_does_not_know_widen_it_by_what_they_may_have_lost() -> None:
    """In 15 reports it has not been up at its stop and come back here, so nothing was lost there."""
    old = settled()
    memory = memory_of(old)
    old.go(30)
    old.go(35)
    talk = new_disk(old, memory)
    talk.report(why=Why.REFUSED, because="seq", seq=old.seq)
    talk.answer()
    assert truth(talk).contains(truth(old))
    assert width_mm(talk.shade_spec, truth(talk)) < 30
    assert grade(talk) is Grade.DOUBTFUL


def test_near_the_top_unknown_orders_may_have_lost_steps_at_the_stop() -> None:
    old = settled()
    old.go(97)
    memory = memory_of(old)
    old.go(95)
    talk = new_disk(old, memory)
    talk.report(why=Why.REFUSED, because="seq", seq=old.seq)
    talk.answer()
    assert truth(talk).contains(truth(old))
    assert width_mm(talk.shade_spec, truth(talk)) > 100


def test_where_an_unpowered_motor_does_not_hold_an_unread_report_may_have_been_a_fall() -> None:
    old = Talk(name=KITCHEN)
    settled(old)
    talk = new_disk(old, memory_of(old))
    talk.n += 1
    talk.answer()
    assert truth(talk).high == physical_range(talk.shade_spec).high


@pytest.mark.parametrize(
    "change",
    [
        {"boot": 413},
        {"stalls": 1},
        {"count": None},
    ],
)
def test_a_board_that_has_lived_on_otherwise_makes_a_memory_worthless(change: dict[str, object]) -> None:
    old = settled()
    talk = new_disk(old, memory_of(old))
    if "boot" in change:
        talk.boot = 413
        talk.report()
        change = {}
    talk.answer(**change)
    assert grade(talk) is Grade.UNKNOWN
    assert talk.noted("shade.memory.refuted")


@pytest.mark.parametrize(
    "strange",
    [
        {"board": BoardId("stair-board")},
        {"channel": 1},
        {"drive": "0123456789ab"},
    ],
)
def test_a_memory_of_another_channel_or_drive_is_not_taken(strange: dict[str, object]) -> None:
    old = settled()
    memory = replace(memory_of(old), **strange)  # type: ignore[arg-type]  # one of several fields
    talk = new_disk(old, memory)
    assert talk.shade.memory is None
    talk.answer()
    assert grade(talk) is Grade.UNKNOWN


@pytest.mark.parametrize("base", [Interval(low=-(2**30), high=-(2**29)), Interval(low=2**29, high=2**30)])
def test_a_memory_of_a_place_where_no_hem_bar_can_be_does_nothing(base: Interval) -> None:
    old = settled()
    talk = new_disk(old, replace(memory_of(old), base=base))
    talk.answer()
    assert grade(talk) is Grade.UNKNOWN


def test_of_two_memories_the_older_loses() -> None:
    old = settled()
    first = memory_of(old)
    old.go(30)
    second = memory_of(old)
    for order in ((first, second), (second, first)):
        talk = new_disk(old, order[0])
        talk.tell(MemoryHeard(at=talk.at(), shade=talk.name, memory=order[1]))
        assert talk.shade.memory == second


def test_a_memory_that_comes_after_the_answer_counts_as_well() -> None:
    old = settled()
    talk = new_disk(old, None)
    talk.answer()
    talk.tell(MemoryHeard(at=talk.at(), shade=talk.name, memory=memory_of(old)))
    assert truth(talk).contains(truth(old))
    assert grade(talk) is Grade.DOUBTFUL


def test_a_journal_with_evidence_of_its_own_takes_no_memory() -> None:
    talk = settled()
    wide = replace(memory_of(talk), seq=10**6, base=Interval(low=0, high=0))
    before = talk.house
    talk.tell(MemoryHeard(at=talk.at(), shade=STUDY, memory=wide))
    assert talk.house is before
    assert talk.last.notes == ()


def test_a_memory_of_an_unknown_shade_does_nothing() -> None:
    talk = settled()
    before = talk.house
    talk.tell(MemoryHeard(at=talk.at(), shade=KITCHEN, memory=memory_of(talk)))
    assert talk.house is before


def test_a_damaged_journal_may_be_helped_by_the_broker() -> None:
    talk = settled()
    memory, hull = memory_of(talk), truth(talk)
    talk.start(memory_lost=True)
    talk.tell(MemoryHeard(at=talk.at(), shade=STUDY, memory=memory))
    talk.link(retained=True)
    talk.answer()
    assert truth(talk).contains(hull)
    assert grade(talk) is Grade.DOUBTFUL


def test_a_refuted_memory_is_told_so_that_the_broker_forgets_it() -> None:
    talk = settled()
    assert not refuted(talk.shade)
    talk.report(count=None)
    assert refuted(talk.shade)
    assert not fresh(talk.shade)


# An older journal put back.


def put_back(house: House, newest: Talk) -> Talk:
    """Return a run that starts from an older house before the board of today."""
    talk = Talk(spec=newest.spec, house=house, name=newest.name, now_s=newest.now_s, boot=newest.boot)
    talk.n, talk.seq, talk.count = newest.n, newest.seq, newest.count
    talk.start()
    return talk


def asked_by_hints(talk: Talk) -> None:
    talk.link(retained=True)
    talk.report(retained=True)
    talk.answer()


def test_an_older_journal_is_found_out_by_orders_that_it_never_sent() -> None:
    newest = settled()
    older = newest.house
    assert older is not None
    newest.go(20)
    talk = put_back(older, newest)
    asked_by_hints(talk)
    assert talk.noted("shade.journal.outdated")
    assert truth(talk).contains(truth(newest))
    assert grade(talk) is Grade.DOUBTFUL


def test_an_older_journal_is_found_out_where_the_shade_has_come_back_to_its_place() -> None:
    newest = settled()
    older = newest.house
    assert older is not None
    for _ in range(ORDERS_LOST_MAX):
        newest.go(20)
        newest.go(60)
    talk = put_back(older, newest)
    asked_by_hints(talk)
    assert talk.noted("shade.journal.outdated")
    assert truth(talk).contains(truth(newest))


def test_few_orders_of_which_the_place_tells_nothing_add_their_slip() -> None:
    newest = settled()
    older = newest.house
    assert older is not None
    newest.go(20)
    newest.go(60)
    talk = put_back(older, newest)
    asked_by_hints(talk)
    assert talk.noted("shade.journal.outdated") == []
    assert truth(talk).contains(truth(newest))


def test_questions_that_a_power_cut_took_from_the_journal_are_no_alarm() -> None:
    newest = settled()
    older, width = newest.house, truth(newest).width
    assert older is not None
    newest.tell(BrokerLost(at=newest.at()))
    newest.tell(BrokerReached(at=newest.at()))
    newest.link()
    newest.answer()
    talk = put_back(older, newest)
    asked_by_hints(talk)
    assert talk.noted("shade.journal.outdated") == []
    assert grade(talk) in (Grade.REFERENCED, Grade.RECKONED)
    assert truth(talk).width < 2 * width


def test_the_newest_journal_is_no_alarm() -> None:
    talk = settled()
    hull = truth(talk)
    talk.start()
    asked_by_hints(talk)
    assert talk.noted("shade.journal.outdated") == []
    assert truth(talk) == hull


def test_a_claim_as_high_as_this_runs_own_shows_that_the_journal_is_not_the_newest() -> None:
    newest = settled()
    older = newest.house
    assert older is not None
    newest.start()
    newest.link()
    newest.answer()
    newest.go(10)
    assert newest.house is not None
    claimed = newest.house.term
    talk = put_back(older, newest)
    talk.tell(ClaimHeard(at=talk.at(), term=claimed, retained=True))
    assert talk.noted("shade.journal.outdated")
    assert talk.house is not None
    assert talk.house.term > claimed
    asked_by_hints(talk)
    assert truth(talk).contains(truth(newest))
    assert grade(talk) is Grade.DOUBTFUL


def test_a_board_in_a_later_boot_tells_an_outdated_journal_nothing() -> None:
    newest = settled()
    older = newest.house
    assert older is not None
    talk = put_back(older, newest)
    talk.tell(ClaimHeard(at=talk.at(), term=90, retained=True))
    talk.boot, talk.seq = talk.boot + 1, 0
    talk.link()
    talk.answer()
    assert grade(talk) is Grade.UNKNOWN


def test_the_claim_of_this_bridges_last_run_is_no_alarm() -> None:
    talk = settled()
    assert talk.house is not None
    last = talk.house.term
    talk.start()
    talk.tell(ClaimHeard(at=talk.at(), term=last, retained=True))
    assert talk.noted("shade.journal.outdated") == []
    assert talk.house.term == last + 1


def test_a_refusal_for_a_higher_term_shows_that_the_journal_is_not_the_newest() -> None:
    newest = settled()
    older = newest.house
    assert older is not None
    newest.go(20)
    talk = put_back(older, newest)
    talk.link()
    talk.report(why=Why.REFUSED, because="term", term=77, seq=newest.seq)
    assert talk.noted("shade.journal.outdated")
    talk.answer()
    assert talk.orders[-1].term == 78
    assert truth(talk).contains(truth(newest))


def test_a_memory_of_the_last_run_with_later_orders_shows_that_the_journal_is_not_the_newest() -> None:
    """Last night's copy of the journal is put back, and the board has had its power cut since."""
    newest = settled()
    older = newest.house
    assert older is not None
    for _ in range(ORDERS_LOST_MAX):
        newest.go(20)
        newest.go(60)
    memory = memory_of(newest)
    talk = put_back(older, newest)
    talk.tell(MemoryHeard(at=talk.at(), shade=STUDY, memory=memory))
    assert talk.noted("shade.journal.outdated")
    assert talk.shade.memory == memory
    talk.boot, talk.seq = talk.boot + 1, 0
    talk.link()
    talk.answer()
    assert grade(talk) is Grade.UNKNOWN


def test_a_request_of_an_outdated_journal_moves_nothing() -> None:
    newest = settled()
    newest.ask(Percent(open_pct=10))
    older = newest.house
    assert older is not None
    talk = put_back(older, newest)
    talk.tell(ClaimHeard(at=talk.at(), term=90, retained=True))
    asked_by_hints(talk)
    assert [each for each in talk.orders if each.do in (Do.GO, Do.SEEK)] == []
    ends = talk.noted("request.ended")
    assert len(ends) == 1


def test_the_drive_of_a_memory_is_that_of_the_settings() -> None:
    old = settled()
    memory = memory_of(old)
    other = Talk(spec=demo_spec(('gear = "57/11"', 'gear = "5"')), boot=old.boot, n=old.n, count=old.count)
    other.start()
    other.tell(MemoryHeard(at=other.at(), shade=STUDY, memory=memory))
    assert other.shade.memory is None
