"""Reading a journal without owning it, also while a bridge writes to it.

One short read transaction; nothing in the file is changed and no lock is held afterwards.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from bridge.adapters.journal import codec, files
from bridge.adapters.journal.replay import shades_of
from bridge.adapters.journal.rows import Content, Row, read
from bridge.core.errors import LinkError, RequestError
from bridge.core.events import Event
from bridge.core.outcome import Decisions


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One event and what it led to."""

    row: int
    event: Event
    decisions: Decisions


def read_content(path: Path) -> Content:
    """Return all that the journal holds.

    Raises:
        RequestError: there is no such file.
        LinkError: it can't be read.
        ConfigError: another program's file, or a newer format.
    """
    if not path.is_file():
        raise RequestError(
            where=f"journal {path}",
            problem="this is a folder" if path.is_dir() else "there is no such file",
            remedy="name the journal that the settings name",
        )
    with files.trouble_told(path, "reading"), closing(files.connect_reading(path)) as connection:
        connection.execute("BEGIN")
        return read(connection, thorough=False)


def entries(path: Path) -> Iterator[Entry]:
    """Yield every event that the journal holds, oldest first.

    Raises:
        LinkError: the file can't be read, or a row is not of this version.
        ConfigError: another program's file, or a newer format.
    """
    for row in read_content(path).rows:
        yield _entry(path, row)


def _entry(path: Path, row: Row) -> Entry:
    try:
        return Entry(
            row=row.id,
            event=codec.decode_event(row.event),
            decisions=codec.decode_decisions(row.decisions),
        )
    except ValueError as error:
        raise LinkError(
            where=f"journal {path}, event {row.id}",
            problem=str(error),
            remedy="run `hembar replay` to see what is sound",
        ) from error


def entries_until(path: Path, *, shade: str, until: datetime | None) -> tuple[list[Entry], datetime | None]:
    """Return every event about `shade` that the journal holds, oldest first, and when the last of any was.

    Args:
        path: The journal.
        shade: Its id.
        until: Later events are left out; None for none.

    Raises:
        LinkError: the file can't be read, or a row is not of this version.
        ConfigError: another program's file, or a newer format.
    """
    found = []
    last = None
    for entry in entries(path):
        if until is not None and entry.event.at.utc > until:
            break
        last = entry.event.at.utc
        if shade in shades_of(entry.event, entry.decisions):
            found.append(entry)
    return found, last
