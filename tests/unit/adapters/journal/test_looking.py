"""Looking back page by page: newest first, nothing twice, nothing left out, words in any case."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from bridge.adapters.journal.looking import LOOKED_MAX, Line, look
from bridge.adapters.journal.store import FileJournal
from bridge.core.errors import LinkError
from bridge.core.events import Ticked
from bridge.core.house import handle
from bridge.core.outcome import Decisions, Level, Note
from bridge.core.values import Moment, ShadeId

BEGIN = datetime(2026, 3, 1, tzinfo=UTC)


def written(path: Path, *notes: tuple[Note, ...]) -> Path:
    journal = FileJournal(path / "journal.db", handle)
    journal.recover()
    for number, each in enumerate(notes):
        at = Moment(utc=BEGIN + timedelta(seconds=number), mono_s=float(number))
        journal.append((Ticked(at=at), Decisions(notes=each)))
    journal.close()
    return path / "journal.db"


def note(text: str, *, shade: str | None = "study", name: str = "rule.shade.decided") -> Note:
    return Note(name=name, level=Level.INFO, shade=None if shade is None else ShadeId(shade), text=text)


def all_of(path: Path, *, search: str = "", shade: str = "", limit: int = 2) -> list[Line]:
    found: list[Line] = []
    before: int | None = None
    while True:
        page = look(path, search=search, shade=shade, before=before, limit=limit)
        found += page.lines
        if page.older is None:
            return found
        before = page.older


@pytest.mark.parametrize("limit", [1, 2, 3, 50])
def test_pages_follow_each_other_newest_first(tmp_path: Path, limit: int) -> None:
    path = written(tmp_path, *((note(f"line {n}"),) for n in range(9)))
    assert [line.text for line in all_of(path, limit=limit)] == [f"line {n}" for n in reversed(range(9))]


def test_a_row_with_more_lines_than_a_page_is_told_whole_and_once(tmp_path: Path) -> None:
    path = written(
        tmp_path, (note("old"),), tuple(note(f"of one event {n}") for n in range(5)), (note("new"),)
    )
    told = [line.text for line in all_of(path, limit=2)]
    assert told == ["new", *(f"of one event {n}" for n in reversed(range(5))), "old"]


def test_every_word_has_to_stand_there_in_any_case(tmp_path: Path) -> None:
    path = written(tmp_path, (note("Raised: WIND 12 m/s"),), (note("wind is calm"),), (note("Ümlaut"),))
    assert [line.text for line in all_of(path, search="wind raised")] == ["Raised: WIND 12 m/s"]
    assert [line.text for line in all_of(path, search="ümlaut")] == ["Ümlaut"]
    assert all_of(path, search="100%_") == []


def test_one_shade_s_lines_are_only_its_own(tmp_path: Path) -> None:
    path = written(tmp_path, (note("a"), note("b", shade="kitchen")), (note("c", shade=None),))
    assert [line.text for line in all_of(path, shade="kitchen")] == ["b"]
    assert [line.shade for line in all_of(path, limit=50)] == [None, "kitchen", "study"]


def test_notes_without_a_sentence_are_left_out_unless_they_tell_a_person_something(tmp_path: Path) -> None:
    accepted = Note(
        name="request.accepted", level=Level.INFO, shade=ShadeId("study"),
        fields=(("want", "40 %"), ("source", "the page")),
    )  # fmt: skip
    path = written(tmp_path, (note("", name="order.sent"),), (accepted,))
    assert [line.text for line in all_of(path)] == ["40 % from the page was taken up"]


def test_a_long_search_goes_on_in_bounded_parts(tmp_path: Path) -> None:
    path = written(tmp_path, (note("needle"),), *((note(f"hay {n}"),) for n in range(LOOKED_MAX + 50)))
    first = look(path, search="needle", shade="", before=None, limit=5)
    assert (first.lines, first.older is not None) == ((), True)
    assert [line.text for line in all_of(path, search="needle")] == ["needle"]


def test_an_empty_journal_and_one_that_is_none(tmp_path: Path) -> None:
    assert all_of(written(tmp_path)) == []
    (tmp_path / "other.db").write_bytes(b"not a journal")
    with pytest.raises(LinkError):
        look(tmp_path / "other.db", search="", shade="", before=None, limit=5)
    with pytest.raises(LinkError):
        look(tmp_path / "missing.db", search="", shade="", before=None, limit=5)
