"""A settings file with some keys of one shade changed; all else stands, every comment too."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, MutableMapping
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from bridge.core.commissioning.result import Edit
from bridge.core.errors import ConfigError
from bridge.settings.load import load_text


def rewritten(text: str, shade: str, edits: Iterable[Edit], *, origin: str, folder: Path) -> str:
    """Return a settings text with a shade's keys changed.

    Raises:
        ConfigError: there is no such shade, or the bridge would refuse what comes out.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise ConfigError(where=origin, problem=str(error), remedy="run `hembar check` on it") from error
    shades: Any = document.get("shades", {})
    if shade not in shades:
        raise ConfigError(
            where=origin, problem=f"there is no [shades.{shade}]", remedy="name one that stands there"
        )
    for edit in edits:
        _change(shades[shade], edit)
    changed = tomlkit.dumps(document)
    load_text(changed, origin=origin, folder=folder)
    return changed


def _change(table: MutableMapping[str, Any], edit: Edit) -> None:
    *way, key = edit.path
    for part in way:
        if part not in table:
            if edit.value is None:
                return
            table[part] = tomlkit.table()
        table = table[part]
    if edit.value is None:
        table.pop(key, None)
    elif table.get(key) != edit.value:
        table[key] = edit.value


def replace_file(path: Path, text: str, *, backup: Path) -> None:
    """Write a settings file as a whole, its mode kept; what stood there first goes to `backup`, once.

    Raises:
        ConfigError: it can't be written; the old one still stands.
    """
    try:
        if not backup.exists():
            backup.write_bytes(path.read_bytes())
            backup.chmod(path.stat().st_mode & 0o777)
        descriptor, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        fresh = Path(name)
        fresh.chmod(path.stat().st_mode & 0o777)
        fresh.replace(path)
    except OSError as error:
        raise ConfigError(
            where=str(path), problem=error.strerror or str(error), remedy="check its folder and permissions"
        ) from error
