"""What a journal keeps through ordinary starts and stops."""

import os
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.adapters.journal import codec
from bridge.adapters.journal.reading import entries, entries_until, read_content
from bridge.adapters.journal.replay import from_oldest
from bridge.core.errors import ConfigError, LinkError
from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.state import House
from bridge.ports import Journal
from tests.unit.adapters.journal.fakes import (
    asked,
    at,
    fake_handle,
    given_house,
    given_journal,
    life,
    live,
    other_handle,
    pressed,
    recovered,
    started,
    written,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state" / "journal.sqlite"


def rows_in(path: Path, sql: str) -> list[tuple[object, ...]]:
    connection = sqlite3.connect(path)
    try:
        return connection.execute(sql).fetchall()
    finally:
        connection.close()


def test_the_file_journal_is_what_the_port_asks_for(path: Path) -> None:
    journal: Journal = given_journal(path)
    assert not journal.wants_snapshot


def test_a_new_journal_knows_nothing_and_finds_no_fault(path: Path) -> None:
    found = recovered(path)
    assert (found.house, found.differences, found.damage, found.lost) == (None, (), (), False)


def test_the_house_comes_back_as_it_was_after_every_stop(path: Path) -> None:
    house = written(path, started(), asked(1), pressed(2))
    assert recovered(path).house == house
    again = written(path, started(10), asked(11))
    found = recovered(path)
    assert found.house == again
    assert (found.differences, found.damage, found.lost) == ((), (), False)


def test_snapshot_and_tail_give_the_same_bytes_as_a_full_replay(tmp_path: Path) -> None:
    events = life(60)
    written(tmp_path / "often", *events, every=7)
    written(tmp_path / "never", *events)
    often, never = recovered(tmp_path / "often").house, recovered(tmp_path / "never").house
    assert often is not None
    assert never is not None
    assert codec.encode_house(often) == codec.encode_house(never)


def test_a_snapshot_is_wanted_after_the_events_it_was_set_to(path: Path) -> None:
    journal = given_journal(path, every=3)
    house = journal.recover().house
    wanted = []
    for event in (started(), pressed(1), pressed(2)):
        house, decisions = fake_handle(house, event)
        journal.append((event, decisions))
        wanted.append(journal.wants_snapshot)
    assert house is not None
    journal.snapshot(house)
    wanted.append(journal.wants_snapshot)
    journal.close()
    assert wanted == [False, False, True, False]


def test_a_snapshot_is_needed_after_twice_as_many_events(path: Path) -> None:
    journal = given_journal(path, every=2)
    house = journal.recover().house
    needed = []
    for event in (started(), pressed(1), pressed(2), pressed(3)):
        house, decisions = fake_handle(house, event)
        journal.append((event, decisions))
        needed.append(journal.needs_snapshot)
    assert house is not None
    journal.snapshot(house)
    needed.append(journal.needs_snapshot)
    journal.close()
    assert needed == [False, False, False, True, False]


def test_the_tail_read_at_a_start_counts_towards_the_next_snapshot(path: Path) -> None:
    written(path, *life(4), every=100)
    journal = given_journal(path, every=4)
    journal.recover()
    assert journal.wants_snapshot
    journal.close()


def test_two_snapshots_always_stand_and_older_events_go(path: Path) -> None:
    written(path, *life(50), every=10)
    assert rows_in(path, "SELECT through FROM snapshot") == [(40,), (50,)]
    assert rows_in(path, "SELECT min(id), max(id) FROM event") == [(41, 50)]


def test_the_first_snapshot_drops_nothing(path: Path) -> None:
    written(path, *life(10), every=10)
    assert rows_in(path, "SELECT count(*) FROM event") == [(10,)]


def test_a_stop_soon_after_another_keeps_the_events_of_both(path: Path) -> None:
    written(path, *life(20), every=10)
    journal = given_journal(path, every=10)
    house = live(journal, journal.recover().house, started(100), asked(101))
    journal.snapshot(house)
    journal.close()
    assert rows_in(path, "SELECT through FROM snapshot") == [(10,), (20,), (22,)]
    assert rows_in(path, "SELECT min(id) FROM event") == [(11,)]


def test_many_quick_restarts_leave_few_snapshots(path: Path) -> None:
    for n in range(30):
        journal = given_journal(path)
        journal.snapshot(live(journal, journal.recover().house, started(n)))
        journal.close()
    assert rows_in(path, "SELECT count(*) FROM snapshot") == [(8,)]


def test_a_snapshot_without_news_writes_nothing(path: Path) -> None:
    journal = given_journal(path)
    journal.recover()
    journal.snapshot(given_house())
    journal.close()
    assert rows_in(path, "SELECT count(*) FROM snapshot") == [(0,)]


def test_a_version_that_decides_otherwise_is_told_with_both_decisions(path: Path) -> None:
    written(path, started(), asked(1, 40), pressed(2))
    (difference,) = recovered(path, handle=other_handle).differences
    assert (difference.row, difference.shades, difference.utc) == (2, ("study",), at(1).utc.isoformat())
    assert '"to":40' in difference.kept
    assert '"to":41' in difference.replayed
    assert difference.orders_differ


def test_a_version_that_only_words_its_notes_otherwise_is_told_apart(path: Path) -> None:
    def wordier(house: House | None, event: Event) -> tuple[House, Decisions]:
        house, decisions = fake_handle(house, event)
        return house, replace(decisions, notes=decisions.notes * 2)

    written(path, started(), asked(1), pressed(2))
    differences = recovered(path, handle=wordier).differences
    assert [(each.row, each.orders_differ) for each in differences] == [(1, False), (3, False)]


def test_a_version_that_fails_on_an_old_event_still_starts_with_what_came_before(path: Path) -> None:
    def failing(house: House | None, event: Event) -> tuple[House, Decisions]:
        if event == asked(2):
            raise AssertionError("a bug of this version")
        return fake_handle(house, event)

    written(path, started(), asked(1), asked(2), asked(3))
    found = recovered(path, handle=failing)
    assert found.house == fake_handle(fake_handle(None, started())[0], asked(1))[0]
    assert found.lost
    assert found.damage == (
        "event 3 can't be replayed by this version: AssertionError: a bug of this version",
    )
    assert recovered(path).lost, "the next start must hear of it as long as no event has carried it on"


def test_a_second_bridge_is_refused_with_the_first_ones_process_number(path: Path) -> None:
    journal = given_journal(path)
    journal.recover()
    with pytest.raises(LinkError) as told:
        given_journal(path).recover()
    assert told.value.problem == f"another hembar has it open, process {os.getpid()}"
    journal.close()
    recovered(path)


def test_the_lock_holds_between_processes(path: Path) -> None:
    journal = given_journal(path)
    journal.recover()
    code = (
        "import pathlib, sys\n"
        "from tests.unit.adapters.journal.fakes import recovered\n"
        "recovered(pathlib.Path(sys.argv[1]))\n"
    )
    other = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False
    )
    journal.close()
    assert "LinkError" in other.stderr
    assert f"process {os.getpid()}" in other.stderr


def test_a_journal_of_a_newer_format_is_refused_untouched(path: Path) -> None:
    written(path, started())
    rows_in(path, "PRAGMA user_version = 2")
    before = path.read_bytes()
    with pytest.raises(ConfigError) as told:
        recovered(path)
    assert told.value.problem == "it has format 2, and this hembar knows formats up to 1"
    assert path.read_bytes() == before


def test_a_database_of_another_program_is_refused_untouched(path: Path) -> None:
    path.parent.mkdir()
    rows_in(path, "CREATE TABLE recipe (name TEXT)")
    before = path.read_bytes()
    with pytest.raises(ConfigError) as told:
        recovered(path)
    assert told.value.problem == "this is a database of another program (application id 0)"
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.glob("*damaged*")] == []


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("a file where the folder should be")
    with pytest.raises(LinkError) as told:
        recovered(tmp_path / "state" / "journal.sqlite")
    assert told.value.problem == "opening failed: File exists"


def test_rows_never_go_to_a_file_that_lost_its_name(path: Path) -> None:
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started())
    path.rename(path.with_name("moved"))
    with pytest.raises(LinkError, match="No such file"):
        live(journal, house, asked(1))
    path.write_bytes(b"")
    with pytest.raises(LinkError, match="replaced while hembar had it open"):
        live(journal, house, asked(1))
    journal.close()


def test_a_refused_row_leaves_no_trace_and_the_next_one_is_taken(path: Path) -> None:
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started())
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN IMMEDIATE")
    with pytest.raises(LinkError, match="writing an event failed: database is locked"):
        live(journal, house, asked(1))
    reader.execute("ROLLBACK")
    reader.close()
    house = live(journal, house, asked(2))
    journal.close()
    found = recovered(path)
    assert (found.house, found.damage) == (house, ())


def test_fifty_thousand_events_stay_small(path: Path) -> None:
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started())
    decisions = Decisions(notes=fake_handle(house, pressed(1))[1].notes * 3)
    largest = 0
    for n in range(1, 50_000):
        house, _ = fake_handle(house, pressed(n))
        journal.append((pressed(n), decisions))
        if journal.wants_snapshot:
            journal.snapshot(house)
            largest = max(largest, sum(file.stat().st_size for file in path.parent.iterdir()))
    journal.close()
    assert largest < 12 << 20, f"{largest >> 20} MiB on the disk"


def test_a_forced_snapshot_closes_the_gap_left_by_events_that_could_not_be_written(path: Path) -> None:
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started(), asked(1))
    for second in (2, 3):
        house, _ = fake_handle(house, asked(second))
    journal.snapshot(house, forced=True)
    house = live(journal, house, asked(4))
    journal.close()
    found = recovered(path)
    assert (found.house, found.differences, found.damage, found.lost) == (house, (), (), False)
    whole = from_oldest(read_content(path), fake_handle)
    assert (whole.house, whole.events, whole.differences, whole.damage) == (house, 3, (), ())


def test_a_damaged_snapshot_over_a_gap_loses_what_only_it_knew(path: Path) -> None:
    journal = given_journal(path)
    before = live(journal, journal.recover().house, started(), asked(1))
    journal.snapshot(fake_handle(before, asked(2))[0], forced=True)
    journal.close()
    connection = sqlite3.connect(path)
    with connection:
        connection.execute("UPDATE snapshot SET house = 'x'")
    connection.close()
    found = recovered(path)
    assert (found.house, found.damage, found.lost) == (before, ("snapshot 3 is damaged",), True)


def test_two_forced_snapshots_may_follow_each_other(path: Path) -> None:
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started())
    for second in (1, 2):
        house, _ = fake_handle(house, asked(second))
        journal.snapshot(house, forced=True)
    house = live(journal, house, asked(3))
    journal.close()
    assert recovered(path).house == house
    assert from_oldest(read_content(path), fake_handle).house == house


def test_the_events_about_one_shade_are_those_of_it_alone(path: Path) -> None:
    written(path, started(), asked(1), pressed(2), asked(3), started(4))
    about = entries_until(path, shade="study", until=None)
    found = about.entries
    assert [entry.event for entry in found[-2:]] == [pressed(2), asked(3)]
    assert [len(entry.decisions.orders) for entry in found[-2:]] == [0, 1]
    assert about.last_utc == started(4).at.utc
    assert len(list(entries(path))) == 5


def test_the_events_can_be_read_while_the_bridge_writes(path: Path) -> None:
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started(), asked(1))
    assert len(list(entries(path))) == 2
    live(journal, house, asked(2))
    assert len(list(entries(path))) == 3
    journal.close()


def test_reading_changes_no_file_and_leaves_none_behind(path: Path) -> None:
    written(path, started(), asked(1))
    before = {file.name: file.read_bytes() for file in path.parent.iterdir()}
    assert list(entries(path))
    assert {file.name: file.read_bytes() for file in path.parent.iterdir()} == before
