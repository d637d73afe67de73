"""One line a note, fields kept apart, payloads cut."""

import io
import json
from datetime import UTC, datetime

import pytest

from bridge.core.outcome import Level, Note
from bridge.core.values import ShadeId
from bridge.shell import logs

AT = datetime(2026, 3, 1, 8, 0, 0, 250, tzinfo=UTC)


def written(note: Note, *, verbose: bool = False) -> list[dict[str, object]]:
    to = io.StringIO()
    logs.write(logs.begin(verbose=verbose, as_json=True, to=to), note, at=AT)
    return [json.loads(line) for line in to.getvalue().splitlines()]


def test_a_note_is_one_line_with_its_fields_and_the_time_of_its_event() -> None:
    fields = (("from_steps", 0), ("to_steps", 8123))
    note = Note(
        name="shade.move.finished", level=Level.INFO, shade=ShadeId("study"), text="done", fields=fields
    )
    (line,) = written(note)
    assert line == {
        "timestamp": "2026-03-01T08:00:00.000250Z",
        "event": "shade.move.finished",
        "level": "info",
        "shade": "study",
        "text": "done",
        "from_steps": 0,
        "to_steps": 8123,
    }


@pytest.mark.parametrize(("verbose", "lines"), [(False, 0), (True, 1)])
def test_debug_lines_are_for_those_who_ask(verbose: bool, lines: int) -> None:
    note = Note(name="board.report.outdated", level=Level.DEBUG)
    assert len(written(note, verbose=verbose)) == lines


def test_a_line_break_in_a_field_starts_no_line_of_its_own() -> None:
    (line,) = written(Note(name="a.thing.said", level=Level.WARNING, text="one\ntwo"))
    assert line["text"] == "one\ntwo"


def test_lines_for_people_name_the_event_and_the_fields() -> None:
    to = io.StringIO()
    note = Note(name="a.thing.said", level=Level.ERROR, fields=(("count", 3),))
    logs.write(logs.begin(verbose=False, as_json=False, to=to), note, at=AT)
    assert "a.thing.said" in to.getvalue()
    assert "count=3" in to.getvalue()
    assert "\x1b" not in to.getvalue()


def test_a_line_of_the_shells_own_is_stamped_too() -> None:
    to = io.StringIO()
    logs.begin(verbose=False, as_json=True, to=to).warning("broker.session.lost")
    assert json.loads(to.getvalue())["timestamp"].endswith("Z")


@pytest.mark.parametrize(
    ("payload", "shown"),
    [
        (b"40", "40"),
        (b"\xff4", "\\xff4"),
        (b"x" * 200, "x" * 200),
        (b"x" * 201, "x" * 200 + "… (201 bytes)"),
    ],
)
def test_a_payload_is_cut_at_200_bytes(payload: bytes, shown: str) -> None:
    assert logs.shown(payload) == shown
