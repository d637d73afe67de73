"""Where settings and journal usually are, for whoever names no file: here, or where the service has them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.settings.plain import Settings

SETTINGS = (Path("hembar.toml"), Path("/etc/hembar/hembar.toml"))
USUALLY = " or ".join(map(str, SETTINGS))
JOURNAL = Path("/var/lib/hembar/journal.db")


def settings_path(named: Path | None) -> Path:
    """Return the settings that are named, else those in the usual place.

    Raises:
        RequestError: none is named, and none is there.
    """
    if named is not None:
        return named
    found = next((each for each in SETTINGS if _is_seen(each)), None)
    if found is None:
        raise RequestError(
            where="settings",
            problem=f"no file is named, and neither {SETTINGS[0]} here nor {SETTINGS[1]} is there",
            remedy="name the file with the settings of the house",
        )
    return found


def journal_path(settings: Settings) -> Path | None:
    """Return where the settings have the journal, else the usual place if it is there; None for neither."""
    from bridge.adapters.journal.files import JOURNAL as NAME  # noqa: PLC0415  heavy, and not always wanted

    if settings.state_dir is not None:
        return settings.state_dir / NAME
    return JOURNAL if _is_seen(JOURNAL) else None


def journal_at_hand(settings: Settings) -> Path | None:
    """Return the journal if it can be read; None when there is none, or it is not ours to read."""
    path = journal_path(settings)
    return path if path is not None and _is_seen(path) and os.access(path, os.R_OK) else None


def _is_seen(path: Path) -> bool:
    # Unlike Path.is_file this takes a folder that may not be entered for one that is not there.
    return os.path.isfile(path)  # noqa: PTH113
