"""Looking back through a journal page by page, newest first, for people who search.

Reads the sentences of the decisions only and derives nothing, so it costs little beside a running bridge.
Blocking: whoever has a loop calls it in a thread.
"""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.adapters.journal import files
from bridge.core.errors import LinkError

# Rows looked through for one page; a search that finds little goes on with the next.
LOOKED_MAX = 1500
_TOGETHER = 100
# Decisions without a sentence are the most; they are left out before they are parsed.
_QUERY = (
    "SELECT id, utc, decisions FROM event WHERE id < ? AND id >= ? "
    "AND instr(decisions, CAST('\"notes\":[]' AS BLOB)) = 0 ORDER BY id DESC LIMIT ?"
)
# These have no sentence of their own, but tell a person something.
_SAID = ("request.accepted", "shade.reference.met")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One sentence of the journal.

    Attributes:
        row: Its event's number.
        utc: When, ISO 8601.
        shade: The shade it is about; None for the house.
        what: The note's fixed name.
        level: How loud.
        text: The sentence.
    """

    row: int
    utc: str
    shade: str | None
    what: str
    level: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """Sentences, newest first, and the row before which to go on; None at the end."""

    lines: tuple[Line, ...]
    older: int | None


def look(path: Path, *, search: str, shade: str, before: int | None, limit: int) -> Page:
    """Return the newest sentences that fit.

    Args:
        path: The journal.
        search: Words that all have to stand in the sentence, its name or its shade, in any case.
        shade: Only of this shade; "" for all.
        before: Only rows older than this; None for all.
        limit: At most so many, >= 1.

    Raises:
        LinkError: the file can't be read.
    """
    wanted = search.lower().split()
    with files.trouble_told(path, "reading"), closing(files.connect_reading(path)) as connection:
        first, last = connection.execute("SELECT min(id), max(id) FROM event").fetchone()
        if last is None:
            return Page(lines=(), older=None)
        begin = min(last + 1 if before is None else before, last + 1)
        end = max(first, begin - LOOKED_MAX)
        lines, at = _looked(connection, begin, end, wanted, shade, limit)
    return Page(lines=tuple(lines), older=at if at > first else None)


def _looked(
    connection: sqlite3.Connection, begin: int, end: int, wanted: list[str], shade: str, limit: int
) -> tuple[list[Line], int]:
    """Return what fits, and the last row that was looked at."""
    found: list[Line] = []
    at = begin
    while at > end:
        rows = connection.execute(_QUERY, (at, end, _TOGETHER)).fetchall()
        for row, utc, decisions in rows:
            fitting = [line for line in _lines(row, utc, decisions) if _fits(line, wanted, shade)]
            # A row is never split: what does not fit on this page begins the next.
            if found and len(found) + len(fitting) > limit:
                return found, at
            found += fitting
            at = row
        if len(rows) < _TOGETHER:
            return found, end
    return found, at


def _lines(row: int, utc: str, decisions: bytes) -> list[Line]:
    try:
        notes = json.loads(decisions)["notes"]
        return [
            Line(
                row=row,
                utc=utc,
                shade=note["shade"],
                what=note["name"],
                level=note["level"],
                text=_sentence(note),
            )
            for note in reversed(notes)
            if note["text"] or note["name"] in _SAID
        ]
    except (ValueError, KeyError, TypeError) as error:
        raise LinkError(
            where=f"journal, event {row}",
            problem=f"not readable by this version: {error!a}",
            remedy="run `hembar replay` to see what is sound",
        ) from error


def _sentence(note: dict[str, Any]) -> str:
    fields = dict(note["fields"])
    if note["text"]:
        return str(note["text"])
    if note["name"] == "request.accepted":
        return f"{fields.get('want')} from {fields.get('source')} was taken up"
    return f"a reference was met, known to {fields.get('width_mm')} mm"


def _fits(line: Line, wanted: list[str], shade: str) -> bool:
    if shade and line.shade != shade:
        return False
    said = f"{line.text} {line.what} {line.shade or ''}".lower()
    return all(word in said for word in wanted)
