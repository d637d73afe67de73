"""What a journal file holds and how it is checked: a chain of sealed events, and snapshots along it.

Each event's seal covers the seal before it, so a changed, missing or foreign row breaks the chain. A
snapshot carries the seal of the last event that it covers, so the chain goes on from there. Where events
could not be written, a snapshot takes the place, number and seal of the one that is missing: it closes a gap.
"""

from __future__ import annotations

import hashlib
import sqlite3
from dataclasses import dataclass
from typing import Any

FORMAT = 1
APPLICATION_ID = 0x68656D62  # "hemb"; tells our files from every other SQLite file
BEGINNING = b""  # the seal before the first event

SCHEMA = f"""
CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    utc TEXT NOT NULL,
    event BLOB NOT NULL,
    decisions BLOB NOT NULL,
    seal BLOB NOT NULL
);
CREATE TABLE snapshot (
    through INTEGER PRIMARY KEY,
    utc TEXT NOT NULL,
    house BLOB NOT NULL,
    last BLOB NOT NULL,
    seal BLOB NOT NULL
);
CREATE TABLE damage (text TEXT NOT NULL, lost INTEGER NOT NULL);
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {FORMAT};
"""

_OPEN_END = "; what came after is not known"

# Reading meets these when bytes of the file are wrong; anything else is the machine's trouble.
_DAMAGED = frozenset(
    {
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_ERROR,  # a table is gone
        sqlite3.SQLITE_IOERR_READ,
        sqlite3.SQLITE_IOERR_SHORT_READ,
        sqlite3.SQLITE_NOTADB,
        sqlite3.SQLITE_TOOBIG,
    }
)
_EVENTS = "SELECT id, utc, event, decisions, seal FROM event ORDER BY id"
_SNAPSHOTS = "SELECT through, utc, house, last, seal FROM snapshot ORDER BY through"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One event and what it led to, as bytes; `seal` as it stands in the file."""

    id: int
    utc: str
    event: bytes
    decisions: bytes
    seal: bytes

    def follows(self, last: bytes) -> bool:
        """Say whether this row is whole and comes right after the row sealed `last`."""
        return self.seal == seal(last, self.id, self.utc, self.event, self.decisions)


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The house after event `through`, whose seal is `last`."""

    through: int
    utc: str
    house: bytes
    last: bytes
    seal: bytes

    @property
    def sound(self) -> bool:
        return self.seal == seal(self.last, self.through, self.utc, self.house)

    def closes_gap(self, last: bytes) -> bool:
        """Say whether this snapshot stands in place of an event right after the row sealed `last`."""
        return self.last == seal(last, self.through, self.utc, self.house)


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """All that could be read.

    Attributes:
        rows: By rising id; not checked yet.
        snapshots: By rising `through`; not checked yet.
        damage: What could not be read, one sentence each.
        lost: Events may be among it.
        told: The damage that an earlier start found and no event has carried on yet.
    """

    rows: tuple[Row, ...] = ()
    snapshots: tuple[Snapshot, ...] = ()
    damage: tuple[str, ...] = ()
    lost: bool = False
    told: tuple[tuple[str, bool], ...] = ()


def seal(last: bytes, number: int, utc: str, *parts: bytes) -> bytes:
    """Return the 16 bytes that vouch for a row and for all before it."""
    digest = hashlib.blake2b(last, digest_size=16)
    digest.update(f"{number} {utc} {' '.join(str(len(part)) for part in parts)}\n".encode())
    for part in parts:
        digest.update(part)
    return digest.digest()


def read(connection: sqlite3.Connection, *, thorough: bool) -> Content:
    """Return what the file holds, as far as its pages can be read.

    Raises:
        sqlite3.Error: the machine, not the file, is in trouble.
    """
    damage = _page_faults(connection) if thorough else []
    rows, row_fault = _both_ways(connection, _EVENTS)
    shots, shot_fault = _both_ways(connection, _SNAPSHOTS)
    told, told_fault = _fetch(connection, "SELECT text, lost FROM damage")
    damage += [fault for fault in (row_fault, shot_fault, told_fault) if fault]
    return Content(
        rows=tuple(_row(*columns) for columns in rows),
        snapshots=tuple(_snapshot(*columns) for columns in shots),
        damage=tuple(damage),
        lost=row_fault.endswith(_OPEN_END),
        told=tuple((str(text), bool(lost)) for text, lost in told),
    )


def _page_faults(connection: sqlite3.Connection) -> list[str]:
    found, fault = _fetch(connection, "PRAGMA quick_check(3)")
    texts = [str(text) for (text,) in found if text != "ok"]
    return [f"its pages are damaged: {text}" for text in [*texts, *([fault] if fault else [])]]


def _row(number: int, utc: object, event: object, decisions: object, mark: object) -> Row:
    return Row(id=number, utc=str(utc), event=_bytes(event), decisions=_bytes(decisions), seal=_bytes(mark))


def _snapshot(through: int, utc: object, house: object, last: object, mark: object) -> Snapshot:
    return Snapshot(through=through, utc=str(utc), house=_bytes(house), last=_bytes(last), seal=_bytes(mark))


def _bytes(value: object) -> bytes:
    return value if isinstance(value, bytes) else b""  # damage can change a column's type; no seal fits b""


def _both_ways(connection: sqlite3.Connection, sql: str) -> tuple[list[tuple[Any, ...]], str]:
    """Read from the front and, past a damaged page, from the back; the gap shows in the numbers."""
    front, fault = _numbered(connection, sql)
    if not fault:
        return front, ""
    seen = {number for number, *_ in front}
    back, _ = _numbered(connection, sql + " DESC")
    rest = [row for row in reversed(back) if row[0] not in seen]
    return front + rest, fault if rest else fault + _OPEN_END


def _numbered(connection: sqlite3.Connection, sql: str) -> tuple[list[tuple[Any, ...]], str]:
    """Read rows that have a number; damage to the list of tables can take it from all of them."""
    rows, fault = _fetch(connection, sql)
    sound = [row for row in rows if isinstance(row[0], int)]
    if len(sound) < len(rows) and not fault:
        fault = f"{len(rows) - len(sound)} rows have lost their numbers"
    return sound, fault


def _fetch(connection: sqlite3.Connection, sql: str) -> tuple[list[tuple[Any, ...]], str]:
    rows: list[tuple[Any, ...]] = []
    try:
        rows.extend(connection.execute(sql))
    except (sqlite3.Error, UnicodeDecodeError) as error:  # a message may quote garbled names
        if not is_damage(error):
            raise
        return rows, f"reading stopped after {len(rows)} rows: {error}"
    return rows, ""


def is_damage(error: Exception) -> bool:
    """Say whether the file's own bytes are wrong, a table that is gone included."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    return code in _DAMAGED or code & 0xFF == sqlite3.SQLITE_CORRUPT
