"""From a file or a text to Settings, or to ConfigFaults with everything that is wrong with it."""

from __future__ import annotations

import tomllib
from pathlib import Path

from bridge.core.errors import ConfigError
from bridge.settings.faults import ConfigFaults, Place
from bridge.settings.house import read_house
from bridge.settings.plain import Settings

# Five thousand shades with comments; more is another file by mistake.
SIZE_MAX = 4 * 1024 * 1024


def load(path: Path | str) -> Settings:
    """Read the settings in a TOML file; relative paths in it start from the file's folder.

    Raises:
        ConfigFaults: the file can't be read, or something in it is wrong; all faults are listed.
    """
    path = Path(path)
    return load_text(_decoded(_bytes_of(path), str(path)), origin=str(path), folder=path.parent)


def load_text(text: str, *, origin: str, folder: Path | None = None) -> Settings:
    """Read settings from a TOML text.

    Args:
        text: The text.
        origin: What messages call it.
        folder: What relative paths in it start from; the working folder by default.

    Raises:
        ConfigFaults: something in it is wrong; all faults are listed.
    """
    try:
        raw = tomllib.loads(text)
    except RecursionError as error:
        raise _only(origin, "tables or arrays are nested too deeply", "write them flat") from error
    except ValueError as error:
        problem = f"this is not TOML: {_one_line(str(error))}"
        raise _only(origin, problem, "mend that line; text needs quotes, and each key stands once") from error
    faults: list[ConfigError] = []
    settings = read_house(Place(origin, (), faults), raw, folder or Path())
    if faults:
        raise ConfigFaults(origin=origin, faults=faults)
    assert settings is not None, "whatever can't be read has been refused"
    return settings


def _bytes_of(path: Path) -> bytes:
    if path.is_dir():
        raise _only(str(path), "this is a folder", "name the settings file in it, such as hembar.toml")
    try:
        with path.open("rb") as file:
            data = file.read(SIZE_MAX + 1)
    except FileNotFoundError as error:
        raise _only(
            str(path), "there is no such file", "check the path, or start from config/hembar.toml"
        ) from error
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _only(str(path), f"it can't be read: {reason}", "check the path and its permissions") from error
    if len(data) > SIZE_MAX:
        raise _only(str(path), f"it is larger than {SIZE_MAX // 1024} KiB", "name the settings file itself")
    return data


def _decoded(data: bytes, origin: str) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        column = error.start - data.rfind(b"\n", 0, error.start)
        problem = f"byte {data[error.start]:#04x} at line {line}, column {column} is not UTF-8"
        raise _only(origin, problem, "save the file as UTF-8") from error


def _only(origin: str, problem: str, remedy: str) -> ConfigFaults:
    return ConfigFaults(origin=origin, faults=[ConfigError(where=origin, problem=problem, remedy=remedy)])


def _one_line(text: str) -> str:
    line = text.splitlines()[0] if text else ""
    return line if line.isprintable() and len(line) <= 200 else ascii(line[:200])
