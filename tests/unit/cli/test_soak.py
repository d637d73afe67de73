import json

import pytest

from bridge.cli.main import main
from bridge.core import house


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
        (["--seeds", "1", "--days", "0"], "0 days"),
        (["--seeds", "1", "--jobs", "-1"], "'-1' is not a whole number"),
        (["--seeds", "1", "--faults", "cut,quake"], "there is no fault 'quake'"),
    ],
)
def test_an_impossible_soak_is_refused_with_2(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["soak", *words]) == 2
    assert told in capsys.readouterr().err
