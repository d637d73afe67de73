"""Where the journal is: what the command says, or else the settings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from bridge.core.errors import ConfigError

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
