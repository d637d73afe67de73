"""How a house looks on a terminal: one line a shade, its reason below where there is no room."""

import time
from collections.abc import Iterator

import pytest

from bridge.cli.house_view import house_lines, house_said, shade_lines, shade_said
from tests.visit import Device, root, shade


@pytest.fixture(autouse=True)
def azores(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """One hour behind UTC, without summer time."""
    monkeypatch.setenv("TZ", "<-01>1")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def lines(tree: dict[str, Device], columns: int | None = None) -> list[str]:
    return house_lines(house_said(tree), columns=columns)


HOUSE = {
    "hembar": root(),
    "hembar-study": shade(),
    "hembar-landing": shade(
        "0",
        knowledge__low="-3.1",
        knowledge__high="17.9",
        knowledge__width="481.6",
        knowledge__grade="doubtful",
        opening__motion="referencing",
        reason__until="2026-03-02T13:30:00Z",
    ),
}


def test_each_shade_is_a_line_under_a_heading() -> None:
    assert lines(HOUSE) == [
        "shade     open  known to  grade       motion       board    why",
        "study     40 %      7 mm  referenced  still        answers  40 % asked by the kitchen panel",
        (
            "landing    0 %    482 mm  doubtful    referencing  answers  between 0 and 18 %; 40 % asked by "
            "the kitchen panel; rules rest until Mon 12:30"
        ),
    ]


def test_where_the_reason_does_not_fit_it_goes_below_its_shade() -> None:
    assert lines(HOUSE, 80)[1:] == [
        "study     40 %      7 mm  referenced  still        answers",
        "         40 % asked by the kitchen panel",
        "landing    0 %    482 mm  doubtful    referencing  answers",
        "         between 0 and 18 %; 40 % asked by the kitchen panel; rules rest until",
        "         Mon 12:30",
    ]


def test_where_it_nearly_fits_it_goes_on_in_its_column() -> None:
    hung = lines(HOUSE, 120)[2:]
    assert hung[0].endswith("40 % asked by the kitchen panel; rules")
    assert hung[1:] == [" " * 60 + "rest until Mon 12:30"]


@pytest.mark.parametrize("columns", [64, 80, 93, 100, 120, 132])
def test_no_line_is_wider_than_the_terminal(columns: int) -> None:
    alert = {"$alert/reference": b"its position is known only to 482 mm; take a reference, then look again"}
    tree = {**HOUSE, "hembar-landing": {**HOUSE["hembar-landing"], **alert}}
    assert max(len(line) for line in lines(tree, columns)) <= columns


def test_what_needs_a_person_stands_on_a_line_of_its_own() -> None:
    tree = {"hembar": root(), "hembar-study": shade(**{"$alert__board": "its board is silent"})}
    assert lines(tree)[-1] == "       ! its board is silent"


def test_an_unknown_place_gets_no_percent() -> None:
    unknown = shade("", knowledge__grade="unknown", knowledge__width="1900.0")
    line = shade_lines(shade_said("study", unknown), width=5)[0]
    assert line.startswith("study    ? %   1900 mm  unknown  ")
    assert "between" not in line


@pytest.mark.parametrize(
    ("state", "board"), [("ready", "answers"), ("init", "unheard"), ("lost", "lost"), ("odd", "odd")]
)
def test_the_state_of_the_board_is_said(state: str, board: str) -> None:
    assert f"  {board:<7}  " in shade_lines(shade_said("study", shade(**{"$state": state})), width=5)[0]


def test_a_house_without_its_bridge_says_so_first() -> None:
    assert lines({"hembar": root("lost"), "hembar-study": shade()})[0] == (
        "the bridge is lost; what follows is what it last said"
    )
    assert lines({}) == ["the bridge has never been seen here"]


def test_pause_and_lock_are_said_with_the_way_out() -> None:
    tree = {"hembar": root(rules__pause="true", service__lock="true"), "hembar-study": shade()}
    assert lines(tree)[:2] == [
        "the service lock is on: no order leaves; `hembar lock off` ends it",
        "the rules are paused; `hembar pause off` ends it",
    ]


def test_a_group_is_no_shade() -> None:
    group = {"$description": b'{"type":"group"}', "$state": b"ready", "opening/position": b"70"}
    tree = {"hembar": root(), "hembar-study": shade(), "hembar-south": group}
    assert lines(tree)[-1] == "group south: 70 %"
    said = house_said(tree)
    assert [each["shade"] for each in said["shades"]] == ["study"]
    assert said["groups"] == [{"group": "south", "state": "ready", "open_pct": 70, "target_pct": None}]


def test_rubbish_of_a_stranger_in_the_tree_is_shown_as_nothing() -> None:
    bad = shade("4x", knowledge__width="wide", **{"$description": "{"})
    said = shade_said("study", bad)
    assert (said["open_pct"], said["width_mm"]) == (None, None)
    assert house_said({"hembar": root(), "hembar-study": bad})["shades"][0]["shade"] == "study"
