"""The journal first, then the orders, then everything else; and what still leaves when the disk refuses."""

import asyncio
import json
import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bridge.adapters.journal.store import FileJournal
from bridge.core.events import BrokerLost, BrokerReached, Switch, Switched, Ticked
from bridge.core.house import handle
from bridge.core.values import ShadeId
from bridge.shell import logs
from bridge.shell.deciding import Deciding
from tests.unit.shell.small_house import ONE, ORDERS, OTHER, Bench, ask, at, stop

# The tree follows milliseconds later: in these tests they pass at once.
pytestmark = pytest.mark.looptime
A_WHILE_S = 1.0


@pytest.fixture
async def bench() -> Bench:
    begun = Bench()
    await begun.begin()
    return begun


def orders(bench: Bench, shade: ShadeId = ONE) -> list[str]:
    return [json.loads(payload)["do"] for payload in bench.payloads(ORDERS[shade])]


async def test_a_request_is_written_before_its_order_leaves(bench: Bench) -> None:
    seen: list[int] = []
    append = bench.journal.append

    def watched(*happened: object) -> None:
        seen.append(len(bench.sent))
        append(*happened)  # type: ignore[arg-type]  # passed on as it came

    bench.journal.append = watched  # type: ignore[method-assign]  # this fake's own method, to look at the instant
    assert await bench.deciding.take(ask(40))
    assert seen == [0]
    assert orders(bench) == ["go"]


async def test_the_accepted_target_follows_the_order(bench: Bench) -> None:
    await bench.deciding.take(ask(40))
    assert bench.topics() == [ORDERS[ONE]]
    await asyncio.sleep(A_WHILE_S)
    assert bench.topics()[0] == ORDERS[ONE]
    assert list(bench.payloads(f"{ONE}/opening/position/$target")) == [b"40", b"40"]


async def test_events_that_wait_together_are_written_in_one_piece_and_all_their_orders_leave(
    bench: Bench,
) -> None:
    events = ask(40), ask(60, shade=OTHER)
    await bench.deciding.take(*events)
    assert bench.journal.written == [list(events)]
    assert orders(bench, ONE) == orders(bench, OTHER) == ["go"]


async def test_the_second_of_two_events_is_decided_in_the_light_of_the_first(bench: Bench) -> None:
    await bench.deciding.take(ask(40), ask(70, second=10.01))
    assert orders(bench) == ["go"]
    request = bench.house.shades[ONE].request
    assert request is not None
    assert request.target_pct == 70


async def test_what_changes_nothing_is_not_written(bench: Bench) -> None:
    unknown = ask(40, shade=ShadeId("attic"))
    await bench.deciding.take(unknown)
    written = bench.journal.tries
    assert not await bench.deciding.take()
    assert bench.journal.tries == written


async def test_a_disk_that_refuses_holds_a_request_back_and_says_so(bench: Bench) -> None:
    before = bench.house
    bench.journal.refuses = True
    await bench.deciding.take(ask(40))
    await asyncio.sleep(A_WHILE_S)
    assert bench.house is before
    assert orders(bench) == []
    assert next(bench.payloads("$log/warn")) == (
        b"refused: opening/position '40': the bridge can't write its journal: the disk is full"
    )
    assert '"event": "journal.write.failed"' in bench.log.getvalue()


async def test_a_stop_leaves_though_the_disk_refuses(bench: Bench) -> None:
    await bench.deciding.take(ask(40))
    bench.journal.refuses = True
    await bench.deciding.take(stop())
    assert orders(bench) == ["go", "stop"]


def numbers(bench: Bench, shade: ShadeId = ONE) -> list[int]:
    return [json.loads(payload)["seq"] for payload in bench.payloads(ORDERS[shade])]


async def test_a_number_that_has_left_with_a_stop_is_not_given_again_though_the_disk_refused(
    bench: Bench,
) -> None:
    await bench.deciding.take(ask(40))
    bench.journal.refuses = True
    await bench.deciding.take(stop())
    assert bench.house.shades[ONE].seq == numbers(bench)[-1]
    bench.journal.refuses = False
    await bench.deciding.take(ask(70, second=12.0))
    assert orders(bench) == ["go", "stop", "go"]
    assert numbers(bench) == sorted(set(numbers(bench)))


@contextmanager
def no_file_grows() -> Iterator[None]:
    """Let every write that makes a file longer fail, as on a full disk."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


async def test_numbers_go_on_over_a_disk_that_refuses_and_over_a_restart_after_it(tmp_path: Path) -> None:
    bench = Bench()
    journal = FileJournal(tmp_path / "journal", handle)
    assert journal.recover().house is None
    bench.deciding = Deciding(journal, bench.faces, logs.begin(verbose=True, as_json=True, to=bench.log))
    await bench.begin()
    await bench.deciding.take(ask(40))
    with no_file_grows():
        await bench.deciding.take(stop())
        await bench.deciding.take(ask(55, second=11.5))
    assert '"event": "journal.write.failed"' in bench.log.getvalue()
    request = bench.house.next_request
    await bench.deciding.take(ask(70, second=12.0))
    assert orders(bench) == ["go", "stop", "go"]
    assert numbers(bench) == sorted(set(numbers(bench)))
    journal.close()
    again = FileJournal(tmp_path / "journal", handle)
    found = again.recover().house
    again.close()
    assert found is not None
    assert (found.next_request, found.shades[ONE].seq) == (request + 1, numbers(bench)[-1])


async def test_a_lock_holds_though_the_disk_refuses_and_a_pause_does_not(bench: Bench) -> None:
    bench.journal.refuses = True
    await bench.deciding.take(ask(40))
    await bench.deciding.take(Switched(at=at(11.0), switch=Switch.PAUSE, on=True, source="a test"))
    await bench.deciding.take(Switched(at=at(11.5), switch=Switch.LOCK, on=True, source="a test"))
    assert (bench.house.locked, bench.house.paused) == (True, False)


async def test_of_a_declined_request_not_even_a_question_leaves(bench: Bench) -> None:
    await bench.deciding.take(BrokerLost(at=at(11.0)), BrokerReached(at=at(12.0)))
    bench.forget()
    before = bench.house
    bench.journal.refuses = True
    await bench.deciding.take(ask(40, second=13.0))
    assert orders(bench) == []
    assert bench.house is before


async def test_what_was_heard_counts_though_it_could_not_be_written(bench: Bench) -> None:
    bench.journal.refuses = True
    report = bench.report(ONE, second=20.0)
    await bench.deciding.take(report)
    assert bench.house.shades[ONE].channel.n == report.report.n


async def test_when_several_can_not_be_written_each_is_tried_alone(bench: Bench) -> None:
    bench.journal.refuses = True
    report = bench.report(OTHER, second=20.0)
    await bench.deciding.take(ask(40), report)
    assert orders(bench) == []
    assert bench.house.shades[ONE].request is None
    assert bench.house.shades[OTHER].channel.n == report.report.n


async def test_a_gap_is_closed_by_a_snapshot_before_the_next_event_is_written(bench: Bench) -> None:
    bench.journal.refuses = True
    await bench.deciding.take(bench.report(ONE, second=20.0))
    bench.journal.refuses = False
    heard = bench.house
    await bench.deciding.take(ask(40, second=21.0))
    assert bench.journal.snapshots == [(heard, True)]
    assert orders(bench) == ["go"]


async def test_a_snapshot_that_is_wanted_waits_for_a_quiet_moment(bench: Bench) -> None:
    bench.journal.wants_snapshot = True
    await bench.deciding.take(ask(40))
    assert bench.journal.snapshots == []
    assert bench.deciding.wants_rest
    bench.deciding.rest()
    assert bench.journal.snapshots == [(bench.house, False)]
    assert not bench.deciding.wants_rest


async def test_a_snapshot_that_is_needed_waits_for_nothing(bench: Bench) -> None:
    bench.journal.needs_snapshot = True
    await bench.deciding.take(ask(40))
    assert bench.journal.snapshots == [(bench.house, False)]


async def test_a_snapshot_that_failed_is_tried_again_only_after_the_next_event(bench: Bench) -> None:
    bench.journal.wants_snapshot = bench.journal.refuses = True
    bench.deciding.rest()
    assert not bench.deciding.wants_rest
    bench.journal.refuses = False
    await bench.deciding.take(ask(40))
    assert bench.deciding.wants_rest


async def test_a_snapshot_that_fails_is_told_and_stops_nothing(bench: Bench) -> None:
    bench.journal.refuses = True
    bench.deciding.snapshot()
    assert '"event": "journal.snapshot.failed"' in bench.log.getvalue()
    bench.journal.refuses = False
    await bench.deciding.take(ask(40))
    assert orders(bench) == ["go"]


async def test_closing_writes_the_house_a_last_time(bench: Bench) -> None:
    bench.deciding.close()
    assert bench.journal.snapshots == [(bench.house, False)]
    assert bench.journal.closed


async def test_a_house_that_never_began_leaves_no_snapshot() -> None:
    bench = Bench()
    bench.deciding.close()
    assert bench.journal.snapshots == []


async def test_a_tick_sends_what_was_due(bench: Bench) -> None:
    await bench.deciding.take(ask(40), ask(70, second=10.01))
    await bench.deciding.take(Ticked(at=at(10.3)))
    assert orders(bench) == ["go", "go"]
