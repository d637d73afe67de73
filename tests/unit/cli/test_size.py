"""`hembar size` on the example's shades."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bridge.cli.main import main

EXAMPLE = Path(__file__).parents[3] / "config" / "hembar.toml"


@pytest.fixture
def weak(tmp_path: Path) -> Path:
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in (
        ("= 1.2\ndetent", "= 0.12\ndetent"),
        ("detent_torque_nm = 0.068", "detent_torque_nm = 0.03"),
    ):
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_motor_that_suits_its_shade_needs_no_remedy(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["size", "study", "--settings", str(EXAMPLE), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == "lifts"
    assert told["margin"] > told["usual_margin"] == 2
    assert told["remedies"] == []
    assert told["holds_asleep"] == told["holds_in_settings"] == [[0, 100]]
    assert told["falls"] == []
    assert len(told["travel"]) == 101
    assert (told["branch_a"], told["fuse"]) == (1.2, {"iec_60127_a": 1.6, "blade_a": 2.0})
    # 1.4 A squared in 0.9 ohm, for 8766 hours.
    assert told["standstill_kwh_a_year"] == pytest.approx(1.764 * 8.766)
    # ASTM B258: 33.3 ohm/km at gauge 20.
    assert told["cable_drop_v"] == pytest.approx(2.8 * 2 * 8 * 0.0333, rel=0.005)


def test_a_weak_motor_is_told_what_would_help_and_where_the_cloth_falls(
    weak: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["size", "study", "--settings", str(weak)]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Study: lifts without the usual margin\n")
    assert "Each of these alone would give the margin" in out
    assert "more gear" in out
    assert "lighter hem bar" in out
    assert "down to 1983 mm, the end of the cloth" in out
    assert "The settings let the motor sleep at 0 to 100 % open, beyond what is reckoned here" in out
    assert "local codes and licensed electricians prevail" in out


def test_a_motor_that_does_not_lift_is_refused_by_the_exit_code(
    weak: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weak.write_text(weak.read_text().replace("= 0.12\ndetent", "= 0.05\ndetent"))
    assert main(["size", "study", "--settings", str(weak), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == "does not lift"
    assert {each["what"]: each["value"] for each in told["remedies"]}["slower"] is None


def test_the_picture_is_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("matplotlib")
    path = tmp_path / "study.svg"
    assert main(["size", "study", "--settings", str(EXAMPLE), "--picture", str(path)]) == 0
    assert path.read_text(encoding="utf-8").lstrip().startswith("<?xml")
    assert "margin" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("shade", "told"),
    [
        ("attic", "shade 'attic': it is not in these settings\n  name one of study, kitchen, landing\n"),
        ("kitchen", "[shades.kitchen.lift] and [shades.kitchen.motor]: nothing is told there"),
    ],
)
def test_what_cannot_be_sized_is_refused(shade: str, told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["size", shade, "--settings", str(EXAMPLE)]) == 2
    assert told in capsys.readouterr().err
