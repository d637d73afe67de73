"""The physical truth of one board on disk, readable at any moment, also after its process was killed.

Two slots are written in turn, each with a number and a checksum, so that one whole record always stands. The
owner holds a lock: whoever finds the file unlocked but powered knows that the process died, which is a power
cut. Also here: the board's flash, replaced as a whole.
"""

from __future__ import annotations

import fcntl
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from random import Random
from typing import Any
from zlib import crc32

from bridge.core.errors import ConfigError
from bridge.simulate.board import Board, load_flash
from bridge.simulate.fitting import BoardPlan, OneWayPlan, Plan
from bridge.simulate.house_file import board_text, read_board
from bridge.simulate.one_way_board import OneWayBoard
from bridge.simulate.truth import State, Tube

AnyBoard = Board | OneWayBoard
SLOT = 8192
TRIES = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class HemBar:
    """Where one hem bar really is, and what its board believes.

    Attributes:
        shade: What people call it.
        drop_mm: Below the upper limit; negative above it.
        turns: Tube turns from the upper limit.
        moving: Steps are being sent.
        awake: The motor carries current.
        wrong_way: The cloth is past its end and winds the other way round.
        count: The board's own count; None when it is lost or the board is without power.
        moves: Motions begun in the shade's life.
    """

    shade: str
    drop_mm: float
    turns: float
    moving: bool
    awake: bool
    wrong_way: bool
    count: int | None
    moves: int


class BoardFiles:
    """The files of one board, owned by one process at a time.

    Raises:
        ConfigError: another process runs this board on the same files.
    """

    def __init__(self, folder: Path, plan: Plan, *, seed: int) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.plan, self.seed = plan, seed
        self._flash_path = folder / f"{plan.id}.flash.json"
        self._flash_text = ""
        path = folder / f"{plan.id}.truth"
        self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(self._file)
            raise ConfigError(
                where=str(path),
                problem=f"another process runs board {plan.id} there",
                remedy="end it, or give another --state folder",
            ) from error
        _replace(folder / f"{plan.id}.plan.json", board_text(plan))
        self._number, self._record = _newest(os.pread(self._file, 2 * SLOT, 0))

    def load(self, root: str) -> Board:
        """The board as its files leave it, unpowered: what a killed process left powered has lost power."""
        assert isinstance(self.plan, BoardPlan), f"{self.plan.id} only obeys"
        board = Board(self.plan, Random(self.seed), root=root, tubes=self._tubes(), flash=self._flash())
        self.save(board)
        return board

    def load_one_way(self) -> OneWayBoard:
        """The same of a board that only obeys."""
        assert isinstance(self.plan, OneWayPlan), f"{self.plan.id} reports"
        board = OneWayBoard(self.plan, Random(self.seed), tubes=self._tubes(), flash=self._flash())
        self.save(board)
        return board

    def _tubes(self) -> list[Tube] | None:
        return _tubes(self.plan, self._record, self.seed)

    def _flash(self) -> dict[str, Any] | None:
        try:
            return load_flash(self._flash_path.read_text("utf-8", errors="replace"))
        except FileNotFoundError:
            return None

    def save(self, board: AnyBoard) -> None:
        """Write the truth, then the flash where it has changed: a record never runs ahead of the cloth."""
        self._number += 1
        record = {
            "powered": board.powered,
            "channels": [
                {
                    "state": asdict(channel.tube.state),
                    "moving": channel.moving,
                    "count": channel.count if board.powered else None,
                }
                for channel in board.channels
            ],
        }
        body = json.dumps({"number": self._number, **record}).encode("ascii")
        slot = b"%08x %s\n" % (crc32(body), body)
        assert len(slot) <= SLOT, len(slot)
        os.pwrite(self._file, slot.ljust(SLOT), SLOT * (self._number % 2))
        text = board.dump()
        if text != self._flash_text:
            _replace(self._flash_path, text.encode())
            self._flash_text = text

    def close(self) -> None:
        """Let go of the files."""
        os.close(self._file)


def read_truth(folder: Path) -> dict[tuple[str, int], HemBar]:
    """Every hem bar of the boards that keep their files in `folder`, by board and channel.

    A board whose process has been killed counts as without power from that moment; one that is only just
    being built is left out.
    """
    found = {}
    for path in sorted(folder.glob("*.truth")):
        for number, bar in enumerate(_read(path)):
            found[path.stem, number] = bar
    return found


def _read(path: Path) -> list[HemBar]:
    beside = path.with_suffix(".plan.json")
    if not beside.exists():
        return []
    plan = read_board(beside)
    with path.open("rb") as file:
        for _ in range(TRIES):
            alive = _locked(file.fileno())
            _, record = _newest(os.pread(file.fileno(), 2 * SLOT, 0))
            if record is not None and alive == _locked(file.fileno()):
                break
        else:
            return []
    powered = alive and record["powered"]
    tubes = _tubes(plan, record, seed=0) or []
    if not powered:
        for tube in tubes:
            tube.cut()
    return [
        hem_bar(
            fitting.shade,
            tube,
            moving=powered and said["moving"],
            count=said["count"] if powered else None,
        )
        for fitting, tube, said in zip(plan.channels, tubes, record["channels"], strict=True)
    ]


def hem_bar(shade: str, tube: Tube, *, moving: bool, count: int | None) -> HemBar:
    """What is so of one shade."""
    return HemBar(
        shade=shade,
        drop_mm=tube.drop_mm,
        turns=tube.turns,
        moving=moving,
        awake=tube.state.energised,
        wrong_way=tube.wrong_way,
        count=count,
        moves=tube.state.moves,
    )


def _tubes(plan: Plan, record: dict[str, Any] | None, seed: int) -> list[Tube] | None:
    """The shades as the record has them; None when it is of another board or there is none."""
    if record is None or len(record["channels"]) != len(plan.channels):
        return None
    tubes = []
    for number, (fitting, said) in enumerate(zip(plan.channels, record["channels"], strict=True)):
        state = State(**said["state"])
        rng = Random(f"{seed}/{plan.id}/{number}/{state.moves}")
        tubes.append(Tube(build=fitting.build, rng=rng, state=state))
    return tubes


def _newest(data: bytes) -> tuple[int, dict[str, Any] | None]:
    """The newer of the two records that is whole, and its number."""
    best: tuple[int, dict[str, Any] | None] = (0, None)
    for start in (0, SLOT):
        checksum, _, rest = data[start : start + SLOT].partition(b" ")
        body, end, _ = rest.partition(b"\n")
        if end and checksum == b"%08x" % crc32(body):
            record = json.loads(body)
            if record["number"] > best[0]:
                best = (record["number"], record)
    return best


def _locked(file: int) -> bool:
    """Whether a living process holds the board."""
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        return True
    fcntl.flock(file, fcntl.LOCK_UN)
    return False


def _replace(path: Path, data: bytes) -> None:
    """Put the data in the file's place as a whole; the lock sees to it that nobody else does."""
    beside = path.with_suffix(".new")
    beside.write_bytes(data)
    beside.replace(path)
