"""Power cuts, full disks, read-only disks and failing flushes under a writing journal.

A power cut is an image: the backing file of a mounted disk, copied while the writer stands still, holds
what had been flushed and nothing that was only in memory.
"""

import os
import random
import re
import shutil
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path
from time import sleep

import pytest

from bridge.adapters.journal.reading import read_content
from bridge.adapters.journal.replay import from_oldest
from bridge.core.errors import LinkError
from tests.crash.journal_writer import wordy_handle
from tests.crash.test_journal_kill import kept, known, writer, writing
from tests.unit.adapters.journal.fakes import asked, given_journal, live, pressed, recovered, started

CUTS = 20
needs_strace = pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not on this machine")


def run(*command: str | Path) -> None:
    subprocess.run([str(word) for word in command], check=True, capture_output=True)


def mounted(folder: Path, *options: str | Path) -> None:
    folder.mkdir()
    try:
        run("mount", *options, folder)
    except (OSError, subprocess.CalledProcessError) as error:
        pytest.skip(f"this machine does not let tests mount: {error}")


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[tuple[Path, Path]]:
    """A file with an ext4 file system, and where it is mounted."""
    image, folder = tmp_path / "disk.img", tmp_path / "disk"
    image.write_bytes(b"")
    os.truncate(image, 32 << 20)
    if shutil.which("mkfs.ext4") is None:
        pytest.skip("mkfs.ext4 is not on this machine")
    run("mkfs.ext4", "-q", "-F", image)
    mounted(folder, "-o", "loop", image)
    yield image, folder
    run("umount", folder)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "small"
    mounted(folder, "-t", "tmpfs", "-o", "size=2m", "tmpfs")
    yield folder
    run("umount", folder)


def test_power_cuts_lose_no_row_that_grew_nor_any_before_it(disk: tuple[Path, Path], tmp_path: Path) -> None:
    chance = random.Random(20261125)
    image, folder = disk
    lost_plain = 0
    for cut in range(3 * CUTS):
        if cut >= CUTS and lost_plain:
            break
        told = tmp_path / f"told-{cut}"
        every = chance.choice([30, 200, 2000])
        with writing(folder / "journal.db", told, snapshot_every=every) as process:
            sleep(chance.uniform(0.01, 0.3))
            process.send_signal(signal.SIGSTOP)
            os.waitpid(process.pid, os.WUNTRACED)
            grew, plain = kept(told, "grew"), kept(told, "plain")
            shutil.copy(image, tmp_path / "cut.img")
        after = after_the_cut(tmp_path)
        assert after >= grew, f"cut {cut}: row {grew} had been flushed, {after} is the last one left"
        lost_plain += after < plain
    assert lost_plain > 0, "not one cut lost anything: these images are no power cuts"


def after_the_cut(tmp_path: Path) -> int:
    """Mount the image as a machine would after the power is back; return the last row that is known."""
    folder = tmp_path / "cut"
    folder.mkdir(exist_ok=True)
    run("mount", "-o", "loop", tmp_path / "cut.img", folder)
    try:
        found = recovered(folder / "journal.db", handle=wordy_handle)
        assert not found.lost
        assert not found.differences
        return known(found)
    finally:
        run("umount", folder)


def test_a_full_disk_refuses_rows_and_takes_them_when_there_is_room_again(small_disk: Path) -> None:
    path = small_disk / "journal.db"
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started(), asked(1))
    ballast = small_disk / "ballast"
    fill(ballast)
    refusals = []
    for second in range(2, 40):
        try:
            house = live(journal, house, asked(second))
        except LinkError as error:
            refusals.append(error.remedy)
    assert len(refusals) > 10
    assert set(refusals) == {"make room on that disk; hembar goes on by itself"}
    assert kept_by_another_start(path, small_disk) == house.next_request
    ballast.unlink()
    house = live(journal, house, asked(50), pressed(51))
    journal.close()
    found = recovered(path)
    assert (found.house, found.damage) == (house, ())


def kept_by_another_start(path: Path, folder: Path) -> int:
    """Recover from a copy on a disk with room, as after a crash in the middle of this."""
    elsewhere = folder.parent / "elsewhere"
    elsewhere.mkdir()
    for name in (path.name, f"{path.name}-wal"):
        shutil.copy(folder / name, elsewhere / name)
    found = recovered(elsewhere / path.name)
    assert not found.lost
    return known(found)


def fill(ballast: Path) -> None:
    with ballast.open("wb", buffering=0) as file:
        for size in (65536, 4096, 1):
            while True:
                try:
                    file.write(bytes(size))
                except OSError:
                    break


def test_a_start_on_a_full_disk_is_refused_and_nothing_is_forgotten(small_disk: Path) -> None:
    path = small_disk / "journal.db"
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started(), asked(1))
    journal.close()
    fill(small_disk / "ballast")
    with pytest.raises(LinkError):
        recovered(path)
    (small_disk / "ballast").unlink()
    found = recovered(path)
    assert (found.house, found.damage) == (house, ())


def test_damage_found_on_a_full_disk_is_found_again_when_there_is_room(small_disk: Path) -> None:
    path = small_disk / "journal.db"
    journal = given_journal(path)
    house = live(journal, journal.recover().house, started(), asked(1))
    live(journal, house, *(pressed(second) for second in range(2, 30)))
    journal.close()
    data = path.read_bytes()
    path.write_bytes(data[: len(data) - 5000])
    spoilt = path.read_bytes()
    fill(small_disk / "ballast")
    with pytest.raises(LinkError):
        recovered(path)
    (small_disk / "ballast").unlink()
    assert path.read_bytes() == spoilt
    found = recovered(path)
    assert found.lost
    assert found.damage


def test_a_disk_turned_read_only_refuses_rows_until_it_is_writable_again(disk: tuple[Path, Path]) -> None:
    _, folder = disk
    journal = given_journal(folder / "journal.db")
    house = live(journal, journal.recover().house, started(), asked(1))
    journal.close()
    run("mount", "-o", "remount,ro", folder)
    with pytest.raises(LinkError):
        recovered(folder / "journal.db")
    run("mount", "-o", "remount,rw", folder)
    assert recovered(folder / "journal.db").house == house


@needs_strace
def test_a_failed_flush_refuses_its_row_and_the_journal_goes_on(tmp_path: Path) -> None:
    told, runs_refused = tmp_path / "told", 0
    for number in range(1, 13):
        path = tmp_path / f"journal-{number}"
        assert writer(path, told, events=5, snapshot_every=1000).wait() == 0
        inject = ["-e", "trace=fdatasync", "-e", f"inject=fdatasync:error=EIO:when={number}"]
        under = ["strace", "-f", "-qq", "-o", str(tmp_path / f"calls-{number}"), *inject]
        assert writer(path, told, events=30, snapshot_every=11, under=under).wait() == 0, number
        lines = told.read_text(encoding="ascii").splitlines()
        assert lines[-1] == "closed"
        runs_refused += any("disk I/O error" in line for line in lines)
        found = recovered(path, handle=wordy_handle)
        assert (known(found), found.damage, found.differences) == (35, (), ()), number
        whole = from_oldest(read_content(path), wordy_handle)
        assert (whole.house, whole.damage, whole.differences) == (found.house, (), ()), number
    assert runs_refused >= 6


@needs_strace
def test_a_row_that_grew_is_flushed_once_and_a_plain_row_never(tmp_path: Path) -> None:
    """The writer's own lines, written between its calls, tell which flush belongs to which row."""
    calls, told = tmp_path / "calls", tmp_path / "told"
    under = ["strace", "-f", "-y", "-qq", "-o", str(calls), "-e", "trace=fdatasync,fsync,write"]
    assert writer(tmp_path / "journal.db", told, events=60, snapshot_every=1000, under=under).wait() == 0
    flushes: list[str] = []
    seen = {"grew": 0, "plain": 0}
    for line in calls.read_text().splitlines():
        if re.search(r"(fdatasync|fsync)\(", line):
            flushes.append(line)
        row = re.search(r'"kept (\d+) (grew|plain)', line)
        if row is not None and int(row[1]) > 1:
            kind = row[2]
            seen[kind] += 1
            assert [("-wal>" in flush) for flush in flushes] == ([True] if kind == "grew" else []), row[0]
        if row is not None:
            flushes.clear()
    assert seen["grew"] >= 19
    assert seen["plain"] >= 38
