"""A house moves to another machine, its positions intact, with the real daemon, boards and broker."""

import subprocess
from pathlib import Path

import pytest

from tests.house_process import running_house
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR, Bridge

pytestmark = pytest.mark.broker


def hembar(*args: str | Path, code: int = 0) -> str:
    ran = subprocess.run(
        [str(HEMBAR), *map(str, args)], check=False, capture_output=True, text=True, timeout=60
    )
    assert ran.returncode == code, ran.stderr + ran.stdout
    return ran.stdout + ran.stderr


def test_another_machine_goes_on_with_the_positions_intact(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running_house(mosquitto, tmp_path) as house:
        house.find_top("study")
        house.ask("study", "60")
        house.wait_at_rest("study", "60")
        archive, there = tmp_path / "house.tar.gz", tmp_path / "there"
        said = hembar("backup", house.bridge.settings, "--state", house.bridge.state, "--to", archive)
        assert "memories of the broker" in said
        width = house.value("study", "knowledge/width")
        house.bridge.stop()

        said = hembar("restore", archive, "--settings", there / "house.toml", "--state", there / "state")
        assert "3 shades" in said
        other = Bridge(there / "house.toml", there / "state", tmp_path / "other.log")
        seen = len(house.ear.messages)
        other.start()
        try:
            house.wait_answered_anew("study", seen)
            house.ear.wait(
                lambda: house.value("study", "knowledge/width") == width, "as well known as before"
            )
            assert house.value("study", "opening/position") == "60"
            assert house.claim_holds("study")
            house.bridge = other
            house.ask("study", "30")
            house.wait_at_rest("study", "30")
            assert house.claim_holds("study")
        finally:
            other.stop()


def test_what_moved_since_the_backup_is_never_claimed_sharper_than_it_is(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with running_house(mosquitto, tmp_path) as house:
        house.find_top("study")
        archive = tmp_path / "house.tar.gz"
        hembar("backup", house.bridge.settings, "--state", house.bridge.state, "--to", archive, "--no-broker")
        for percent in ("60", "20", "80"):
            house.ask("study", percent)
            house.wait_at_rest("study", percent)
        house.bridge.stop()
        to = ("--settings", house.bridge.settings, "--state", house.bridge.state)
        assert "there is a file already" in hembar("restore", archive, *to, code=2)
        hembar("restore", archive, *to, "--replace")
        assert list(house.bridge.state.glob("journal.db.aside-*"))
        seen = len(house.ear.messages)
        house.bridge.start()
        house.wait_answered_anew("study", seen)
        assert house.claim_holds("study")


def test_a_running_service_is_not_pulled_away_from_its_journal(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running_house(mosquitto, tmp_path) as house:
        house.find_top("study")
        archive = tmp_path / "house.tar.gz"
        hembar("backup", house.bridge.settings, "--state", house.bridge.state, "--to", archive)
        to = ("--settings", house.bridge.settings, "--state", house.bridge.state)
        assert "another hembar has it open" in hembar("restore", archive, *to, "--replace", code=69)
