"""`hembar health` on a journal that a house has written."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest

from bridge.adapters.journal.store import FileJournal
from bridge.cli.main import main
from bridge.core.events import Started
from bridge.core.house import handle
from bridge.core.spec import HouseSpec
from bridge.core.values import Moment
from tests.unit.core.position.test_drift import Diary, shade, there_and_back


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    spec = shade(Fraction(5))
    diary = Diary(spec, Fraction(57, 11), Random(4))
    there_and_back(diary, 4)
    event = Started(
        at=Moment(utc=datetime(2026, 3, 2, tzinfo=UTC), mono_s=0.0), spec=HouseSpec(name="x", shades=(spec,))
    )
    house, decisions = handle(None, event)
    study = house.shades[spec.id]
    learnt = replace(study.knowledge, meetings=tuple(diary.meetings))
    house = replace(house, shades={spec.id: replace(study, knowledge=learnt)})
    path = tmp_path / "journal.db"
    store = FileJournal(path, handle)
    store.recover()
    store.append((event, decisions))
    store.snapshot(house, forced=True)
    store.close()
    return path


def test_it_says_what_was_found_and_which_setting_it_speaks_against(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["health", str(journal)]) == 0
    said = capsys.readouterr().out
    assert "study: unknown" in said
    assert 'proposal: drive.gear = "57/11"' in said
    assert "4 ways" in said


def test_the_same_is_told_to_programs(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["health", str(journal), "--json"]) == 0
    study = json.loads(capsys.readouterr().out)["shades"]["study"]
    assert study["drift"]["proposals"][0]["value"] == '"57/11"'
    assert study["drift"]["scale"]["passes"] == 4


def test_a_shade_that_is_not_there_is_refused(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["health", str(journal), "--shade", "attic"]) == 2
    assert "name one of study" in capsys.readouterr().err


def test_no_journal_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["health", str(tmp_path / "none.db")]) == 2
    assert "there is no such file" in capsys.readouterr().err


def test_the_picture_is_drawn(journal: Path, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    to = tmp_path / "health.svg"
    assert main(["health", str(journal), "--picture", str(to)]) == 0
    assert to.read_text().lstrip().startswith("<?xml")


def test_a_picture_of_another_kind_is_refused(
    journal: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["health", str(journal), "--picture", str(tmp_path / "health.gif")]) == 2
    assert "neither .svg nor .png" in capsys.readouterr().err
