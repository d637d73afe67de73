"""Reading a journal without owning it, also while a bridge writes to it.

One short read transaction; nothing in the file is changed and no lock is held afterwards.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from bridge.adapters.journal import codec, files
from bridge.adapters.journal.replay import shades_of
from bridge.adapters.journal.rows import Content, Row, read
from bridge.core.errors import LinkError, RequestError
from bridge.core.events import Event, SettingsChanged, Started
from bridge.core.outcome import Decisions


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One event and what it led to."""

    row: int
    event: Event
    decisions: Decisions


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What a journal holds about one shade.

    Attributes:
        entries: Oldest first.
        last_utc: When the last event of any shade was; None without any.
        timezone: Of the clocks of the house then; None when it tells no place.
    """

    entries: list[Entry]
    last_utc: datetime | None
    timezone: str | None


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


def entries_until(path: Path, *, shade: str, until: datetime | None) -> About:
    """Return every event about `shade` that the journal holds, up to a time.

    Args:
        path: The journal.
        shade: Its id.
        until: Later events are left out; None for none.

    Raises:
        LinkError: the file can't be read, or a row is not of this version.
        ConfigError: another program's file, or a newer format.
    """
    content = read_content(path)
    found = []
    last = None
    timezone = _timezone_of(content)
    for row in content.rows:
        entry = _entry(path, row)
        if until is not None and entry.event.at.utc > until:
            break
        last = entry.event.at.utc
        if isinstance(entry.event, Started | SettingsChanged) and entry.event.spec.site is not None:
            timezone = entry.event.spec.site.timezone
        if shade in shades_of(entry.event, entry.decisions):
            found.append(entry)
    return About(entries=found, last_utc=last, timezone=timezone)


def _timezone_of(content: Content) -> str | None:
    """Return the clocks of the house in the oldest snapshot; events may have been cut off before it."""
    for shot in content.snapshots:
        try:
            site = json.loads(shot.house)["spec"]["site"]
            return None if site is None else str(site["timezone"])
        except (ValueError, KeyError, TypeError):
            continue
    return None
