"""What is still believed after rows, pages or whole files have been spoilt, and that nothing is deleted."""

import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from bridge.adapters.journal import codec, files
from bridge.core.errors import ConfigError
from bridge.core.events import Event
from bridge.core.state import House
from tests.unit.adapters.journal.fakes import (
    asked,
    at,
    fake_handle,
    given_journal,
    life,
    live,
    pressed,
    recovered,
    started,
    written,
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "journal.sqlite"


def spoil(path: Path, sql: str, *values: object) -> None:
    connection = sqlite3.connect(path)
    with connection:
        connection.execute(sql, values)
    connection.close()


def houses_along(events: list[Event]) -> list[House | None]:
    """Return the house before the first event, then after each."""
    houses: list[House | None] = [None]
    for event in events:
        houses.append(fake_handle(houses[-1], event)[0])
    return houses


def set_aside(path: Path) -> list[str]:
    return sorted(file.name for file in path.parent.glob("*.aside-*"))


def crashed_copy(path: Path, events: list[Event], *, every: int = 2000) -> Path:
    """Return a copy of database and log as a crash after these events would leave them."""
    journal = given_journal(path, every=every)
    live(journal, journal.recover().house, *events)
    copy = path.with_name("crashed")
    shutil.copy(path, copy)
    shutil.copy(files.beside(path, "-wal"), files.beside(copy, "-wal"))
    journal.close()
    return copy


def test_a_changed_row_ends_what_is_believed_and_is_told(path: Path) -> None:
    events = life(8)
    written(path, *events)
    spoil(path, "UPDATE event SET event = replace(event, '\"open_pct\":3', '\"open_pct\":9') WHERE id = 4")
    found = recovered(path)
    assert found.house == houses_along(events)[3]
    assert found.damage == ("event 4 is damaged or belongs to another journal",)
    assert found.lost


def test_changed_decisions_are_found_too(path: Path) -> None:
    written(path, *life(4))
    spoil(path, "UPDATE event SET decisions = replace(decisions, '\"to\":3', '\"to\":9') WHERE id = 4")
    assert recovered(path).damage == ("event 4 is damaged or belongs to another journal",)


def test_a_missing_row_is_found(path: Path) -> None:
    events = life(8)
    written(path, *events)
    spoil(path, "DELETE FROM event WHERE id = 5")
    found = recovered(path)
    assert (found.house, found.damage, found.lost) == (houses_along(events)[4], ("event 5 is missing",), True)


def test_a_row_of_another_journal_does_not_fit(tmp_path: Path, path: Path) -> None:
    written(path, started(), asked(1), asked(2))
    written(tmp_path / "other", started(), asked(1, 77), asked(2))
    spoil(path, "DELETE FROM event WHERE id = 3")
    connection = sqlite3.connect(path)
    connection.execute("ATTACH ? AS other", (str(tmp_path / "other"),))
    with connection:
        connection.execute("INSERT INTO event SELECT * FROM other.event WHERE id = 3")
    connection.close()
    assert recovered(path).damage == ("event 3 is damaged or belongs to another journal",)


def test_a_damaged_file_is_kept_under_a_name_with_its_date(path: Path) -> None:
    written(path, *life(4))
    spoil(path, "DELETE FROM event WHERE id = 2")
    recovered(path)
    (name,) = set_aside(path)
    assert name.startswith("journal.sqlite.aside-20")
    connection = sqlite3.connect(path.with_name(name))
    assert connection.execute("SELECT count(*) FROM event").fetchone() == (3,)
    connection.close()


def test_damage_is_told_at_every_start_until_an_event_has_carried_it_on(path: Path) -> None:
    events = life(8)
    written(path, *events)
    spoil(path, "DELETE FROM event WHERE id = 5")
    first, second = recovered(path), recovered(path)
    assert (second.house, second.damage, second.lost) == (first.house, first.damage, True)
    written(path, started(50))
    third = recovered(path)
    assert (third.damage, third.lost) == ((), False)
    assert third.house == fake_handle(first.house, started(50))[0]


def test_older_damage_stays_told_when_new_damage_joins_it(path: Path) -> None:
    written(path, *life(4))
    spoil(path, "DELETE FROM event WHERE id = 2")
    recovered(path)
    spoil(path, "UPDATE snapshot SET house = 'x'")
    found = recovered(path)
    assert found.damage == ("event 2 is missing", "snapshot 1 is damaged")
    assert found.lost


def test_a_damaged_newest_snapshot_costs_nothing(path: Path) -> None:
    house = written(path, *life(29), every=10)
    spoil(path, "UPDATE snapshot SET house = replace(house, '\"term\":1', '\"term\":2') WHERE through = 20")
    found = recovered(path)
    assert (found.house, found.damage, found.lost) == (house, ("snapshot 20 is damaged",), False)


def test_damage_before_the_newest_snapshot_costs_only_the_past(path: Path) -> None:
    house = written(path, *life(29), every=10)
    spoil(path, "DELETE FROM event WHERE id = 15")
    found = recovered(path)
    assert (found.house, found.damage, found.lost) == (house, ("event 15 is missing",), False)


def test_with_no_sound_snapshot_and_no_beginning_nothing_is_believed(path: Path) -> None:
    written(path, *life(25), every=10)
    spoil(path, "UPDATE snapshot SET house = 'x'")
    found = recovered(path)
    assert found.house is None
    assert found.lost
    assert found.damage == ("snapshot 10 is damaged", "snapshot 20 is damaged", "event 1 is missing")
    written(path, started(90), asked(91))
    assert recovered(path).damage == ()


def test_a_garbled_header_sets_the_file_aside_and_begins_anew(path: Path) -> None:
    written(path, *life(8))
    garbled = b"garbage!" * 16 + path.read_bytes()[128:]
    path.write_bytes(garbled)
    found = recovered(path)
    assert (found.house, found.lost) == (None, True)
    assert found.damage == ("it is not readable as a database: file is not a database",)
    (name,) = set_aside(path)
    assert path.with_name(name).read_bytes() == garbled
    house = written(path, started(90))
    assert recovered(path).house == house


def test_garbage_behind_a_sound_magic_is_damage_not_another_programs_file(path: Path) -> None:
    written(path, *life(8))
    data = path.read_bytes()
    path.write_bytes(data[:40] + b"\xff" * 200 + data[240:])
    found = recovered(path)
    assert (found.house, found.lost) == (None, True)
    assert len(set_aside(path)) == 1


def test_an_emptied_file_is_damage_not_a_new_house(path: Path) -> None:
    written(path, *life(8))
    path.write_bytes(b"")
    found = recovered(path)
    assert (found.damage, found.lost) == (("its main file is gone or empty",), True)


def test_a_log_without_its_main_file_is_damage_not_a_new_house(path: Path) -> None:
    copy = crashed_copy(path, life(8))
    copy.unlink()
    found = recovered(copy)
    assert (found.damage, found.lost) == (("its main file is gone or empty",), True)
    assert [name.endswith("-wal") for name in set_aside(copy)] == [True]


def test_a_truncated_main_file_still_gives_a_true_past(path: Path) -> None:
    events = life(200)
    written(path, *events, every=50)
    along = houses_along(events)
    size = path.stat().st_size
    for pages in range(1, size // 4096):
        cut = path.with_name(f"cut-{pages}")
        shutil.copy(path, cut)
        with cut.open("r+b") as file:
            file.truncate(pages * 4096)
        found = recovered(cut)
        assert found.house in along
        assert found.lost
        assert found.damage


def test_a_log_cut_anywhere_leaves_a_past_and_a_torn_write_is_told(path: Path) -> None:
    events = life(30)
    copy = crashed_copy(path, events)
    along = houses_along(events)
    log = files.beside(copy, "-wal").read_bytes()
    frame = 4096 + 24
    reached = []
    for length in range(32, len(log), frame // 2):
        cut = copy.with_name(f"cut-{length}")
        shutil.copy(copy, cut)
        files.beside(cut, "-wal").write_bytes(log[:length])
        found = recovered(cut)
        reached.append(along.index(found.house))
        torn = not ends_with_a_commit(log[:length], frame)
        assert found.lost is False
        assert torn is any("unfinished writes" in text for text in found.damage)
    assert reached == sorted(reached)
    assert len(set(reached)) > 10


def ends_with_a_commit(log: bytes, frame: int) -> bool:
    """A commit's last frame carries the database's size in pages, every other frame 0."""
    whole, rest = divmod(len(log) - 32, frame)
    last = 32 + (whole - 1) * frame
    return rest == 0 and (whole == 0 or log[last + 4 : last + 8] != bytes(4))


def test_rows_that_have_lost_their_numbers_are_told_and_not_believed(path: Path) -> None:
    """One letter of the list of tables: the number of a row is no longer its key, and reads as nothing."""
    written(path, *life(8))
    data = path.read_bytes()
    assert data.count(b"INTEGER PRIMARY KEY") == 2
    path.write_bytes(data.replace(b"id INTEGER PRIMARY KEY", b"id INTEGER PRIM\x92RY KEY"))
    found = recovered(path)
    assert found.house is None
    assert any("lost their numbers" in text for text in found.damage)
    assert found.lost


def test_a_spoilt_page_in_the_log_is_told(path: Path) -> None:
    copy = crashed_copy(path, life(30))
    with files.beside(copy, "-wal").open("r+b") as log:
        log.seek(32 + 10 * (4096 + 24) + 300)
        log.write(b"spoilt")
    (text,) = recovered(copy).damage
    assert text.endswith("pages of unfinished writes at its end were dropped")


@pytest.mark.parametrize("seed", [*range(40), 848, 1295, 2408])
def test_no_spoilt_byte_ever_makes_up_a_house(path: Path, seed: int) -> None:
    chance = random.Random(seed)
    events = life(120)
    written(path, *events, every=chance.choice([25, 50, 2000]))
    data = bytearray(path.read_bytes())
    for _ in range(chance.choice([1, 1, 3, 40])):
        start = chance.randrange(len(data))
        run = chance.choice([1, 1, 16, 512])
        data[start : start + run] = chance.randbytes(len(data[start : start + run]))
    marks_hit = data[60:72] != path.read_bytes()[60:72]
    path.write_bytes(data)
    try:
        found = recovered(path)
    except ConfigError:
        # The file now says of itself that another program or version wrote it: left as it is, not believed.
        assert marks_hit
        assert path.read_bytes() == data
        return
    along = houses_along(events)
    assert found.house in along, f"seed {seed}"
    assert found.house == along[-1] or found.lost, f"seed {seed}"
    after = written(path, started(900), asked(901))
    assert recovered(path).house == after, f"seed {seed}"


def test_a_swap_cut_off_at_any_point_is_ended_at_the_next_start(tmp_path: Path) -> None:
    """Each case is one of the states between the renames of `finish`."""
    old, new = tmp_path / "old", tmp_path / "new"
    written(old, *life(8))
    house = written(new, started(), asked(1))
    for case, main, log in (("both", True, True), ("main", True, False), ("none", False, False)):
        path = tmp_path / case / "journal.sqlite"
        path.parent.mkdir()
        shutil.copy(new, files.beside(path, ".next"))
        if main:
            shutil.copy(old, path)
        if log:
            files.beside(path, "-wal").write_bytes(b"an old log that must not be laid over the new file")
        found = recovered(path)
        assert (found.house, found.damage) == (house, ()), case
        assert len(set_aside(path)) == main + log, case
        assert not files.beside(path, ".next").exists()


def test_a_file_begun_but_never_finished_is_no_truth(path: Path) -> None:
    house = written(path, *life(8))
    files.beside(path, ".making").write_bytes(b"half a file")
    assert recovered(path).house == house
    spoil(path, "DELETE FROM event WHERE id = 5")
    assert recovered(path).damage == ("event 5 is missing",)


def test_two_damages_in_one_second_get_two_names(path: Path) -> None:
    for n in range(3):
        written(path, started(n), pressed(n + 1))
        path.write_bytes(b"spoilt" * 1000)
        recovered(path)
    assert len(set_aside(path)) == 3


def test_the_bytes_of_a_house_do_not_depend_on_the_way_it_was_kept(path: Path) -> None:
    events = life(40)
    written(path, *events, every=7)
    found = recovered(path).house
    assert found is not None
    direct = houses_along(events)[-1]
    assert direct is not None
    assert codec.encode_house(found) == codec.encode_house(direct)
    assert found.now == at(39)


def test_a_spoilt_page_of_old_events_costs_nothing_that_the_newest_snapshot_knows(path: Path) -> None:
    house = written(path, *life(260), every=100)
    data = bytearray(path.read_bytes())
    page = data.index(at(150).utc.isoformat().encode()) // 4096 * 4096
    data[page : page + 100] = b"\xa5" * 100
    path.write_bytes(data)
    found = recovered(path)
    assert found.house == house
    assert found.damage
    assert not found.lost


def test_a_spoilt_page_of_new_events_leaves_the_past_before_it(path: Path) -> None:
    events = life(260)
    written(path, *events, every=100)
    data = bytearray(path.read_bytes())
    page = data.index(at(240).utc.isoformat().encode()) // 4096 * 4096
    data[page : page + 100] = b"\xa5" * 100
    path.write_bytes(data)
    found = recovered(path)
    assert 200 < houses_along(events).index(found.house) < 240
    assert found.lost
