"""What a level group is refused for, and what the rest of the bridge is told of one."""

from __future__ import annotations

import pytest

from bridge.core.errors import ConfigError
from bridge.settings.load import load_text
from bridge.settings.plain import Settings
from tests.running import SITE

HEAD = (
    SITE.format(port=1883)
    + """\
[supplies.rail]
amps = 3.0
"""
)
SHADE = """
[shades.{name}]
mounting = "interior"
tube_mm = {tube}
cloth_mm = 0.5
drop_mm = 1500
wraps_left = 1.5
upper_limit_mm = {height}
drive = {{ pulses_per_rev = 800, gear = "57/11", top_pps = 3000, ramp_pps2 = 3000 }}
link = {{ kind = "contract", board = "{name}-board" }}
unpowered = {{ holds = "everywhere" }}
power = {{ supply = "rail", moving_a = 1.0, standstill_a = 0.3 }}
"""
GROUP = '\n[groups.front]\nmembers = ["left", "right"]\nlevel = true\n'
WHOLE = (
    HEAD
    + SHADE.format(name="left", tube=32, height=2100)
    + SHADE.format(name="right", tube=50, height=2101.5)
    + SHADE.format(name="other", tube=40, height=900)
    + GROUP
)


def read(*changes: tuple[str, str]) -> Settings:
    text = WHOLE
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return load_text(text, origin="house.toml")


def refusal(*changes: tuple[str, str]) -> str:
    with pytest.raises(ConfigError) as caught:
        read(*changes)
    return str(caught.value).removeprefix("house.toml [groups.front]: level = true, but ")


def test_a_level_group_of_one_height_is_taken() -> None:
    (group,) = read().house.groups
    assert group.level


def test_a_group_is_not_level_unless_its_owner_says_so() -> None:
    (group,) = read(("level = true", "")).house.groups
    assert not group.level


def test_limits_of_different_height_are_told_with_their_heights() -> None:
    assert refusal(("2101.5", "2103")) == (
        "the upper limits differ in height: left 2100 mm and right "
        "2103 mm; move the limits to one height within 2 mm, or leave out level"
    )


def test_a_height_that_nobody_tells_is_asked_for() -> None:
    assert refusal(("upper_limit_mm = 2100\n", "")) == (
        "nobody tells how high left hang; add upper_limit_mm to "
        "each: the hem bar above the floor when it is at its upper limit"
    )


def test_members_that_exceed_one_supply_together_are_refused_those_at_rest_included() -> None:
    assert read(("amps = 3.0", "amps = 2.3")).house.supplies[0].amps == 2.3
    assert refusal(("amps = 3.0", "amps = 2.2")) == (
        "left and right draw 2 A together, and the others on it 0.3 A at rest: more than the 2.2 A of "
        "[supplies.rail]; feed some of them from another supply or a stronger one, or leave out level"
    )


def test_a_board_without_reports_is_refused() -> None:
    one_way = (
        'link = { kind = "one-way", topic = "t/left", unit = "steps", retained = true, '
        'after_power_up = "retained-target" }\ntrust = { local_button = false }'
    )
    told = refusal(('link = { kind = "contract", board = "left-board" }', one_way))
    assert told == (
        "the board of left can be told no speed; a one-way board "
        "runs at its own: leave it out of the group, or leave out level"
    )


def test_a_shade_keeps_level_with_one_row_only() -> None:
    more = '\n[groups.more]\nmembers = ["right", "left"]\nlevel = true\n'
    assert "right is in the level group front too" in refusal((GROUP, GROUP + more))
