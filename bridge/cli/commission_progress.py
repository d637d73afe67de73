"""How far the commissioning of a shade has come, in a file beside the settings: stopped, resumed, undone."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from bridge.core.commissioning.courses import STEPS, Purpose
from bridge.core.commissioning.state import Facts, State
from bridge.core.errors import ConfigError, RequestError

UNDO_MOST = 100


@dataclass(kw_only=True)
class Progress:
    """What the file holds.

    Attributes:
        purpose: What it is for.
        before: What the settings said at the beginning.
        board: Board and channel; "" on a one-way link.
        channel: The channel on it.
        count: Where a one-way board was last sent; None on a two-way link.
        states: After each answer, oldest first; the last one is under way.
    """

    purpose: Purpose
    before: Facts
    board: str = ""
    channel: int = 0
    count: int | None = None
    states: list[State] = field(default_factory=list)

    @property
    def state(self) -> State:
        return self.states[-1]

    def onward(self, state: State) -> None:
        """Keep a state after an answer."""
        self.states = [*self.states[-UNDO_MOST:], state]

    def amend(self, state: State) -> None:
        """Put another state in the place of the last one, no answer having been given."""
        self.states[-1] = state

    def undo(self) -> bool:
        """Forget the last answer and what it taught; False when there is none."""
        if len(self.states) < 2:
            return False
        self.states.pop()
        return True


_FILE: TypeAdapter[Progress] = TypeAdapter(Progress)


def path_of(settings: Path, shade: str) -> Path:
    """Return where the progress of a shade is kept."""
    return settings.with_name(f"{settings.name}.{shade}.progress.json")


def load(path: Path) -> Progress | None:
    """Return what was kept; None when nothing is.

    Raises:
        ConfigError: the file can't be read as such.
    """
    try:
        found = _FILE.validate_json(path.read_bytes())
    except FileNotFoundError:
        return None
    except (OSError, ValidationError) as error:
        raise _unreadable(path) from error
    if not found.states or not _known(found.states):
        raise _unreadable(path)
    return found


def _known(states: Sequence[State]) -> bool:
    return all(step in STEPS for each in states for step in (each.step, *each.rest) if step != "done")


def _unreadable(path: Path) -> ConfigError:
    return ConfigError(
        where=str(path),
        problem="this is no progress that can be gone on with",
        remedy="begin anew with --anew, which puts it aside",
    )


@contextmanager
def alone(path: Path) -> Iterator[None]:
    """Keep a second run away from the same shade: two would drive it against each other.

    Raises:
        RequestError: another run is at work on it.
    """
    with path.with_suffix(".lock").open("a", encoding="ascii") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise RequestError(
                where=str(path),
                problem="another run commissions this shade now",
                remedy="go on there, or end it first",
            ) from error
        try:
            yield
        finally:
            path.with_suffix(".lock").unlink(missing_ok=True)


def save(path: Path, progress: Progress) -> None:
    """Write it as a whole, on the disk before anything moves."""
    fresh = path.with_suffix(".new")
    with fresh.open("wb") as file:
        file.write(_FILE.dump_json(progress, indent=1))
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
