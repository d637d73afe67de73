import json
from typing import Any

import pytest

from bridge.board.settings import Settings, SettingsError, faults_of
from tests.board_contract import ROOT
from tests.board_rig import channel, settings, wire

EXAMPLE = json.loads((ROOT / "bridge/board/board.example.json").read_text())


def test_the_example_is_without_fault() -> None:
    read = Settings(EXAMPLE)
    assert (read.board, read.channels[0].senses, read.channels[0].exterior) == (
        "den-board",
        ["upper-switch"],
        True,
    )


FAULTS: list[tuple[dict[str, Any], str]] = [
    ({"board": "Den"}, "board: it is 'Den'; it takes a-z, 0-9 and inner hyphens, 64 at most"),
    ({"root": "a/b"}, "root: it is 'a/b'; it must be one topic level without + and #"),
    ({"spare": 1}, "settings.spare: no such setting; see README.md"),
    (
        {"broker": {"address": "house.example"}},
        "broker.address: it is 'house.example'; give four numbers such as 192.0.2.7",
    ),
    ({"broker": {"address": "127.0.0.1", "port": True}}, "broker.port: it is True; it must be 1 to 65535"),
    ({"wifi": {"password": "x"}}, "wifi: give its name and password"),
    ({"wind_contact": 7}, 'wind_contact: it is not a wire; give {"pin": number, "active": 0 or 1}'),
    ({"channels": []}, "channels: there must be a list of one or two"),
    (
        {"channels": [channel(step=wire(0, 0))]},
        "channels[0].step: active is 0; steps are pulses to 1, wire the driver that way",
    ),
    ({"channels": [channel(max_pps=8001)]}, "channels[0].max_pps: it is 8001; it must be 1 to 8000"),
    (
        {"channels": [channel(pulses_per_turn=[1])]},
        "channels[0].pulses_per_turn: give numerator and denominator, such as [45600, 11]",
    ),
    ({"channels": [channel(), channel()]}, "channels[1].step: pin 0 is that of channels[0].step already"),
    ({"channels": [channel(exterior=1)]}, "channels[0].exterior: it must be true or false"),
]


@pytest.mark.parametrize(("wrong", "fault"), FAULTS)
def test_a_fault_says_where_what_and_how_to_put_it_right(wrong: dict[str, Any], fault: str) -> None:
    assert fault in faults_of({**settings(), **wrong})
    with pytest.raises(SettingsError):
        Settings({**settings(), **wrong})


def test_all_faults_are_listed_together() -> None:
    assert len(faults_of({"board": "", "broker": {"port": 0}, "channels": [{}, 3]})) >= 7
    assert faults_of([]) == ["settings: they are []; they must be a JSON object"]
