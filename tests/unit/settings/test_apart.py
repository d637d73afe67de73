"""Settings read by another process are those that this one would read, faults included."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from bridge.core.errors import LinkError
from bridge.settings.apart import load_apart
from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load

EXAMPLE = Path(__file__).parents[3] / "config" / "hembar.toml"


def test_what_is_read_apart_is_what_is_read_here() -> None:
    assert load_apart(EXAMPLE) == load(EXAMPLE)


def test_every_fault_is_handed_over(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    text = (
        EXAMPLE.read_text(encoding="utf-8").replace("tube_mm = ", "tube_mm = -").replace("name = ", "nome = ")
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ConfigFaults) as here:
        load(path)
    with pytest.raises(ConfigFaults) as apart:
        load_apart(path)
    assert [str(each) for each in apart.value.faults] == [str(each) for each in here.value.faults]
    assert len(apart.value.faults) > 1
    assert str(apart.value) == str(here.value)


def test_a_start_hears_the_same_from_its_fork(tmp_path: Path) -> None:
    """In a process of its own: one that tests has threads."""
    faulty = tmp_path / "house.toml"
    faulty.write_text("[site]\n", encoding="utf-8")
    code = f"""
from pathlib import Path
from bridge.settings.apart import Reading
from bridge.settings.faults import ConfigFaults
readings = [Reading(Path(each)) for each in ({str(EXAMPLE)!r}, {str(faulty)!r})]
import bridge.settings.load as here
assert readings[0].result() == here.load({str(EXAMPLE)!r})
try:
    readings[1].result()
except ConfigFaults as faults:
    print(len(faults.faults))
here.load = None
try:
    Reading(Path("any")).result()
except Exception as error:
    print(error.problem)
"""
    ended = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)
    count, problem = ended.stdout.splitlines()
    assert int(count) > 1
    assert problem == "the process that reads it ended with 1"
    assert "'NoneType' object is not callable" in ended.stderr


def test_where_no_process_can_be_started_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with pytest.raises(LinkError, match=r"no process can be started to read it: .*No such file"):
        load_apart(EXAMPLE)


def test_a_reader_that_dies_is_no_fault_of_the_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/bin/false")
    with pytest.raises(LinkError, match="the process that reads it ended with 1"):
        load_apart(EXAMPLE)
