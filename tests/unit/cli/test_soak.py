import json

import pytest

from bridge.cli.main import main
from bridge.core import house
from bridge.simulate.world import single
from bridge.simulate.world.single import Recovery


def test_a_soak_without_an_escape_prints_its_table_and_ends_with_0(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["soak", "--seeds", "1-3", "--days", "0.5", "--jobs", "1"]) == 0
    said = capsys.readouterr().out
    for row in ("shade-days", "moves by order", "faults", "references taken", "escapes"):
        assert row in said


def test_a_soak_as_json_has_the_same_figures(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["soak", "--seeds", "2", "--days", "0.5", "--faults", "cut,slow", "--jobs", "1", "--json"]) == 0
    )
    said = json.loads(capsys.readouterr().out)
    assert said["seeds"] == 1
    assert said["failures"] == []
    assert said["in_motion"] <= sum(said["faults"].values())


def test_a_failing_seed_prints_one_command_that_replays_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(house, "_grew", lambda before, after: False)
    assert main(["soak", "--seeds", "1-40", "--days", "1", "--faults", "none", "--jobs", "1", "--story"]) == 1
    told = capsys.readouterr().err
    assert "I7 after" in told
    assert "hembar soak --seeds " in told
    assert "--days 1 --story --faults none" in told
    assert "event started" in told or "event asked" in told


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--seeds", "9-3"], "'9-3' is no range"),
        (["--seeds", "x"], "'x' is no range"),
        (["--seeds", "1-999999999999"], "999999999999 seeds\n  give 1000000 at most at once"),
        (["--seeds", "1", "--days", "0"], "0 days"),
        (["--seeds", "1", "--minutes", "0"], "--minutes: 0 minutes"),
        (["--seeds", "1", "--shades", "501"], "--shades: 501 shades\n  give 500 at most"),
        (["--seeds", "1", "--one-way", "501"], "--one-way: 501 shades"),
        (["--seeds", "1", "--recovery", "--faults", "none"], "none is nothing to recover from"),
        (["--seeds", "1", "--jobs", "-1"], "'-1' is not a whole number"),
        (["--seeds", "1", "--faults", "cut,quake"], "there is no fault 'quake'"),
    ],
)
def test_an_impossible_soak_is_refused_with_2(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["soak", *words]) == 2
    assert told in capsys.readouterr().err


def test_recovery_has_a_line_for_each_kind_of_fault(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["soak", "--seeds", "1-2", "--recovery", "--faults", "cut,hang", "--jobs", "1"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[:2] for line in lines[2:4]] == [["cut", "2"], ["hang", "2"]]


def test_recovery_as_json_has_times_and_what_was_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["soak", "--seeds", "1-2", "--recovery", "--faults", "cut", "--jobs", "1", "--json"]) == 0
    (said,) = json.loads(capsys.readouterr().out)
    assert said["fault"] == "cut"
    assert said["houses"] == 2
    assert said["served"] + said["told"] > 0
    assert said["heard_s"]["median"] <= said["heard_s"]["p99"] <= said["heard_s"]["most"] <= 60
    assert said["late"] == []


def test_recovery_that_is_late_ends_with_1_and_says_which_seed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    late = Recovery(kind="cut", houses=1, late=["seed 7: out of conversation 90 s after connectivity"])
    monkeypatch.setattr(single, "recoveries", lambda *_, **__: iter([late]))
    assert main(["soak", "--seeds", "7", "--recovery", "--faults", "cut"]) == 1
    said = capsys.readouterr()
    assert said.out.splitlines()[2].split() == ["cut", "1", "0", *"------", "0", "1"]
    assert "cut: seed 7: out of conversation 90 s" in said.err
