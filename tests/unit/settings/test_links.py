import re
from pathlib import Path
from typing import Any

import pytest

from bridge.core.spec import AliveTopic, OneWayLink, PowerUp, StopTopic, Unit
from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load_text
from bridge.settings.meaning import link_in_words, shade_meaning

EXAMPLE = Path(__file__).parents[3] / "config" / "hembar.toml"
SITE = """
[site]
name = "Gull House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[broker]
host = "127.0.0.1"
"""
LINK = """
kind = "one-way"
topic = "porch/target"
unit = "steps"
retained = true
after_power_up = "retained-target"
"""


def shade(name: str, link: str, *, trust: str = "local_button = false", references: str = "") -> str:
    return f"""
[shades.{name}]
mounting = "interior"
tube_mm = 40
cloth_mm = 0.5
drop_mm = 2000
wraps_left = 1.5
drive = {{ pulses_per_rev = 800, gear = "57/11", top_pps = 3000, ramp_pps2 = 2000 }}
unpowered = {{ holds = "everywhere" }}
references = {{ {references} }}
[shades.{name}.link]
{link}
[shades.{name}.trust]
{trust}
"""


def link_of(link: str) -> OneWayLink:
    read = load_text(SITE + shade("porch", link), origin="house.toml").house.shades[0].link
    assert isinstance(read, OneWayLink)
    return read


def faults(text: str) -> list[str]:
    with pytest.raises(ConfigFaults) as caught:
        load_text(SITE + text, origin="house.toml")
    return [str(each) for each in caught.value.faults]


def test_what_need_not_be_said_has_its_default() -> None:
    assert link_of(LINK) == OneWayLink(
        topic="porch/target",
        unit=Unit.STEPS,
        decimals=0,
        full_steps=54_849,  # 13.2311 turns by the mid-layer formula, times 800 * 57/11
        retained=True,
        power_up=PowerUp.RETAINED_TARGET,
        latency_s=1.0,
        rest_current=False,
        alive=None,
        stop=None,
    )


def test_every_key_reaches_its_place() -> None:
    link = link_of("""
        kind = "one-way"
        topic = "porch/target"
        unit = "percent closed"
        decimals = 1
        full_turns = 16.5
        retained = false
        after_power_up = "zero"
        latency_s = 2.5
        rest_current = true
        alive_topic = "porch/alive"
        alive_up = "here"
        alive_gone = "gone"
        alive_within_s = 12
        stop_topic = "porch/halt"
        stop_payload = "now"
    """)
    assert link == OneWayLink(
        topic="porch/target",
        unit=Unit.PERCENT_CLOSED,
        decimals=1,
        full_steps=68_400,  # 16.5 turns of 800 * 57/11 pulses
        retained=False,
        power_up=PowerUp.ZERO,
        latency_s=2.5,
        rest_current=True,
        alive=AliveTopic(topic="porch/alive", up="here", gone="gone", within_s=12),
        stop=StopTopic(topic="porch/halt", payload="now"),
    )


def test_turns_are_given_to_a_thousandth_where_nothing_else_is_said() -> None:
    assert link_of(LINK.replace('"steps"', '"turns"')).decimals == 3


def test_the_commented_example_is_a_sound_link() -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    block = re.findall(r"^#  (?! )(.*)$", text, re.MULTILINE)
    assert block[0] == "[shades.landing.link]"
    contract = '[shades.landing.link]\nkind = "contract"\nboard = "stair-board"\n'
    assert contract in text
    text = text.replace(contract, "\n".join(block) + "\n")
    text = text.replace("overrun_mm = 35.0", "overrun_mm = 35.0\nlocal_button = false")
    text = text.replace("wraps_left = 1.25\nwind_contact = true", "wraps_left = 1.25")
    landing = load_text(text, origin="house.toml").house.shades[2]
    assert landing.one_way.unit is Unit.PERCENT_CLOSED


REFUSED: list[tuple[str, dict[str, Any], str]] = [
    (
        "retained target that is not retained",
        {"link": LINK.replace("retained = true", "retained = false")},
        'after_power_up = "retained-target" with retained = false: there is none to begin from',
    ),
    (
        "zero and a retained target",
        {"link": LINK.replace('"retained-target"', '"zero"')},
        "after every power cut the board would run its whole retained target again",
    ),
    ("decimals of a step", {"link": LINK + "decimals = 1"}, "decimals = 1 with whole steps"),
    ("turns of a scale in steps", {"link": LINK + "full_turns = 9"}, "full_turns = 9 is for percent only"),
    ("words for no topic", {"link": LINK + 'alive_gone = "x"'}, "are given without alive_topic"),
    ("alive where it obeys", {"link": LINK + 'alive_topic = "porch/target"'}, "where the board takes orders"),
    (
        "one word for both",
        {"link": LINK + 'alive_topic = "a"\nalive_up = "x"\nalive_gone = "x"'},
        "alive_up and alive_gone are the same word",
    ),
    ("half a stop", {"link": LINK + 'stop_topic = "a"'}, "stop_topic and stop_payload go together"),
    (
        "a stop that is a target",
        {"link": LINK + 'stop_topic = "porch/target"\nstop_payload = "-1"'},
        'stop_payload = "-1" is a target too',
    ),
    ("a button", {"link": LINK, "trust": ""}, "local_button is true, and nobody is told"),
    ("a switch", {"link": LINK, "references": "upper_switch_mm = -4"}, "upper_switch_mm is given"),
    ("a strange key", {"link": LINK + "board = 1"}, "board = 1 is not a known key"),
    (
        "a topic of the bridge's own",
        {"link": LINK.replace("porch/target", "homie/5/porch")},
        'topic "homie/5/porch" lies under "homie"',
    ),
]


@pytest.mark.parametrize(("name", "parts", "told"), REFUSED, ids=[each[0] for each in REFUSED])
def test_what_does_not_fit_together_is_refused(name: str, parts: dict[str, Any], told: str) -> None:
    found = faults(shade("porch", **parts))
    assert len(found) == 1, (name, found)
    assert told in found[0]


def test_a_wind_contact_moves_a_shade_unasked_like_a_button() -> None:
    contract = 'kind = "contract"\nboard = "porch-board"\nchannel = 0'
    text = SITE + shade("porch", contract)
    calm, windy = text, text.replace('mounting = "interior"', 'mounting = "interior"\nwind_contact = true')
    buttons = [load_text(each, origin="house.toml").house.shades[0].local_button for each in (calm, windy)]
    assert buttons == [False, True]


def test_a_wind_contact_at_a_board_that_never_reports_is_refused() -> None:
    windy = shade("porch", LINK).replace(
        'mounting = "interior"', 'mounting = "interior"\nwind_contact = true'
    )
    (found,) = faults(windy)
    assert "wind_contact is true, and nobody is told when it raises a shade at a one-way board" in found
    assert 'kind = "contract"' in found


def test_two_shades_on_one_topic_are_refused() -> None:
    found = faults(shade("porch", LINK) + shade("study", LINK))
    taken = 'house.toml [shades.study.link]: topic "porch/target" already drives [shades.porch]'
    assert found == [f"{taken}; give each shade topics of its own"]


@pytest.mark.parametrize(
    ("more", "cautions"),
    [
        ("", ["never reports", "nobody tells when its board has no power"]),
        ('alive_topic = "a"', ["never reports", "a power cut shorter than alive_within_s = 30"]),
        ('alive_topic = "a"\nalive_gone = "x"', ["never reports"]),
    ],
)
def test_check_says_what_cannot_be_known(more: str, cautions: list[str]) -> None:
    spec = load_text(SITE + shade("porch", LINK + more), origin="house.toml").house.shades[0]
    told = shade_meaning(spec, wind_contact=False).cautions
    for each, words in zip(told, cautions, strict=False):
        assert words in each
    assert sum("power" in each for each in told[:2]) == len(cautions) - 1


def test_check_explains_the_link_in_one_line() -> None:
    alive = 'alive_topic = "porch/alive"\nalive_gone = "x"\n'
    text = LINK + alive + 'stop_topic = "porch/halt"\nstop_payload = "h"'
    spec = load_text(SITE + shade("porch", text), origin="house.toml").house.shades[0]
    assert link_in_words(spec) == (
        "one-way: steps to porch/target, retained; after power-up it believes its retained target; "
        "late by up to 1 s; alive by porch/alive; halts by porch/halt"
    )
