"""A writer killed by SIGKILL at any moment loses no row that it had been told was kept."""

import random
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from time import sleep

import pytest

from bridge.adapters.journal.reading import read_content
from bridge.adapters.journal.replay import from_oldest
from bridge.ports import Recovered
from tests.crash.journal_writer import wordy_handle
from tests.unit.adapters.journal.fakes import recovered

KILLS = 30


def writer(
    path: Path, told: Path, *, events: int, snapshot_every: int, under: Sequence[str] = ()
) -> subprocess.Popen[bytes]:
    module = [sys.executable, "-m", "tests.crash.journal_writer", str(path), str(events), str(snapshot_every)]
    with told.open("wb") as out:
        return subprocess.Popen([*under, *module], stdout=out)


def kept(told: Path, kind: str = "") -> int:
    """Return the highest number that was told to be kept; 0 for none."""
    lines = told.read_text(encoding="ascii").split("\n")[:-1]
    return max(
        (int(line.split()[1]) for line in lines if line.startswith("kept") and line.endswith(kind)), default=0
    )


@contextmanager
def writing(path: Path, told: Path, *, snapshot_every: int) -> Iterator[subprocess.Popen[bytes]]:
    """Run a writer that has kept its first row; it is killed by SIGKILL at the end."""
    process = writer(path, told, events=1_000_000, snapshot_every=snapshot_every)
    try:
        for _ in range(1000):
            if kept(told):
                break
            sleep(0.01)
        else:
            pytest.fail("the writer kept nothing for ten seconds")
        yield process
    finally:
        process.kill()
        process.wait()


def test_no_kept_row_is_lost_to_sigkill(tmp_path: Path) -> None:
    chance = random.Random(20261125)
    path, told = tmp_path / "journal.db", tmp_path / "told"
    most = 0
    for number in range(KILLS):
        with writing(path, told, snapshot_every=chance.choice([7, 60, 2000])):
            sleep(chance.uniform(0, 0.15))
        most = max(most, kept(told))
        found = recovered(path, handle=wordy_handle)
        assert found.house is not None
        assert most <= found.house.next_request <= most + 1, f"kill {number}"
        assert (found.lost, found.differences) == (False, ())
        whole = from_oldest(read_content(path), wordy_handle)
        assert (whole.house, whole.differences, whole.damage) == (found.house, (), ())
    assert most > KILLS


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not on this machine")
@pytest.mark.parametrize(("call", "most"), [("rename", 4), ("fsync", 4), ("fdatasync", 5), ("unlink", 5)])
def test_a_first_start_killed_at_any_step_can_be_done_again(tmp_path: Path, call: str, most: int) -> None:
    for number in range(1, most + 1):
        path, told = tmp_path / f"journal-{number}", tmp_path / "told"
        killed_at(path, told, call, number)
        found = recovered(path, handle=wordy_handle)
        assert (found.lost, found.differences) == (False, ())
        assert known(found) >= kept(told), number


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not on this machine")
@pytest.mark.parametrize(("call", "most"), [("rename", 4), ("fsync", 4), ("fdatasync", 5), ("unlink", 5)])
def test_a_swap_killed_at_any_step_forgets_neither_house_nor_damage(
    tmp_path: Path, call: str, most: int
) -> None:
    spoilt, told = tmp_path / "spoilt", tmp_path / "told"
    assert writer(spoilt, told, events=12, snapshot_every=100).wait() == 0
    connection = sqlite3.connect(spoilt)
    with connection:
        connection.execute("UPDATE event SET utc = 'spoilt' WHERE id = 9")
    connection.close()
    for number in range(1, most + 1):
        path = tmp_path / f"journal-{number}"
        shutil.copy(spoilt, path)
        killed_at(path, told, call, number)
        found = recovered(path, handle=wordy_handle)
        assert known(found) >= max(8, kept(told)), number
        assert found.lost or kept(told), (
            f"the damage was forgotten before an event could carry it on: {number}"
        )


def killed_at(path: Path, told: Path, call: str, number: int) -> None:
    """Run a writer that is killed as it enters the given call for the given time."""
    inject = ["-e", f"trace={call}", "-e", f"inject={call}:signal=KILL:when={number}"]
    under = ["strace", "-f", "-qq", "-o", f"{told}.calls", *inject]
    code = writer(path, told, events=9, snapshot_every=4, under=under).wait()
    assert code != 0 or number > 1, f"no {call} was ever entered"


def known(found: Recovered) -> int:
    return 0 if found.house is None else found.house.next_request
