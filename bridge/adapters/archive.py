"""One house in one file, to take to another machine: its settings, its journal, what the broker remembers.

A gzipped tar of four members, with a manifest that names each with its digest. Secrets are never in it: what
the settings only point to stays where it is.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import os
import tarfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from bridge import __version__
from bridge.adapters.doors import read_json
from bridge.core.errors import LinkError, RequestError

VERSION: Final = 1
MANIFEST, SETTINGS, JOURNAL, MEMORY = "manifest.json", "settings.toml", "journal.db", "memory.json"
PART_BYTES_MAX = 1 << 30
MEMORY_BYTES_MAX = 4 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Archive:
    """What is kept of a house.

    Attributes:
        settings: The settings file, as it stands.
        journal: The journal as one SQLite file.
        memory: Retained messages at the broker by topic; empty when the broker was not asked.
        made_utc: When.
        version: The hembar that made it.
    """

    settings: bytes
    journal: bytes
    memory: Mapping[str, str]
    made_utc: datetime
    version: str = __version__


def write(path: Path, archive: Archive) -> None:
    """Write an archive, for its owner's eyes only; a whole new file or none.

    Raises:
        RequestError: a file stands there already, or none can be written there.
    """
    if path.exists():
        raise RequestError(
            where=str(path), problem="there is a file already", remedy="name another, or move that one away"
        )
    parts = {
        SETTINGS: archive.settings,
        JOURNAL: archive.journal,
        MEMORY: json.dumps(dict(archive.memory), indent=1, sort_keys=True).encode(),
    }
    manifest = {
        "version": VERSION,
        "hembar": archive.version,
        "made_utc": archive.made_utc.isoformat(timespec="seconds"),
        "sha256": {name: hashlib.sha256(data).hexdigest() for name, data in parts.items()},
    }
    packed = _packed({MANIFEST: json.dumps(manifest, indent=1).encode(), **parts}, archive.made_utc)
    making = path.with_name(f"{path.name}.making")
    try:
        with open(making, "wb", opener=_private) as file:
            file.write(packed)
            file.flush()
            os.fsync(file.fileno())
        making.rename(path)
    except OSError as error:
        raise RequestError(
            where=str(path),
            problem=f"it can't be written: {error.strerror or error}",
            remedy="name a folder that exists, that you may write, and that has room",
        ) from error


def read(path: Path) -> Archive:
    """Return what is in an archive, every part held against its digest.

    Raises:
        RequestError: it can't be read, is not whole, is no archive of ours or of a later kind.
    """
    parts = _parts(path)
    manifest = _object(path, MANIFEST, parts.get(MANIFEST, b""))
    version, digests = manifest.get("version"), manifest.get("sha256")
    if version != VERSION or not isinstance(digests, dict):
        raise RequestError(
            where=str(path),
            problem=f"this is no backup that hembar {__version__} knows",
            remedy="name a file that `hembar backup` has written, or use the newer hembar that wrote it",
        )
    for name in (SETTINGS, JOURNAL, MEMORY):
        if hashlib.sha256(parts.get(name, b"")).hexdigest() != digests.get(name):
            raise _damaged(path, name)
    memory = _object(path, MEMORY, parts[MEMORY])
    return Archive(
        settings=parts[SETTINGS],
        journal=parts[JOURNAL],
        memory={topic: said for topic, said in memory.items() if isinstance(said, str)},
        made_utc=_made_utc(path, manifest),
        version=str(manifest.get("hembar")),
    )


def _packed(parts: Mapping[str, bytes], at: datetime) -> bytes:
    plain = io.BytesIO()
    with tarfile.open(fileobj=plain, mode="w", format=tarfile.PAX_FORMAT) as tar:
        for name, data in parts.items():
            entry = tarfile.TarInfo(name)
            entry.size, entry.mode, entry.mtime = len(data), 0o600, int(at.timestamp())
            tar.addfile(entry, io.BytesIO(data))
    return gzip.compress(plain.getvalue(), mtime=0)


def _parts(path: Path) -> dict[str, bytes]:
    """Return the members by name; nothing is ever unpacked to where the archive says."""
    found: dict[str, bytes] = {}
    try:
        with tarfile.open(path, mode="r:gz") as tar:
            for entry in tar:
                if not entry.isfile() or entry.name not in (MANIFEST, SETTINGS, JOURNAL, MEMORY):
                    continue
                file = tar.extractfile(entry)
                if file is not None and entry.size <= PART_BYTES_MAX:
                    found[entry.name] = file.read(PART_BYTES_MAX)
    except (OSError, EOFError, tarfile.TarError, zlib.error) as error:
        raise RequestError(
            where=str(path),
            problem=f"it can't be read: {getattr(error, 'strerror', None) or error}",
            remedy="name a file that `hembar backup` has written; take another copy if this one is cut short",
        ) from error
    return found


def _object(path: Path, name: str, data: bytes) -> dict[str, object]:
    if not data:
        return {}
    try:
        said = read_json(data, where=f"{path}, {name}", limit=MEMORY_BYTES_MAX)
    except LinkError as error:
        raise _damaged(path, name) from error
    return said if isinstance(said, dict) else {}


def _made_utc(path: Path, manifest: Mapping[str, object]) -> datetime:
    try:
        return datetime.fromisoformat(str(manifest.get("made_utc"))).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise _damaged(path, MANIFEST) from error


def _damaged(path: Path, name: str) -> RequestError:
    return RequestError(
        where=f"{path}, {name}",
        problem="it is not what was written there",
        remedy="take another copy of the backup",
    )


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
