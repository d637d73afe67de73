"""Settings with some keys changed: every comment stays, and nothing is written that would be refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.core.commissioning.result import Edit
from bridge.core.errors import ConfigError
from bridge.settings.rewrite import replace_file, rewritten
from tests.commission_house import SETTINGS

TEXT = SETTINGS.format(port=1883)


def changed(*edits: Edit, shade: str = "hall") -> str:
    return rewritten(TEXT, shade, edits, origin="house.toml", folder=Path())


def differing(text: str) -> list[str]:
    before = TEXT.splitlines()
    return [line for line in text.splitlines() if line not in before]


def test_only_the_keys_named_change_and_their_comments_stay() -> None:
    text = changed(
        Edit(path=("tube_mm",), value=38.15),
        Edit(path=("drive", "gear"), value="57/11"),
        Edit(path=("in_service",), value=False),
    )
    assert differing(text) == [
        "tube_mm = 38.15        # calipers",
        "in_service = false",
        'gear = "57/11"            # the label says 5:1',
    ]
    assert len(text.splitlines()) == len(TEXT.splitlines()) + 1


def test_a_key_and_its_table_come_and_go() -> None:
    there = changed(Edit(path=("references", "upper_switch_mm"), value=-3.0), shade="den")
    assert "[shades.den.references]" in there
    gone = rewritten(
        there,
        "den",
        [Edit(path=("references", "upper_switch_mm"), value=None)],
        origin="house.toml",
        folder=Path(),
    )
    assert "upper_switch_mm = -3.0" not in gone


def test_taking_out_what_is_not_there_changes_nothing() -> None:
    assert changed(Edit(path=("in_service",), value=None), Edit(path=("window", "x"), value=None)) == TEXT


def test_what_the_bridge_would_refuse_is_never_written() -> None:
    with pytest.raises(ConfigError, match="wraps_left"):
        changed(Edit(path=("wraps_left",), value=0.2))


def test_a_shade_that_is_not_there_is_named() -> None:
    with pytest.raises(ConfigError, match=r"there is no \[shades.attic\]"):
        changed(shade="attic")


def test_a_file_is_replaced_as_a_whole_and_the_first_one_is_kept(tmp_path: Path) -> None:
    path, backup = tmp_path / "house.toml", tmp_path / "house.toml.before-hall"
    path.write_text("one\n")
    path.chmod(0o640)
    for text in ("two\n", "three\n"):
        replace_file(path, text, backup=backup)
    assert (path.read_text(), backup.read_text()) == ("three\n", "one\n")
    assert path.stat().st_mode & 0o777 == 0o640
    assert sorted(each.name for each in tmp_path.iterdir()) == ["house.toml", "house.toml.before-hall"]
