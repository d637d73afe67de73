"""The [[listen]] tables: what they become, and how each fault is told."""

import tomllib
from pathlib import Path
from typing import Any

import pytest

from bridge.adapters.broker.listen import Listen, Says
from bridge.core.events import Button, Percent, Press
from bridge.settings.faults import ConfigFaults
from bridge.settings.listening import in_words
from bridge.settings.load import load_text
from bridge.settings.plain import Settings

EXAMPLE = (Path(__file__).parents[3] / "config" / "hembar.toml").read_text(encoding="utf-8")
HOUSE = """
[site]
name = "Gull House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[broker]
host = "127.0.0.1"
[shades.study]
mounting = "interior"
tube_mm = 40
cloth_mm = 0.5
drop_mm = 2000
wraps_left = 1.5
drive = { pulses_per_rev = 800, gear = "57/11", top_pps = 3000, ramp_pps2 = 2000 }
link = { kind = "contract", board = "attic-board", channel = 0 }
unpowered = { holds = "everywhere" }
"""
CASES = tomllib.loads((Path(__file__).parent / "cases" / "listen.toml").read_text(encoding="utf-8"))["case"]
SLIDER = 'topic = "panel/level"\nshade = "study"\nsays = "percent open"\n'


def read(*tables: str) -> Settings:
    return load_text(HOUSE + "".join(f"[[listen]]\n{table}\n" for table in tables), origin="house.toml")


def faults_of(*tables: str) -> list[str]:
    with pytest.raises(ConfigFaults) as caught:
        read(*tables)
    return [str(fault) for fault in caught.value.faults]


def only_fault(*tables: str) -> str:
    faults = faults_of(*tables)
    assert len(faults) == 1, faults
    return faults[0]


def test_a_table_becomes_a_listen_with_its_defaults() -> None:
    assert read(SLIDER).listens == (
        Listen(
            topic="panel/level",
            shade="study",
            group=None,
            says=Says.PERCENT_OPEN,
            words={},
            pointer=None,
            source="panel/level",
            retained=False,
            qos=1,
        ),
    )


def test_every_key_of_a_table_is_taken_over() -> None:
    table = """
topic = "Living Room//speaker said"
shade = "study"
says = "byte closed"
words = { "tea time" = 40, halt = "stop" }
pointer = "/slots/0/a~1b"
source = "kitchen speaker"
retained = true
qos = 2
"""
    assert read(table).listens == (
        Listen(
            topic="Living Room//speaker said",
            shade="study",
            group=None,
            says=Says.BYTE_CLOSED,
            words={"tea time": Percent(open_pct=40), "halt": Press(button=Button.STOP)},
            pointer="/slots/0/a~1b",
            source="kitchen speaker",
            retained=True,
            qos=2,
        ),
    )


def test_a_group_may_follow() -> None:
    group = '[groups.south]\nmembers = ["study"]\n'
    table = SLIDER.replace('shade = "study"', 'group = "south"')
    (listen,) = load_text(f"{HOUSE}{group}[[listen]]\n{table}", origin="house.toml").listens
    assert (listen.shade, listen.group) == (None, "south")
    assert in_words(listen) == "panel/level (percent open) moves group south"


def test_a_topic_of_a_board_that_only_obeys_is_the_bridges_own() -> None:
    contract = 'link = { kind = "contract", board = "attic-board", channel = 0 }'
    assert HOUSE.count(contract) == 1
    by_server = f"{HOUSE}trust = {{ local_button = false }}\n"
    one_way = (
        'link = { kind = "one-way", topic = "blinds/study", unit = "percent open", retained = true, '
        'after_power_up = "retained-target" }'
    )
    table = SLIDER.replace("panel/level", "blinds/study")
    with pytest.raises(ConfigFaults) as caught:
        load_text(f"{by_server.replace(contract, one_way)}[[listen]]\n{table}", origin="house.toml")
    assert [str(fault).split(",")[0] for fault in caught.value.faults] == [
        'house.toml [[listen]] 1: topic = "blinds/study" is a topic'
    ]


def test_a_house_without_such_tables_listens_to_nothing() -> None:
    assert read().listens == ()


def test_one_topic_may_carry_values_for_several_followers_at_several_pointers() -> None:
    left = SLIDER + 'pointer = "/left"'
    right = SLIDER + 'pointer = "/right"'
    assert [each.pointer for each in read(left, right).listens] == ["/left", "/right"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_fault_is_told_with_its_table_value_reason_and_remedy(case: dict[str, Any]) -> None:
    old, new = case["change"]
    assert SLIDER.count(old) == 1
    assert only_fault(SLIDER.replace(old, new)) == f"house.toml [[listen]] 1: {case['told']}"


def test_a_misspelt_key_is_known_by_its_likeness() -> None:
    assert (
        'house.toml [[listen]] 1: say = "percent open" is not a known key; did you mean says?'
        in faults_of(SLIDER.replace("says", "say"))
    )


@pytest.mark.parametrize(
    ("added", "told"),
    [
        ('group = "south"', "shade and group are both given"),
        ("qos = 3", "qos = 3: it must be at most 2"),
        ('pointer = "position"', 'pointer = "position": it is no JSON pointer (RFC 6901)'),
        ('pointer = "/a~b"', 'pointer = "/a~b": it is no JSON pointer (RFC 6901)'),
        ("words = {}", "words = a table: it must be a table of 1 to 100 words"),
        ("words = { open = 101 }", 'words = a table: "open" means 101'),
        ("words = { open = 40.5 }", 'words = a table: "open" means 40.5'),
        ('words = { open = "auf" }', 'words = a table: "open" means "auf"'),
        ('words = { "" = 40 }', 'words = a table: "" is no word of 1 to 120 visible bytes'),
        ('retained = "yes"', 'retained = "yes": it must be true or false, without quotes'),
        ('source = ""', 'source = "": it must not be empty'),
    ],
)
def test_a_fault_of_an_added_key_is_told_with_its_value(added: str, told: str) -> None:
    assert only_fault(SLIDER + added).split("; ")[0] == f"house.toml [[listen]] 1: {told}"


def test_another_device_of_the_same_tree_is_a_strangers_and_may_be_heard() -> None:
    for topic in ("homie/5/wall-knob/dial/position", "homie/5/hembarn/x/y", "shade-boards-2/x"):
        assert read(SLIDER.replace("panel/level", topic)).listens[0].topic == topic


def test_the_same_for_the_same_twice_is_refused() -> None:
    assert only_fault(SLIDER, SLIDER.replace("open", "closed")) == (
        'house.toml [[listen]] 2: topic = "panel/level": [[listen]] 1 reads the same for the same; '
        "keep one of the two; a table may have says and words together"
    )


def test_tables_of_one_topic_agree_on_how_it_is_subscribed() -> None:
    assert only_fault(SLIDER, SLIDER + 'pointer = "/x"\nretained = true') == (
        'house.toml [[listen]] 2: topic = "panel/level": [[listen]] 1 has another retained or qos; '
        "give both tables of a topic the same"
    )


def test_what_is_no_table_is_refused() -> None:
    with pytest.raises(ConfigFaults) as caught:
        load_text('listen = ["panel/level"]\n' + HOUSE, origin="house.toml")
    assert [str(fault) for fault in caught.value.faults] == [
        'house.toml: listen = ["panel/level"] must be tables; write each as [[listen]]'
    ]


def test_a_flood_of_tables_is_counted_and_not_read() -> None:
    assert only_fault(*[SLIDER] * 501) == "house.toml: 501 [[listen]] tables; at most 500 are read"


def test_what_a_table_means_is_said_in_a_line() -> None:
    words = SLIDER.replace('says = "percent open"', "words = { a = 1, b = 2 }") + "retained = true"
    pointed = SLIDER.replace("level", "json") + 'pointer = "/v"\nwords = { a = 1 }'
    assert [in_words(each) for each in read(words, pointed).listens] == [
        "panel/level (2 words) moves shade study; retained messages count",
        'panel/json at "/v" (percent open or 1 word) moves shade study',
    ]


def test_the_commented_examples_are_sound_once_they_are_uncommented() -> None:
    lines = EXAMPLE.splitlines()
    begin = next(n for n, line in enumerate(lines) if line == "# [[listen]]")
    end = next(n for n, line in enumerate(lines[begin:], begin) if line.startswith("# ----"))
    tables = "\n".join(line.removeprefix("# ") for line in lines[begin:end])
    raw: dict[str, Any] = tomllib.loads(tables)
    assert len(raw["listen"]) == 2
    settings = load_text("\n".join([*lines[:begin], tables, *lines[end:]]), origin="example")
    assert [each.source for each in settings.listens] == ["study panel", "speaker/said"]
