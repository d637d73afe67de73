"""The journal of one bridge: every event before its orders leave, and the house from time to time.

A row whose hull grew is flushed with all before it; other rows are plain writes, which a power cut may
take, and then the hull still holds. After an I/O error the next write first copies the log into the main
file, for a kernel may report a failed flush only once.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TextIO

from bridge.adapters.journal import codec, files
from bridge.adapters.journal.replay import Replayed, from_newest
from bridge.adapters.journal.rows import Content, is_damage, read, seal
from bridge.core.errors import LinkError
from bridge.core.events import Event
from bridge.core.outcome import Decisions
from bridge.core.state import House
from bridge.ports import Handle, Recovered

SNAPSHOT_EVERY = 2000
# A snapshot is made at every clean stop too; this many stops are kept apart for a later look back.
SNAPSHOTS_KEPT = 8
_TIDY_IDLE, _TIDY_ALWAYS = 200, 1000  # rows after which the log is copied into the main file

_ADD_EVENT = "INSERT INTO event VALUES (?, ?, ?, ?, ?)"
_ADD_SNAPSHOT = "INSERT INTO snapshot VALUES (?, ?, ?, ?, ?)"
_ADD_DAMAGE = "INSERT INTO damage VALUES (?, ?)"


def snapshot_every(shades: int) -> int:
    """Return after how many events a house of that size wants a snapshot.

    One takes the longer the larger the house is; the events since the last one are replayed at a start, some
    thousands a second.
    """
    return max(SNAPSHOT_EVERY, 4 * shades)


class FileJournal:
    """Fulfils `ports.Journal` with one SQLite file.

    Args:
        path: The file; its folder is made when it is missing.
        handle: The house's own, for replaying.
        snapshot_every: Events after which a snapshot is wanted.
    """

    def __init__(self, path: Path, handle: Handle, *, snapshot_every: int = SNAPSHOT_EVERY) -> None:
        self._path, self._handle, self._every = path, handle, snapshot_every
        self._lock: TextIO | None = None
        self._connection: sqlite3.Connection | None = None
        self._through, self._last = 0, b""
        self._since_snapshot = self._since_tidy = 0
        self._inode = 0
        self._flushing = self._in_doubt = self._damage_told = False

    @property
    def wants_snapshot(self) -> bool:
        return self._since_snapshot >= self._every

    @property
    def needs_snapshot(self) -> bool:
        return self._since_snapshot >= 2 * self._every

    def recover(self) -> Recovered:
        assert self._lock is None, "a journal is recovered once"
        with files.trouble_told(self._path, "opening"):
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._lock = files.take_lock(self._path)
            try:
                return self._recover()
            except BaseException:
                self.close()
                raise

    def append(self, *happened: tuple[Event, Decisions]) -> None:
        rows, last = [], self._last
        for number, (event, decisions) in enumerate(happened, self._through + 1):
            utc = event.at.utc.isoformat()
            parts = codec.encode_event(event), codec.encode_decisions(decisions)
            last = seal(last, number, utc, *parts)
            rows.append((number, utc, *parts, last))
        grew = any(decisions.grew for _, decisions in happened)
        orders = any(decisions.orders or decisions.targets for _, decisions in happened)
        with self._writing("writing an event", flush=grew or self._damage_told) as connection:
            if not orders or self._since_tidy >= _TIDY_ALWAYS:
                self._tidy(connection)
            with _transaction(connection):
                connection.executemany(_ADD_EVENT, rows)
                if self._damage_told:
                    connection.execute("DELETE FROM damage")
        self._through, self._last, self._damage_told = self._through + len(rows), last, False
        self._since_snapshot += len(rows)
        self._since_tidy += len(rows)

    def snapshot(self, house: House, *, forced: bool = False) -> None:
        if self._since_snapshot == 0 and not forced:
            return
        through, last, utc = self._through, self._last, house.now.utc.isoformat()
        data = codec.encode_house(house)
        if forced:  # the house has gone on without its journal: this snapshot counts as an event
            through += 1
            last = seal(last, through, utc, data)
        with self._writing("writing a snapshot", flush=True) as connection:
            with _transaction(connection):
                connection.execute(_ADD_SNAPSHOT, (through, utc, data, last, seal(last, through, utc, data)))
                self._drop_old(connection, through)
            # Before the tidying, which can fail though the snapshot stands.
            self._through, self._last, self._since_snapshot = through, last, 0
            self._tidy(connection, least=0)

    def close(self) -> None:
        if self._connection is not None:
            self._connection.close()  # the last one out copies the log into the main file and flushes it
            self._connection = None
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def _recover(self) -> Recovered:
        files.finish(self._path)
        if not self._path.exists() and not files.beside(self._path, "-wal").exists():
            files.begin(self._path, [])
        content, torn = self._read()
        replayed = from_newest(content, self._handle)
        if replayed.damage:
            files.begin(self._path, _first_rows(replayed, content.told))
        self._open(replayed)
        told = [text for text, _ in content.told]
        torn_text = [f"{torn} pages of unfinished writes at its end were dropped"] if torn else []
        self._damage_told = bool(told or replayed.damage)
        return Recovered(
            house=replayed.house,
            differences=replayed.differences,
            damage=(*told, *replayed.damage, *torn_text),
            lost=replayed.lost or any(lost for _, lost in content.told),
        )

    def _read(self) -> tuple[Content, int]:
        if not self._path.exists() or self._path.stat().st_size == 0:
            return Content(damage=("its main file is gone or empty",), lost=True), 0
        try:
            connection = files.connect(self._path)
        except sqlite3.Error as error:
            if not is_damage(error):
                raise
            return Content(damage=(f"it is not readable as a database: {error}",), lost=True), 0
        with closing(connection):
            return read(connection, thorough=True), _torn(self._path, connection)

    def _open(self, replayed: Replayed) -> None:
        self._connection = files.connect(self._path)
        self._inode = self._path.stat().st_ino
        self._through, self._last = replayed.through, replayed.last
        if replayed.damage and replayed.house is None:
            self._through, self._last = 0, b""
        self._since_snapshot = replayed.events

    @contextmanager
    def _writing(self, doing: str, *, flush: bool) -> Iterator[sqlite3.Connection]:
        connection = self._connection
        assert connection is not None, "a journal is recovered before it is written"
        with files.trouble_told(self._path, doing):
            self._check_place()
            try:
                self._synchronous(connection, full=flush or self._in_doubt)
                if self._in_doubt:
                    self._settle(connection)
                yield connection
            except sqlite3.Error as error:
                self._in_doubt |= getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_IOERR
                raise

    def _check_place(self) -> None:
        """See that the name still leads to our file: rows in a deleted one would be lost with us."""
        if self._path.stat().st_ino != self._inode:
            raise LinkError(
                where=f"journal {self._path}",
                problem="the file was replaced while hembar had it open",
                remedy="put the old file back, or restart hembar to use the new one",
            )

    def _synchronous(self, connection: sqlite3.Connection, *, full: bool) -> None:
        if full != self._flushing:
            connection.execute(f"PRAGMA synchronous = {'FULL' if full else 'NORMAL'}")
            self._flushing = full

    def _settle(self, connection: sqlite3.Connection) -> None:
        busy, *_ = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if busy:
            raise LinkError(
                where=f"journal {self._path}",
                problem="a reader keeps the log from being copied after a disk error",
                remedy="end the program that reads the journal",
            )
        self._in_doubt, self._since_tidy = False, 0

    def _tidy(self, connection: sqlite3.Connection, *, least: int = _TIDY_IDLE) -> None:
        if self._since_tidy >= least:
            connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
            self._since_tidy = 0

    def _drop_old(self, connection: sqlite3.Connection, through: int) -> None:
        """Keep two snapshots at least, and about two rounds of events before the newest."""
        found = connection.execute("SELECT through FROM snapshot ORDER BY through DESC").fetchall()
        horizon = through - 2 * self._every
        kept = [
            old
            for place, (old,) in enumerate(found)
            if place < 2 or (old > horizon and place < SNAPSHOTS_KEPT)
        ]
        if len(kept) >= 2:
            connection.execute("DELETE FROM snapshot WHERE through < ?", (kept[-1],))
            connection.execute("DELETE FROM event WHERE id <= ?", (kept[-1],))


def _first_rows(
    replayed: Replayed, told: tuple[tuple[str, bool], ...]
) -> list[tuple[str, tuple[object, ...]]]:
    """Return what a file begun after damage starts with: the house as known, and what was wrong."""
    found = [(text, replayed.lost) for text in replayed.damage]
    rows: list[tuple[str, tuple[object, ...]]] = [(_ADD_DAMAGE, pair) for pair in (*told, *found)]
    if replayed.house is not None:
        through, last, utc = replayed.through, replayed.last, replayed.house.now.utc.isoformat()
        data = codec.encode_house(replayed.house)
        rows.append((_ADD_SNAPSHOT, (through, utc, data, last, seal(last, through, utc, data))))
    return rows


def _torn(path: Path, connection: sqlite3.Connection) -> int:
    try:
        return files.torn_pages(path, connection)
    except sqlite3.Error as error:
        if not is_damage(error):
            raise
        return 0  # reading has told of the damage


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
