"""What a journal that is only bytes knows."""

from __future__ import annotations

import tempfile
from pathlib import Path

from bridge.adapters.journal.files import JOURNAL
from bridge.adapters.journal.reading import read_content
from bridge.adapters.journal.replay import from_newest
from bridge.core.errors import LinkError
from bridge.core.house import handle


def known_shades(data: bytes) -> int:
    """Return how many shades a journal knows.

    Raises:
        LinkError: it is damaged, or knows no house.
        ConfigError: another program's file, or a newer format.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / JOURNAL
        path.write_bytes(data)
        found = from_newest(read_content(path), handle)
    if found.house is None or found.damage:
        raise LinkError(
            where="the journal in the backup",
            problem=", ".join(found.damage) or "it knows no house yet",
            remedy="take an older backup, or start anew without a journal",
        )
    return len(found.house.shades)
