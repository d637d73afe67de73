import argparse
import json
import subprocess
import sys
from pathlib import Path

import pytest

from bridge.cli import check, schema
from bridge.settings.schema import settings_schema

EXAMPLE = Path(__file__).parents[3] / "config" / "hembar.toml"
BROKEN = """
[site]
name = "Gull House"
latitude_deg = 138.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[brocker]
"""


def run(*arguments: str) -> int:
    parser = argparse.ArgumentParser(prog="hembar")
    subparsers = parser.add_subparsers()
    check.add_command(subparsers)
    schema.add_command(subparsers)
    args = parser.parse_args(arguments)
    code = args.run(args)
    assert isinstance(code, int)
    return code


@pytest.fixture
def broken(tmp_path: Path) -> str:
    path = tmp_path / "broken.toml"
    path.write_text(BROKEN, encoding="utf-8")
    return str(path)


def test_the_example_is_told_shade_by_shade(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", str(EXAMPLE)) == 0
    out, err = capsys.readouterr()
    assert err == ""
    for line in (
        f"Gull House: 3 shades; no fault found in {EXAMPLE}",
        "  turns           12.521 between the limits",
        "  steps a turn    45600/11 = 4145.4545",
        "  full travel     51904 steps in 17.0 s; hem bar up to 126 mm/s, motor 240 rpm",
        "  one percent     18 mm of drop",
        "  cloth build-up  turns taken as proportional to drop would hang the hem bar up to 61.6 mm too low",
        "  unpowered       the motor holds the cloth everywhere",
        "Hobby control software: not a safety device, not certified.",
        "Local codes, the landlord's rules and licensed electricians prevail.",
    ):
        assert line in out.splitlines()


def test_supplies_groups_and_the_time_to_raise_everything_are_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("check", str(EXAMPLE)) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert (
        "supply attic 2 A: study 1.2 A moving, kitchen 1.2 A moving and 0.4 A still; all together would "
        "draw 2.4 A, so some wait for their turn, by rank"
    ) in words
    # The landing alone hangs outside: 48,291 steps at 3,000 a second, and one second of ramps.
    assert "raising all the exterior shade is up within 17.1 s of being asked" in words
    assert "you allow 60 s" in words
    assert "group upstairs: study, landing" in words


def with_rules(tmp_path: Path) -> str:
    path = tmp_path / "house.toml"
    path.write_text(EXAMPLE.read_text() + (EXAMPLE.parent / "rules.toml").read_text())
    return str(path)


def test_rules_and_sensors_are_told_in_the_words_of_the_owner(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run("check", with_rules(tmp_path)) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "sensor roof-gust: gust for all shades; lost after 120 s without a reading" in words
    assert "rule sun-depth for study: depth limit 1 m, from 50 W/m²" in words
    assert "neither a wind rule nor a wind contact" not in words
    # Two seconds for the order, and 17.1 s that the landing needs.
    assert "the last of landing is up within 19.1 s of it" in words


def test_an_exterior_shade_that_nothing_raises_in_the_wind_is_cautioned(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(EXAMPLE.read_text().replace("wind_contact = true", "wind_contact = false"))
    assert run("check", str(path)) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "landing hangs outside, and neither a wind rule nor a wind contact raises it" in words
    assert "in the wind the first order" not in words


def test_no_line_is_wider_than_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    run("check", str(EXAMPLE))
    lines = capsys.readouterr().out.splitlines()[1:]  # the first names the file
    assert max(map(len, lines)) <= 100


def test_json_has_the_same_figures(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", str(EXAMPLE), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    study = told["shades"][0]
    assert (told["house"], study["id"], study["pulses_per_turn"]) == ("Gull House", "study", "45600/11")
    # Tube 38, cloth 0.5, drop 1800, 1.5 wraps left: the root of M^2/2 + 39.5*M = 1800/pi.
    assert study["total_turns"] == pytest.approx(12.5208188, abs=1e-6)
    assert study["full_travel_steps"] == 51904
    assert [shade["mounting"] for shade in told["shades"]] == ["interior", "interior", "exterior"]
    assert any("outside" in caution for caution in told["shades"][2]["cautions"])
    assert told["supplies"] == [
        {"id": "attic", "amps": 2.0, "shades": ["study", "kitchen"], "moving_a": 2.4, "standing_a": 0.4}
    ]
    assert told["raise_all_s"] == pytest.approx(told["shades"][2]["full_travel_s"])
    assert told["groups"] == [{"id": "upstairs", "members": ["study", "landing"], "level": False}]


def test_all_faults_go_to_standard_error_and_the_exit_code_is_78(
    capsys: pytest.CaptureFixture[str], broken: str
) -> None:
    assert run("check", broken) == 78
    out, err = capsys.readouterr()
    assert out == ""
    assert [line.split("; ")[0] for line in err.splitlines()] == [
        f"{broken}: brocker is not a known key",
        f"{broken} [site]: latitude_deg = 138.5: it must be at most 90",
        f"{broken} [shades]: no shade is described",
    ]


def test_faults_are_told_to_programs_too(capsys: pytest.CaptureFixture[str], broken: str) -> None:
    assert run("check", broken, "--json") == 78
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert told["file"] == broken
    assert len(told["faults"]) == len(err.splitlines()) == 3
    assert told["faults"][0] == {
        "where": broken,
        "problem": "brocker is not a known key",
        "remedy": "did you mean broker?",
    }


def test_a_missing_file_is_a_fault_like_any_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("check", "nowhere.toml") == 78
    assert capsys.readouterr().err == (
        "nowhere.toml: there is no such file; check the path, or start from config/hembar.toml\n"
    )


def test_schema_prints_the_schema(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("schema") == 0
    assert json.loads(capsys.readouterr().out) == settings_schema()


def test_naming_the_commands_loads_no_pydantic() -> None:
    code = "import sys, bridge.cli.check, bridge.cli.schema; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_each_topic_that_is_listened_to_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "house.toml"
    table = '[[listen]]\ntopic = "panel/level"\nshade = "study"\nsays = "byte closed"\n'
    path.write_text(f"{EXAMPLE.read_text(encoding='utf-8')}\n{table}", encoding="utf-8")
    assert run("check", str(path)) == 0
    line = "  listens         panel/level (byte closed) moves shade study"
    assert line in capsys.readouterr().out.splitlines()
    assert run("check", str(path), "--json") == 0
    assert json.loads(capsys.readouterr().out)["listens"] == [
        {
            "topic": "panel/level",
            "shade": "study",
            "group": None,
            "says": "byte closed",
            "words": [],
            "pointer": None,
            "source": "panel/level",
            "retained": False,
            "qos": 1,
        }
    ]
