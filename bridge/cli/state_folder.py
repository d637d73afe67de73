"""Folders that a command is given: where the journal is, and one to write into."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from bridge.core.errors import ConfigError, RequestError

if TYPE_CHECKING:
    from bridge.settings.plain import Settings


def state_folder(given: Path | None, settings: Settings, file: Path) -> Path:
    """Return the folder of the journal.

    Raises:
        ConfigError: neither the command nor the settings name it.
    """
    folder = given or settings.state_dir
    if folder is None:
        raise ConfigError(
            where=str(file),
            problem="it does not say where the journal is kept, and --state was not given",
            remedy='add `state_dir = "/var/lib/hembar"` to the file, or give --state DIR',
        )
    return folder


def made(folder: Path, option: str) -> Path:
    """Return a folder that stands, made where it did not.

    Raises:
        RequestError: it can't be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RequestError(
            where=f"{option} {folder}",
            problem=f"it can't be made: {error.strerror}",
            remedy="name a folder that you may write to",
        ) from error
    return folder
