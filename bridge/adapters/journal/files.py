"""The journal's files: opening, beginning anew, setting a damaged one aside, and who owns them.

A new file is always finished under another name, flushed, and then renamed into place, so at no instant
is there neither an old truth nor a whole new one. Nothing is ever deleted but empty side files. What the
rows mean is not known here.
"""

from __future__ import annotations

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from bridge.adapters.journal.rows import APPLICATION_ID, FORMAT, SCHEMA
from bridge.core.errors import ConfigError, LinkError, RequestError

# In the state folder.
JOURNAL = "journal.db"
_REMEDY = {
    sqlite3.SQLITE_FULL: "make room on that disk; hembar goes on by itself",
    sqlite3.SQLITE_READONLY: "make the file and its folder writable for hembar",
    sqlite3.SQLITE_PERM: "make the file and its folder writable for hembar",
    sqlite3.SQLITE_CANTOPEN: "check that the folder exists and is writable, and that the disk has room",
    sqlite3.SQLITE_BUSY: "end the program that holds the file open for long",
    sqlite3.SQLITE_CORRUPT: "restart hembar: it keeps what is sound and sets the damaged file aside",
    sqlite3.SQLITE_NOTADB: "check that this is a journal; if it is, restart hembar, which sets it aside",
}
_PAGE_BYTES = 4096
_WAL_HEADER_BYTES = 32
_FRAME_HEADER_BYTES = 24
_WAL_LIMIT_BYTES = 4 << 20
_LARGEST_BYTES = 64 << 20  # a garbled length must not ask for all memory
_PATIENCE_S = 1.0  # only a stranger can lock our file; an order waits meanwhile


@contextmanager
def trouble_told(path: Path, doing: str) -> Iterator[None]:
    """Turn what the disk says into a LinkError that says where and what to do."""
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        remedy = _REMEDY.get(code, "check the disk, its cable and the kernel's log")
        raise LinkError(where=f"journal {path}", problem=f"{doing} failed: {error}", remedy=remedy) from error
    except OSError as error:
        problem = f"{doing} failed: {error.strerror or error}"
        remedy = "check that the folder exists and is writable, and that the disk has room"
        raise LinkError(where=f"journal {path}", problem=problem, remedy=remedy) from error


def beside(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def take_lock(path: Path) -> TextIO:
    """Return the open lock file; the journal is this process's own until it is closed.

    A lock file of its own: closing any other handle of the database would drop SQLite's locks on it.
    """
    file = open(beside(path, ".lock"), "a+", encoding="ascii")  # noqa: SIM115, PTH123  # the caller keeps it
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        file.seek(0)
        holder = file.read(20).strip()
        file.close()
        raise LinkError(
            where=f"journal {path}",
            problem="another hembar has it open" + (f", process {holder}" if holder else ""),
            remedy="stop that one first, or name another journal in the settings",
        ) from error
    with suppress(OSError):  # the number only helps people; a full disk must not stop the lock
        os.ftruncate(file.fileno(), 0)
        os.write(file.fileno(), str(os.getpid()).encode())
    return file


def connect(path: Path) -> sqlite3.Connection:
    """Open an existing journal for writing.

    Raises:
        ConfigError: another program's file, or a newer format.
        sqlite3.Error: not readable as a database.
    """
    uri = f"{path.absolute().as_uri()}?mode=rw"
    connection = sqlite3.connect(
        uri, uri=True, isolation_level=None, check_same_thread=False, timeout=_PATIENCE_S
    )
    with _closed_on_fault(connection):
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LARGEST_BYTES)
        _check_kind(connection, path)
        _tune(connection, path)
    return connection


def connect_reading(path: Path) -> sqlite3.Connection:
    """Open a journal without changing it, also while a bridge writes to it.

    Raises:
        ConfigError: another program's file, or a newer format.
        sqlite3.Error: not readable as a database.
    """
    # Without side files SQLite would make them, which a reader may not be allowed to and should not.
    settled = not beside(path, "-wal").exists() and not beside(path, "-shm").exists()
    mode = "mode=ro&immutable=1" if settled else "mode=ro"
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True, isolation_level=None)
    with _closed_on_fault(connection):
        connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LARGEST_BYTES)
        _check_kind(connection, path)
    return connection


def begin(path: Path, fill: list[tuple[str, tuple[object, ...]]]) -> None:
    """Put a new journal in place; a file that stood there is set aside under another name.

    Args:
        path: Where it shall stand.
        fill: SQL statements with their values that give it its first content.
    """
    making, ready = beside(path, ".making"), beside(path, ".next")
    for leftover in (making, beside(making, "-wal"), beside(making, "-shm"), beside(making, "-journal")):
        leftover.unlink(missing_ok=True)
    with closing(sqlite3.connect(making, isolation_level=None)) as connection:
        connection.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.executescript(f"BEGIN; {SCHEMA}")
        for statement, values in fill:
            connection.execute(statement, values)
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    _flush(making)
    making.rename(ready)
    _flush(path.parent)  # the new name must be on the disk before the old one goes
    finish(path)


def copied(path: Path) -> bytes:
    """Return a journal as one whole file, also while a bridge writes to it.

    Raises:
        ConfigError: another program's file, or a newer format.
        RequestError: there is no such file.
        LinkError: it can't be read.
    """
    if not path.is_file():
        raise RequestError(
            where=f"journal {path}",
            problem="this is a folder" if path.is_dir() else "there is no such file",
            remedy="name the folder that `hembar run --state` names",
        )
    with (
        trouble_told(path, "copying"),
        closing(connect_reading(path)) as source,
        closing(sqlite3.connect(":memory:")) as copy,
    ):
        source.backup(copy)
        return copy.serialize()


def put(path: Path, data: bytes) -> None:
    """Put a whole journal in place; one that stood there is set aside under another name.

    Raises:
        LinkError: another process has it open, or the disk refuses.
    """
    with trouble_told(path, "restoring"):
        path.parent.mkdir(parents=True, exist_ok=True)
        with closing(take_lock(path)):
            making = beside(path, ".making")
            making.write_bytes(data)
            _flush(making)
            making.rename(beside(path, ".next"))
            _flush(path.parent)
            finish(path)


def finish(path: Path) -> None:
    """Bring a finished new file into place; repeats what a crash interrupted, else does nothing."""
    ready = beside(path, ".next")
    if not ready.exists():
        return
    wal, shm = beside(path, "-wal"), beside(path, "-shm")
    aside = _free_name(path)
    for old, name in ((wal, beside(aside, "-wal")), (path, aside)):  # `path` last: the name comes from it
        if old.exists():
            old.rename(name)
    shm.unlink(missing_ok=True)
    ready.rename(path)
    _flush(path.parent)


def torn_pages(path: Path, connection: sqlite3.Connection) -> int:
    """Return how many pages at the end of the write-ahead log belong to writes that never finished.

    Source:
        SQLite documentation, "WAL-mode File Format": the header's salts, repeated in each frame, tell the
        frames of this log from leftovers of an older one.
    """
    _, sound, _ = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
    wal = beside(path, "-wal")
    if not wal.exists():
        return 0
    data = wal.read_bytes()
    salts = data[16:24]
    step = _FRAME_HEADER_BYTES + _PAGE_BYTES
    starts = range(_WAL_HEADER_BYTES + max(sound, 0) * step, len(data), step)
    return sum(1 for start in starts if data[start + 8 : start + 16] == salts)


@contextmanager
def _closed_on_fault(connection: sqlite3.Connection) -> Iterator[None]:
    try:
        yield
    except UnicodeDecodeError as error:  # SQLite's message quotes the garbled schema
        connection.close()
        raise sqlite3.DatabaseError("its list of tables is garbled") from error
    except BaseException:
        connection.close()
        raise


def _check_kind(connection: sqlite3.Connection, path: Path) -> None:
    (kind,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if kind != APPLICATION_ID:
        if connection.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            raise sqlite3.DatabaseError("neither its kind nor its pages are sound")
        raise ConfigError(
            where=f"journal {path}",
            problem=f"this is a database of another program (application id {kind})",
            remedy="name another file for the journal; this one was left as it is",
        )
    if version > FORMAT:
        raise ConfigError(
            where=f"journal {path}",
            problem=f"it has format {version}, and this hembar knows formats up to {FORMAT}",
            remedy="run the newer hembar that wrote it, or name another file for the journal",
        )


def _tune(connection: sqlite3.Connection, path: Path) -> None:
    connection.text_factory = lambda raw: raw.decode(errors="replace")
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        raise LinkError(
            where=f"journal {path}",
            problem="its disk can't keep a write-ahead log",
            remedy="keep the journal on a local disk, not on a network share",
        )
    for pragma in (
        "synchronous = NORMAL",
        "wal_autocheckpoint = 0",  # the store does it, so that its errors are heard
        f"journal_size_limit = {_WAL_LIMIT_BYTES}",
        "secure_delete = OFF",  # wiping dropped rows would double what is written
        "cell_size_check = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")


def _free_name(path: Path) -> Path:
    known = path if path.exists() else beside(path, "-wal")
    written = known.stat().st_mtime if known.exists() else 0.0
    stamp = datetime.fromtimestamp(written, UTC).strftime("%Y%m%dT%H%M%SZ")
    name, number = beside(path, f".aside-{stamp}"), 1
    while name.exists():
        number += 1
        name = beside(path, f".aside-{stamp}-{number}")
    return name


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
