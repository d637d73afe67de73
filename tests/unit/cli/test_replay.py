"""`hembar replay` as a process of its own, on journals that the real house has written."""

import json
import sqlite3
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from bridge.adapters.journal.rows import BEGINNING, seal
from bridge.adapters.journal.store import FileJournal
from bridge.core.contract import Link, Report, Why
from bridge.core.events import BrokerReached, Confirmed, Event, LinkHeard, Place, ReportHeard, Ticked
from bridge.core.house import handle
from bridge.core.state import House
from bridge.core.values import BoardId
from tests.unit.adapters.journal.fakes import STUDY, asked, at, pressed, started

BOARD = BoardId("board-1")
Change = tuple[bytes, bytes]
NONE = (b"", b"")


def heard(second: int, n: int, count: int, why: Why, **more: int | bool | None) -> ReportHeard:
    fields = {"seq": 0, "to": None, "answers": None, "moving": False, **more}
    report = Report(
        boot=3,
        n=n,
        count=count,
        kept=True,
        awake=bool(fields["moving"]),
        why=why,
        pulses_per_turn=Fraction(45600, 11),
        **fields,  # type: ignore[arg-type]  # by name from the keywords above
    )
    return ReportHeard(at=at(second), board=BOARD, channel=0, report=report, retained=False)


def a_morning() -> list[Event]:
    """A board answers, a person confirms the upper limit, then asks, changes their mind and stops."""
    return [
        started(),
        BrokerReached(at=at(1)),
        LinkHeard(at=at(2), board=BOARD, link=Link.UP, boot=3, retained=True),
        heard(3, 2, 0, Why.TOLD, seq=1, answers=1),
        Confirmed(at=at(4), shade=STUDY, place=Place.UPPER),
        asked(5, 40),
        heard(6, 3, 500, Why.STARTED, seq=2, moving=True, to=29399),
        asked(7, 60),
        pressed(8),
        Ticked(at=at(9)),
    ]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A journal with a snapshot in its middle, cleanly closed."""
    path = tmp_path / "journal.db"
    journal = FileJournal(path, handle)
    house = journal.recover().house
    for number, event in enumerate(a_morning()):
        house = through(journal, house, event)
        if number == 6:
            journal.snapshot(house)
    journal.close()
    return path


def through(journal: FileJournal, house: House | None, event: Event) -> House:
    house, decisions = handle(house, event)
    journal.append((event, decisions))
    return house


def replay(path: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = "import sys; from bridge.cli.main import main; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", command, "replay", str(path), *options],
        capture_output=True,
        text=True,
        check=False,
    )


def test_an_untouched_journal_comes_out_the_same(path: Path) -> None:
    done = replay(path)
    assert done.stderr == ""
    assert done.stdout.splitlines()[1:] == [
        "events 1 to 10, 2026-11-25T06:00:00+00:00 to 2026-11-25T06:00:09+00:00",
        "10 events replayed, 4 orders, 1 later snapshots compared",
        "the same: every decision came out again byte for byte",
    ]
    assert done.returncode == 0


def test_the_orders_counted_are_those_of_the_morning(path: Path) -> None:
    connection = sqlite3.connect(path)
    rows = connection.execute("SELECT decisions FROM event").fetchall()
    connection.close()
    kinds = [order["order"]["do"] for (row,) in rows for order in json.loads(row)["orders"]]
    assert kinds == ["tell", "go", "go", "stop"]


def test_a_running_bridge_can_be_replayed(tmp_path: Path) -> None:
    journal = FileJournal(tmp_path / "journal.db", handle)
    house = journal.recover().house
    for event in a_morning():
        house = through(journal, house, event)
    done = replay(tmp_path / "journal.db", "--json")
    journal.close()
    assert json.loads(done.stdout)["events"] == 10
    assert done.returncode == 0


def test_a_row_changed_by_hand_is_found(path: Path) -> None:
    change(path, "UPDATE event SET decisions = replace(decisions, '29399', '29400') WHERE id = 6")
    done = replay(path)
    assert "damage: event 6 is damaged or belongs to another journal" in done.stdout
    assert done.returncode == 1


def test_a_row_changed_and_sealed_again_is_a_difference_with_row_time_and_shade(path: Path) -> None:
    forge(path, decisions=(b'"to":29399', b'"to":29400'))
    done = replay(path)
    assert "event 6 at 2026-11-25T06:00:05+00:00, about study" in done.stdout
    assert "not the same: 1 differences, 0 damages" in done.stdout
    assert done.returncode == 1


def test_a_difference_is_told_in_full_as_json(path: Path) -> None:
    forge(path, decisions=(b'"to":29399', b'"to":29400'))
    (difference,) = json.loads(replay(path, "--json").stdout)["differences"]
    assert (difference["row"], difference["shades"]) == (6, ["study"])
    kept, replayed = json.loads(difference["kept"]), json.loads(difference["replayed"])
    assert kept["orders"][0]["order"]["to"] == 29400
    assert replayed["orders"][0]["order"]["to"] == 29399


def test_a_snapshot_that_the_events_do_not_lead_to_is_a_difference(path: Path) -> None:
    forge(path, house=(b'"next_request":2', b'"next_request":5'))
    done = replay(path)
    assert "event 7 at" in done.stdout
    assert done.returncode == 1


def test_no_file_another_file_and_a_folder_end_with_2(tmp_path: Path) -> None:
    other = tmp_path / "notes.txt"
    other.write_text("no database " * 1000)
    for path, problem in (
        (tmp_path / "missing", "there is no such file"),
        (other, "file is not a database"),
        (tmp_path, "this is a folder"),
    ):
        done = replay(path)
        assert problem in done.stderr
        assert done.returncode == 2


def test_a_newer_format_ends_with_2(path: Path) -> None:
    change(path, "PRAGMA user_version = 9")
    done = replay(path)
    assert "it has format 9" in done.stderr
    assert done.returncode == 2


def change(path: Path, sql: str) -> None:
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(sql)
    connection.close()


def forge(path: Path, *, decisions: Change = NONE, house: Change = NONE) -> None:
    """Change what the rows say and seal all of them again, as only our own code should."""
    connection = sqlite3.connect(path)
    seals, last = {}, BEGINNING
    for number, utc, event, old in connection.execute(
        "SELECT id, utc, event, decisions FROM event"
    ).fetchall():
        new = old.replace(*decisions)
        last = seals[number] = seal(last, number, utc, event, new)
        connection.execute("UPDATE event SET decisions = ?, seal = ? WHERE id = ?", (new, last, number))
    for number, utc, old in connection.execute("SELECT through, utc, house FROM snapshot").fetchall():
        new = old.replace(*house)
        values = new, seals[number], seal(seals[number], number, utc, new), number
        connection.execute("UPDATE snapshot SET house = ?, last = ?, seal = ? WHERE through = ?", values)
    connection.commit()
    connection.close()
