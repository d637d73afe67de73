"""Groups and supplies that fit the house are taken as written; what does not fit is told with its numbers."""

import pytest

from bridge.core.command.supply import worst_raise_s
from bridge.core.spec import GroupSpec, SupplySpec
from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load_text
from bridge.settings.plain import Settings
from bridge.settings.power import raise_in_words, supply_in_words, supply_meanings

HOUSE = """
[site]
name = "Gull House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[broker]
host = "127.0.0.1"
"""


def shade(name: str, power: str = "", mounting: str = "exterior") -> str:
    return f"""
[shades.{name}]
mounting = "{mounting}"
tube_mm = 40
cloth_mm = 0.5
drop_mm = 2000
wraps_left = 1.5
drive = {{ pulses_per_rev = 800, gear = "57/11", top_pps = 3000, ramp_pps2 = 2000 }}
link = {{ kind = "contract", board = "{name}-board", channel = 0 }}
unpowered = {{ holds = "everywhere" }}
{power}
"""


def draws(moving_a: float, standstill_a: float = 0.0) -> str:
    return f'power = {{ supply = "attic", moving_a = {moving_a}, standstill_a = {standstill_a} }}'


def read(*parts: str) -> Settings:
    return load_text(HOUSE + "".join(parts), origin="house.toml")


def only_fault(*parts: str) -> str:
    with pytest.raises(ConfigFaults) as caught:
        read(*parts)
    (fault,) = caught.value.faults
    return str(fault)


ATTIC = "[supplies.attic]\namps = 2\n"


def test_groups_and_supplies_reach_the_house() -> None:
    house = read(
        "[boards]\nstagger_s = 2.5\n",
        shade("study", draws(1.5, 0.2)),
        shade("hall"),
        ATTIC,
        '[groups.up]\nname = "Upstairs"\nmembers = ["hall", "study"]\n[groups.one]\nmembers = ["hall"]\n',
    ).house
    assert house.supplies == (SupplySpec(id="attic", amps=2.0),)  # type: ignore[arg-type]  # plain ids
    assert house.groups == (
        GroupSpec(id="up", name="Upstairs", members=("hall", "study")),  # type: ignore[arg-type]  # as above
        GroupSpec(id="one", name="one", members=("hall",)),  # type: ignore[arg-type]  # as above
    )
    study, hall = house.shades
    assert (study.supply, study.moving_a, study.standstill_a) == ("attic", 1.5, 0.2)
    assert (hall.supply, hall.moving_a, hall.standstill_a) == (None, 0.0, 0.0)
    assert house.stagger_s == 2.5


def test_a_supply_whose_standing_current_leaves_no_room_is_refused_with_the_numbers() -> None:
    told = only_fault(
        shade("study", draws(1.5, 0.3)),
        shade("hall", draws(1.4, 0.7)),
        shade("attic-room", draws(1.2, 0.5)),
        ATTIC,
    )
    assert told == (
        "house.toml [supplies.attic]: amps = 2, but the shades on it draw 1.2 A when the others stand still "
        "with current, and study needs 1.5 A to move, so it might never get its turn; feed fewer shades from "
        "it, let their motors sleep where they hold, or use a stronger supply"
    )


def test_just_enough_room_is_enough() -> None:
    house = read(shade("study", draws(1.5, 0.3)), shade("hall", draws(1.4, 0.5)), ATTIC).house
    assert [shade.supply for shade in house.shades] == ["attic", "attic"]


def test_a_house_that_cannot_go_up_in_time_is_refused_with_the_numbers() -> None:
    parts = (shade("study", draws(1.5)), shade("hall", draws(1.5)), ATTIC)
    worst_s = worst_raise_s(read(*parts).house)
    # Two travels one after the other: 13.231 turns of 4145.45 steps at 3000 a second, and 1.5 s of ramps.
    assert worst_s == pytest.approx(2 * (13.231 * 45600 / 11 / 3000 + 1.5), abs=0.01)
    assert read("[safety]\nraise_all_within_s = 40\n", *parts).raise_all_within_s == 40
    assert only_fault("[safety]\nraise_all_within_s = 39\n", *parts) == (
        "house.toml [safety]: raise_all_within_s = 39, but the exterior shades need up to 39.6 s until all "
        "are up, those that wait for their supply included; give them more amps or faster drives, spread "
        "them over more supplies, or allow more time"
    )


def test_supplies_are_told_in_words() -> None:
    def words(*parts: str) -> str:
        (meaning,) = supply_meanings(read(*parts).house)
        return supply_in_words(meaning)

    both = (shade("study", draws(0.9)), shade("hall", draws(1.1, 0.2)))
    assert words(shade("study"), ATTIC) == "attic 2 A: nothing is on it"
    assert words(shade("study", draws(1.5)), ATTIC) == "attic 2 A: study 1.5 A moving"
    assert words(*both, ATTIC) == (
        "attic 2 A: study 0.9 A moving, hall 1.1 A moving and 0.2 A still; all may move together, 2 A"
    )


def test_the_time_to_raise_everything_is_told_in_words() -> None:
    inside = read(shade("study", mounting="interior")).house
    assert raise_in_words(inside, None) == ""
    house = read(shade("study"), shade("hall")).house
    assert raise_in_words(house, None) == (
        "all 2 exterior shades are up within 20.8 s of being asked, waiting for amps and starts apart after "
        "a power cut included"
    )
