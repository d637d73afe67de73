"""`hembar day` and `hembar sunmap` on the invented house of config/."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

import pytest

from bridge.adapters.journal.store import FileJournal
from bridge.cli.main import main
from bridge.core.events import Event
from bridge.core.house import handle
from bridge.core.outcome import Decisions, Field
from bridge.core.sun.year import sunlit_year
from bridge.settings.load import load
from tests.scene import house_spec, shade_spec
from tests.weather import AZORES, WINDOW, Weather, choice, sensor

ROOT = Path(__file__).parents[3]


@pytest.fixture
def settings(tmp_path: Path) -> Path:
    path = tmp_path / "house.toml"
    parts = (ROOT / "config" / name for name in ("hembar.toml", "rules.toml"))
    path.write_text("\n".join(part.read_text() for part in parts))
    return path


def test_a_day_is_told_move_by_move(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["day", str(settings), "--date", "2026-10-10", "--shade", "study"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "study on Sat 10 Oct 2026: sun on the window from 10:32 to 18:10"
    assert said[1].endswith("with the plan 1.0 m; the limit is 1.0 m")
    assert said[3:8] == [
        "  07:30  raised to 100 %",
        "  12:47  lowered to 45 %",
        "  15:38  lowered to 15 %",
        "  18:11  raised to 100 %",
        "  19:35  lowered to 0 %",
    ]
    assert said[8].startswith("  5 moves; ")


def test_a_shade_without_a_limit_is_told_none(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["day", str(settings), "--date", "2026-06-21", "--shade", "kitchen"]) == 0
    said = capsys.readouterr().out
    assert "it would reach over 20 m" in said
    assert "limit" not in said


def test_programs_are_told_the_same(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["day", str(settings), "--date", "2026-10-10", "--json"]) == 0
    shades = json.loads(capsys.readouterr().out)["shades"]
    assert [each["to_pct"] for each in shades["study"]["moves"]] == [100, 45, 15, 100, 0]
    assert shades["study"]["deepest_planned_m"] <= 1.0 < shades["study"]["deepest_up_m"]
    assert set(shades) == {"study", "kitchen", "landing"}


def test_warmth_outdoors_makes_the_heat_rule_lower(
    settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["day", str(settings), "--date", "2026-05-10", "--shade", "landing", "--json", "--outdoor-c"]
    moves = []
    for outdoor_c in ("15", "27"):
        assert main([*words, outdoor_c]) == 0
        moves.append(json.loads(capsys.readouterr().out)["shades"]["landing"]["moves"])
    assert moves[0] == []
    assert [each["to_pct"] for each in moves[1]] == [20, 100]


@dataclass
class Lived(Weather):
    """A scene that keeps its events."""

    log: list[Event] = field(default_factory=list)

    def event(self, event: Event) -> Decisions:
        self.log.append(event)
        return super().event(event)


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """Return the journal of 1 June: a gust, then a person who lowers to 40 % before noon."""
    shade = shade_spec("landing", rules=(choice("wind", gust_limit_mps=10.0),), window=WINDOW)
    scene = Lived(house_spec(shade, site=AZORES, sensors=(sensor("gust"),)))
    scene.begin()
    scene.say("gust", 4.5)
    scene.run(3600)
    scene.say("gust", 3.5)
    scene.hold_at("gust", 3.5, 1200)
    scene.ask("landing", 40)
    scene.run(60)
    path = tmp_path / "journal.db"
    written(path, scene)
    return path


def test_what_really_happened_is_read_from_the_journal(
    settings: Path, journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["day", str(settings), "--date", "2026-06-01", "--shade", "landing", "--journal", str(journal)]
    assert main([*words, "--json"]) == 0
    happened = json.loads(capsys.readouterr().out)["shades"]["landing"]["happened"]
    assert happened[0]["open_pct"] is None, "nothing is known before the first reference"
    assert happened[-1]["open_pct"] == pytest.approx(40, abs=0.5)
    assert happened[-1]["held"]
    assert max(each["gust_mps"] or 0 for each in happened) == 4.5
    assert all(each["utc"].startswith("2026-06-01T") for each in happened)


def test_another_day_holds_nothing_of_it(
    settings: Path, journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["day", str(settings), "--date", "2026-06-03", "--shade", "landing", "--journal", str(journal)]
    assert main([*words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["shades"]["landing"]["happened"] == []


def written(path: Path, scene: Lived, then: Callable[[Decisions], Decisions] = lambda each: each) -> None:
    """Put what a scene lived through into a journal, its decisions changed by `then`."""
    house, store = None, FileJournal(path, handle)
    store.recover()
    for event in scene.log:
        house, decisions = handle(house, event)
        store.append((event, then(decisions)))
    store.close()


@pytest.fixture
def sunny(tmp_path: Path) -> tuple[Path, Lived]:
    """Return the journal of a June day until 14:30 by the clock, and its scene."""
    rules = (choice("sun-depth", depth_limit_m=1.0), choice("night"))
    shade = shade_spec("landing", rules=rules, window=WINDOW)
    scene = Lived(house_spec(shade, site=AZORES), now_s=3600.0)
    scene.begin()
    scene.run(12 * 3600)
    scene.ask("landing", 70)
    scene.run(1.5 * 3600)
    path = tmp_path / "sunny.db"
    written(path, scene)
    return path, scene


def a_day(settings: Path, journal: Path, capsys: pytest.CaptureFixture[str], *more: str) -> str:
    words = ["day", str(settings), "--date", "2026-06-01", "--shade", "landing", "--journal", str(journal)]
    assert main([*words, *more]) == 0
    return capsys.readouterr().out


def test_the_plan_of_a_past_day_is_what_was_written_down_not_what_the_settings_say_now(
    settings: Path, sunny: tuple[Path, Lived], capsys: pytest.CaptureFixture[str]
) -> None:
    path, scene = sunny
    said = json.loads(a_day(settings, path, capsys, "--json"))["shades"]["landing"]
    assert said["planned_since_utc"] == "2026-06-01T01:10:00+00:00"
    first, last = scene.told("rule.shade.decided")[0], scene.told("rule.shade.decided")[-1]
    assert said["plans"][0]["moves"][0]["utc"] == dict(first.fields)["next_at"]
    assert said["plans"][-1]["moves"][0]["utc"] == dict(last.fields)["next_at"]
    told = [(each["utc"], each["to_pct"]) for each in said["moves"]]
    for plan, later in pairwise(said["plans"]):
        # Each plan counts until the next one.
        due = [each for each in plan["moves"] if each["utc"] < later["utc"]]
        assert all((each["utc"], each["to_pct"]) in told for each in due)
    # What the person asked for is no move of the plan.
    assert 70 not in [each["to_pct"] for each in said["moves"]]
    assert 70 in [round(each["open_pct"] or 0) for each in said["happened"]]
    coming = [each for each in said["plans"][-1]["moves"] if each["utc"] < "2026-06-02"]
    assert [(each["utc"], each["to_pct"]) for each in coming] == told[-len(coming) :]
    # The same settings without the journal have other rules for this shade: heat, wind, no limit at night.
    words = ["day", str(settings), "--date", "2026-06-01", "--shade", "landing", "--json"]
    assert main(words) == 0
    reckoned = json.loads(capsys.readouterr().out)["shades"]["landing"]
    assert reckoned["moves"] != said["moves"]
    assert "plans" not in reckoned


def planned_otherwise(decisions: Decisions) -> Decisions:
    """Return what a program with other ideas would have written down."""
    ideas: dict[str, Field] = {
        "at_pct": 88,
        "moved": False,
        "next_at": "2026-06-01T12:34:00+00:00",
        "next_pct": 77,
        "next_rule": "sun-depth",
        "later": "2026-06-01T20:00:00+00:00 5 night",
    }
    notes = [
        replace(note, fields=tuple({**dict(note.fields), **ideas}.items()))
        if note.name == "rule.shade.decided"
        else note
        for note in decisions.notes
    ]
    return replace(decisions, notes=tuple(notes))


def test_the_plan_in_the_journal_is_read_and_not_derived_again(
    settings: Path, sunny: tuple[Path, Lived], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "other.db"
    written(path, sunny[1], then=planned_otherwise)
    said = json.loads(a_day(settings, path, capsys, "--json"))["shades"]["landing"]
    moves = [(each["utc"][11:16], each["from_pct"], each["to_pct"]) for each in said["moves"]]
    assert moves == [("12:34", 88, 77), ("20:00", 77, 5)]
    assert said["plans"][0]["moves"] == [
        {"utc": "2026-06-01T12:34:00+00:00", "to_pct": 77, "rule": "sun-depth"},
        {"utc": "2026-06-01T20:00:00+00:00", "to_pct": 5, "rule": "night"},
    ]


def test_a_day_with_a_journal_tells_plan_and_what_happened_in_words(
    settings: Path, sunny: tuple[Path, Lived], capsys: pytest.CaptureFixture[str]
) -> None:
    said = a_day(settings, sunny[0], capsys)
    assert "the plan as it stood at each moment from 01:10 on, from the journal" in said
    happened = said.partition("what happened:")[2]
    assert "at 70 %, held for a person" in happened


def test_a_journal_that_knows_no_plan_of_the_day_says_so(
    settings: Path, sunny: tuple[Path, Lived], capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["day", str(settings), "--date", "2026-06-09", "--shade", "landing", "--journal", str(sunny[0])]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "the journal holds no plan of this day; this one is reckoned now" in said
    assert "the journal tells nothing of this day" in said


def test_the_day_is_drawn(settings: Path, journal: Path, tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    bare, full = tmp_path / "bare.svg", tmp_path / "full.svg"
    words = ["day", str(settings), "--date", "2026-06-01", "--shade", "landing", "--picture"]
    assert main([*words, str(bare)]) == 0
    assert main([*words, str(full), "--journal", str(journal)]) == 0
    # Words are drawn as shapes, each with what it says in a comment.
    for said in ("where it really hung", "held by a person", "Gusts, m/s"):
        assert f"<!-- {said} -->" in full.read_text()
        assert f"<!-- {said} -->" not in bare.read_text()


def test_the_map_of_a_year_is_drawn_and_its_hours_told(
    settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("matplotlib")
    to = tmp_path / "map.png"
    words = ["sunmap", "study", "--settings", str(settings), "--year", "2026", "--picture", str(to), "--json"]
    assert main(words) == 0
    said = json.loads(capsys.readouterr().out)
    window = load(settings).house.shades[0].window
    site = load(settings).house.site
    assert window is not None
    assert site is not None
    exact = sunlit_year(site.place, window.facade, window.opening, year=2026, depth_limit_m=1.0)
    assert said["lit_h"] == pytest.approx(exact.direct_sun_h, rel=0.01)
    assert said["too_deep_h"] == pytest.approx(exact.deeper_h, rel=0.01)
    assert to.read_bytes().startswith(b"\x89PNG")


def test_a_picture_of_another_kind_is_refused(
    settings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    to = str(tmp_path / "map.gif")
    assert main(["sunmap", "study", "--settings", str(settings), "--picture", to]) == 2
    assert "neither .svg nor .png" in capsys.readouterr().err


def test_a_shade_that_is_not_there_is_refused(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["day", str(settings), "--shade", "attic"]) == 2
    assert "name one of study, kitchen, landing" in capsys.readouterr().err


def test_a_dark_picture_has_a_dark_ground(tmp_path: Path) -> None:
    settings = tmp_path / "house.toml"
    root = Path(__file__).parents[3] / "config"
    settings.write_text("\n".join((root / name).read_text() for name in ("hembar.toml", "rules.toml")))
    drawn = [tmp_path / "light.svg", tmp_path / "dark.svg"]
    told = ["day", str(settings), "--date", "2026-06-21", "--shade", "study", "--picture"]
    assert main([*told, str(drawn[0])]) == 0
    assert main([*told, str(drawn[1]), "--dark"]) == 0
    light, dark = (path.read_text() for path in drawn)
    assert "#ffffff" in light
    assert "#16191c" not in light
    assert "#16191c" in dark


def test_the_settings_here_and_the_journal_that_they_name_need_not_be_named(
    settings: Path,
    sunny: tuple[Path, Lived],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = settings.parent
    (folder / "state").mkdir()
    sunny[0].rename(folder / "state" / "journal.db")
    text = settings.read_text().replace('# state_dir = "/var/lib/hembar"', 'state_dir = "state"')
    (folder / "hembar.toml").write_text(text)
    monkeypatch.chdir(folder)
    assert main(["day", "--date", "2026-06-01", "--shade", "landing"]) == 0
    assert "what happened:" in capsys.readouterr().out
    assert main(["day", "--date", "2026-06-09", "--shade", "landing"]) == 0
    assert "journal" not in capsys.readouterr().out, "nobody asked for it, and it tells nothing of that day"
    assert main(["why", "landing", "--at", "2026-06-01T12:00Z"]) == 0
    assert "landing: left at" in capsys.readouterr().out


def test_without_settings_anywhere_it_says_where_it_looked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("bridge.cli.usual_place.SETTINGS", (Path("hembar.toml"), tmp_path / "none.toml"))
    for words in (
        ["day"],
        ["why", "study"],
        ["year", "--weather", "x.epw"],
        ["sunmap", "study", "--picture", "x.svg"],
    ):
        assert main(words) == 2
        said = capsys.readouterr().err
        assert "no file is named, and neither hembar.toml here nor" in said
        assert "name the file with the settings of the house" in said
