"""How a fault of the settings is told: file, table, key, offending value, reason, remedy."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence

from bridge.core.errors import ConfigError

SHOWN_MAX = 60
LISTED_MAX = 100
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


class ConfigFaults(ConfigError):  # noqa: N818 - it is many, and says so
    """All the faults of one file; a child of its own because an owner mends a file, not a fault.

    Args:
        origin: The file.
        faults: At least one, in the order of the file's tables.
    """

    def __init__(self, *, origin: str, faults: Sequence[ConfigError]) -> None:
        assert faults, "a file without faults is not refused"
        count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
        lines = [str(fault) for fault in faults[:LISTED_MAX]]
        if len(faults) > LISTED_MAX:
            lines.append(f"{origin}: {len(faults) - LISTED_MAX} further faults; mend these first")
        problem = "\n".join([count, *lines])
        super().__init__(where=origin, problem=problem, remedy="mend every one listed and check again")
        self.faults = tuple(faults)
        self._lines = lines

    def __str__(self) -> str:
        """List each fault on a line of its own."""
        return "\n".join(self._lines)


class RefusedValueError(ValueError):
    """A value that a check of our own refuses.

    Args:
        reason: Goes on after the value: "it must ...".
        remedy: What to write instead.
    """

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.remedy = remedy


class Place:
    """One table of one file, and the faults found in it.

    Args:
        origin: The file.
        path: The table's keys from the top; empty for the top itself.
        faults: Where found faults go; shared by all places of a file.
        number: Which of several tables of that name, from 1; 0 when it is a table of its own.
    """

    def __init__(
        self, origin: str, path: tuple[str, ...], faults: list[ConfigError], *, number: int = 0
    ) -> None:
        self.origin = origin
        self.path = path
        self._faults = faults
        self._number = number

    def inside(self, *keys: str) -> Place:
        return Place(self.origin, (*self.path, *keys), self._faults)

    def item(self, key: str, number: int) -> Place:
        return Place(self.origin, (*self.path, key), self._faults, number=number)

    @property
    def table(self) -> str:
        name = ".".join(shown_key(key) for key in self.path)
        if self._number:
            return f"[[{name}]] {self._number}"
        return f"[{name}]" if name else ""

    def refuse(self, problem: str, remedy: str) -> None:
        where = f"{self.origin} {self.table}".rstrip()
        self._faults.append(ConfigError(where=where, problem=problem, remedy=remedy))


def shown(value: object) -> str:
    """Show a value as the owner wrote it, on one line, bounded and without control characters."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return _shown_list(value)
    if isinstance(value, int):
        return str(value) if abs(value) < 10**SHOWN_MAX else "a number of more than 60 digits"
    return str(value)


def quoted(text: str) -> str:
    cut = text if len(text) <= SHOWN_MAX else text[: SHOWN_MAX - 1] + "…"
    return json.dumps(cut, ensure_ascii=not cut.isprintable())


def shown_key(key: str) -> str:
    """Show a key bare where TOML allows it, else quoted."""
    return key if len(key) <= SHOWN_MAX and _BARE_KEY.fullmatch(key) else quoted(key)


def listed(words: Sequence[str], last: str = "and") -> str:
    """Join words as people do: a, b and c."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def number(value: float) -> str:
    """Show a number without a needless tail: 2000, 0.5, 13.231."""
    if math.isfinite(value) and value == int(value) and abs(value) < 10**15:
        return str(int(value))
    return f"{value:.6g}"


def _shown_list(values: list[object], depth: int = 2) -> str:
    if len(values) > 6 or depth == 0:
        return "an array"
    parts = [_shown_list(value, depth - 1) if isinstance(value, list) else shown(value) for value in values]
    text = f"[{', '.join(parts)}]"
    return text if len(text) <= SHOWN_MAX else "an array"
