"""A house in one file: what goes in comes out, and what is not whole is refused."""

import gzip
import io
import json
import tarfile
from datetime import UTC, datetime
from pathlib import Path

import pytest

from bridge.adapters.archive import Archive, read, write
from bridge.core.errors import RequestError

HOUSE = Archive(
    settings=b"[site]\n",
    journal=b"SQLite" * 1000,
    memory={"shade-boards/memory/hembar/study": '{"v":1}'},
    made_utc=datetime(2026, 3, 1, 12, tzinfo=UTC),
    version="1.2",
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    to = tmp_path / "house.tar.gz"
    write(to, HOUSE)
    return to


def changed(path: Path, name: str, data: bytes | None) -> Path:
    """Write the archive again with one member changed, or left out for None."""
    with tarfile.open(path) as tar:
        parts = {each.name: (tar.extractfile(each) or io.BytesIO()).read() for each in tar}
    parts.pop(name, None)
    if data is not None:
        parts[name] = data
    with tarfile.open(path, "w:gz") as tar:
        for member, content in parts.items():
            entry = tarfile.TarInfo(member)
            entry.size = len(content)
            tar.addfile(entry, io.BytesIO(content))
    return path


def test_what_goes_in_comes_out(path: Path) -> None:
    assert read(path) == HOUSE


def test_the_same_house_gives_the_same_bytes(path: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.tar.gz"
    write(again, HOUSE)
    assert again.read_bytes() == path.read_bytes()


def test_only_its_owner_may_read_it(path: Path) -> None:
    assert path.stat().st_mode & 0o777 == 0o600


def test_a_file_that_stands_there_is_never_overwritten(path: Path) -> None:
    with pytest.raises(RequestError, match="there is a file already"):
        write(path, HOUSE)


@pytest.mark.parametrize("name", ["settings.toml", "journal.db", "memory.json"])
@pytest.mark.parametrize("data", [b"other", None])
def test_a_part_that_is_not_what_was_written_is_refused(path: Path, name: str, data: bytes | None) -> None:
    with pytest.raises(RequestError, match="not what was written"):
        read(changed(path, name, data))


@pytest.mark.parametrize("manifest", [None, b"{}", b"[]", json.dumps({"version": 2, "sha256": {}}).encode()])
def test_another_kind_of_archive_is_refused(path: Path, manifest: bytes | None) -> None:
    with pytest.raises(RequestError, match="no backup that hembar"):
        read(changed(path, "manifest.json", manifest))


@pytest.mark.parametrize("name", ["2026", "", "0001-01-01T00:00+14:00"])
def test_a_manifest_that_tells_no_time_is_refused(path: Path, name: str) -> None:
    with tarfile.open(path) as tar:
        told = json.loads((tar.extractfile("manifest.json") or io.BytesIO()).read())
    with pytest.raises(RequestError, match=r"manifest.json: it is not what was written there"):
        read(changed(path, "manifest.json", json.dumps({**told, "made_utc": name}).encode()))


def test_a_manifest_of_rubbish_is_refused(path: Path) -> None:
    with pytest.raises(RequestError, match=r"manifest.json: it is not what was written there"):
        read(changed(path, "manifest.json", b"{"))


def test_a_place_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RequestError, match="can't be written: No such file"):
        write(tmp_path / "none" / "house.tar.gz", HOUSE)


def test_a_file_cut_short_anywhere_is_refused_or_lacks_nothing(path: Path) -> None:
    whole, refused = path.read_bytes(), 0
    lengths = range(0, len(whole), 7)
    for length in lengths:
        path.write_bytes(whole[:length])
        try:
            assert read(path) == HOUSE
        except RequestError:
            refused += 1
    assert refused > len(lengths) / 2


def test_what_is_no_archive_at_all_is_refused(path: Path) -> None:
    for data in (b"", b"hello", gzip.compress(b"hello")):
        path.write_bytes(data)
        with pytest.raises(RequestError, match=r"can't be read|no backup"):
            read(path)


def test_a_member_never_reaches_the_disk_by_its_name(path: Path, tmp_path: Path) -> None:
    assert read(changed(path, "../escaped", b"x")) == HOUSE
    assert not (tmp_path.parent / "escaped").exists()
