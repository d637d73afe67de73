"""`hembar why` on a journal that the real house has written."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from bridge.adapters.journal.store import FileJournal
from bridge.cli.main import main
from bridge.core.events import Event
from bridge.core.house import handle
from bridge.core.outcome import Decisions
from bridge.core.sun.sky import Place
from bridge.core.surroundings import Restraint, Site
from tests.scene import EPOCH, house_spec, shade_spec
from tests.weather import AZORES, WINDOW, Weather, choice, sensor

BEGAN_S = 14.5 * 3600


class Written(Weather):
    """A scene whose events go into a journal, as they do in the service."""

    journal: FileJournal

    def event(self, event: Event) -> Decisions:
        after, decisions = handle(self.house, event)
        if after is not self.house:
            self.journal.append((event, decisions))
        return super().event(event)


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    rules = choice("sun-depth"), choice("warmth", indoor_c=30.0), choice("wind", gust_limit_mps=10.0)
    sensors = (sensor("indoor-temperature", stale_s=1e9), sensor("gust", stale_s=1e9))
    shade = shade_spec("landing", rules=rules, window=WINDOW)
    spec = house_spec(shade, site=AZORES, sensors=sensors, restraint=Restraint(dwell_s=0.0))
    path = tmp_path / "journal.db"
    scene = Written(spec, now_s=BEGAN_S)
    scene.journal = FileJournal(path, handle)
    scene.journal.recover()
    scene.begin()
    scene.say("indoor-temperature", 18.0)
    scene.say("gust", 2.0)
    scene.run(4.5 * 3600)
    scene.say("gust", 14.0)
    scene.run(60)
    scene.journal.close()
    return path


def asked(journal: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str]:
    code = main(["why", "landing", "--journal", str(journal), *more])
    return code, capsys.readouterr().out


def test_it_names_the_rule_the_numbers_the_losers_and_the_next_look(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = (EPOCH + timedelta(hours=18, minutes=55)).isoformat()
    code, out = asked(journal, capsys, "--at", at)
    assert code == 0
    lines = out.splitlines()
    assert lines[0].startswith("landing: ")
    assert lines[0].endswith("by the sun-depth rule")
    assert "would reach" in out
    assert "your limit is 1.0 m" in out
    assert "lost: warmth: 18.0 °C indoors (yours: 30.0 °C)" in out
    assert "next look 2026-06-01 19:00:00 +0000" in out
    assert "next move 2026-06-01 " in out


def test_a_wind_retract_is_what_is_told_after_it(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = asked(journal, capsys, "--json")
    assert code == 0
    said = json.loads(out)
    assert said["decided"]["rule"] == "wind"
    assert said["decided"]["did"] == "moved to 100 %"
    assert said["decided"]["why"] == "gust 14.0 m/s (force 7); your limit is 10.0 m/s"
    assert said["decided"]["lost"][0].startswith("sun-depth: ")
    assert said["events"][-1]["text"].startswith("up from the wind rule: reached")


def test_people_are_told_by_the_clocks_of_the_house(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fiji = Site(place=Place(latitude_deg=-18.1, longitude_deg=178.4), timezone="Pacific/Fiji")
    shade = shade_spec("landing", rules=(choice("night"),), window=WINDOW)
    scene = Written(house_spec(shade, site=fiji, restraint=Restraint(dwell_s=0.0)), now_s=3600.0)
    path = tmp_path / "fiji.db"
    scene.journal = FileJournal(path, handle)
    scene.journal.recover()
    scene.begin()
    scene.run(7200)
    scene.journal.close()
    code, out = asked(path, capsys)
    assert code == 0
    assert "next look 2026-06-01 15:10:00 +1200" in out
    assert "+0000" not in out


def test_before_anything_was_decided_it_says_so(journal: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out = asked(journal, capsys, "--at", "2020-01-01T00:00Z")
    assert code == 1
    assert out == "landing: the journal has no decision about it by then\n"


@pytest.mark.parametrize("text", ["2026-06-01T12:00", "yesterday"])
def test_a_time_without_an_offset_is_refused(
    journal: Path, capsys: pytest.CaptureFixture[str], text: str
) -> None:
    assert main(["why", "landing", "--journal", str(journal), "--at", text]) == 2
    assert "write it like 2026-06-20T15:30+02:00" in capsys.readouterr().err


def test_all_that_rules_decided_comes_out_again_byte_for_byte(
    journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["replay", str(journal)]) == 0
    assert "the same: every decision came out again byte for byte" in capsys.readouterr().out
