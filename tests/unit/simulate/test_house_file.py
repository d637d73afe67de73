import json
from pathlib import Path
from typing import Any

import pytest

from bridge.core.errors import ConfigError
from bridge.simulate.demo_house import DEMO_HOUSE
from bridge.simulate.house_file import board_text, read_board, read_house, write_house


def test_a_house_comes_back_as_it_was_written(tmp_path: Path) -> None:
    write_house(tmp_path / "house.json", DEMO_HOUSE)
    assert read_house(tmp_path / "house.json") == DEMO_HOUSE
    (tmp_path / "board.json").write_bytes(board_text(DEMO_HOUSE.boards[0]))
    assert read_board(tmp_path / "board.json") == DEMO_HOUSE.boards[0]


def test_the_least_house_needs_only_its_measures(tmp_path: Path) -> None:
    build = {"tube_mm": 40, "cloth_mm": 0.4, "drop_mm": 1500, "wraps_left": 1}
    house = {"boards": [{"id": "den", "channels": [{"shade": "den", "build": build}]}]}
    (tmp_path / "house.json").write_text(json.dumps(house))
    (board,) = read_house(tmp_path / "house.json").boards
    assert board.channels[0].build.pulses_per_turn == pytest.approx(800 * 57 / 11)


def build(house: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = house["boards"][0]["channels"][0]["build"]
    return found


def broken(change: Any) -> str:
    write = json.loads(json.dumps(GOOD))
    change(write)
    return json.dumps(write)


GOOD = {
    "boards": [
        {
            "id": "den",
            "channels": [
                {"shade": "den", "build": {"tube_mm": 40, "cloth_mm": 0.4, "drop_mm": 1500, "wraps_left": 1}}
            ],
        }
    ]
}

FAULTS = [
    ("{", "Invalid JSON"),
    (json.dumps({"boards": []}), "there must be one at least"),
    (broken(lambda house: house["boards"].append(house["boards"][0])), "no two alike"),
    (broken(lambda house: house["boards"][0].update(id="Den/1")), "a-z, 0-9 and inner hyphens"),
    (broken(lambda house: house["boards"][0].update(channels=[])), "board den has no channels"),
    (broken(lambda house: house["boards"][0].update(chanels=[])), "boards.0.chanels"),
    (broken(lambda house: build(house).update(tube_mm=0)), "tube_mm is 0.0; it must be greater than 0"),
    (broken(lambda house: build(house).update(cloth_mm=-1)), "cloth_mm is -1.0; it must be 0 or greater"),
    (broken(lambda house: build(house).update(drop_mm="NaN")), "build.drop_mm"),
    (broken(lambda house: build(house).update(gear="57/0")), "build.gear"),
    (
        broken(lambda house: house["boards"][0]["channels"][0].update(progress_s=0)),
        "progress_s is 0.0; it must be greater than 0",
    ),
    (broken(lambda house: build(house).update(pulses_per_rev=300)), "a multiple of 200"),
]


@pytest.mark.parametrize(("text", "says"), FAULTS)
def test_a_house_that_cannot_be_built_is_refused_with_its_place(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "house.json"
    path.write_text(text)
    with pytest.raises(ConfigError) as refused:
        read_house(path)
    assert says in str(refused.value)
    assert str(path) in str(refused.value)


def test_all_faults_of_a_house_are_told_together(tmp_path: Path) -> None:
    path = tmp_path / "house.json"
    path.write_text(broken(lambda house: (build(house).pop("tube_mm"), build(house).update(gear="x"))))
    with pytest.raises(ConfigError, match=r"build\.tube_mm.*build\.gear"):
        read_house(path)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="No such file"):
        read_house(tmp_path / "none.json")
