"""Sensors, windows, restraint and [[rule]] tables, and every way to get them wrong."""

from datetime import time
from pathlib import Path

import pytest

from bridge.core.surroundings import Quiet, Restraint
from bridge.settings.faults import ConfigFaults
from bridge.settings.load import load_text
from bridge.settings.plain import Settings

CONFIG = Path(__file__).parents[3] / "config"
HOUSE = (CONFIG / "hembar.toml").read_text(encoding="utf-8")
GUST = '[sensors.roof]\nkind = "gust"\ntopic = "weather/roof"\n'
WIND = '[[rule]]\nrule = "wind"\nshades = ["landing"]\n'
WINDOW = "[shades.study.window]\nfacade_azimuth_deg = 180\nsill_m = 0.8\nhead_m = 2.4\n"


def read(text: str) -> Settings:
    return load_text(f"{HOUSE}\n{text}", origin="house.toml")


def only_fault(text: str) -> str:
    with pytest.raises(ConfigFaults) as caught:
        read(text)
    (fault,) = caught.value.faults
    return str(fault)


def test_a_house_without_rules_has_none() -> None:
    house = read("").house
    assert all(shade.rules == () and shade.window is None for shade in house.shades)
    assert house.sensors == ()
    assert house.restraint == Restraint()
    assert house.site is not None
    assert house.site.timezone == "Atlantic/Azores"


def test_bounds_and_rates_are_converted_at_the_door() -> None:
    more = 'unit = "km/h"\nplausible = [0, 180]\nrate_per_minute = 36\nstale_s = 30\nstuck_h = 2\n'
    settings = read(GUST + more)
    (sensor,) = settings.house.sensors
    assert [sensor.low, sensor.high] == pytest.approx([0.0, 50.0])
    assert sensor.rate_per_min == pytest.approx(10.0)
    assert (sensor.stale_s, sensor.stuck_s) == (30.0, 7200.0)
    (source,) = settings.sources
    assert (source.topic, source.unit, source.retained) == ("weather/roof", "km/h", False)


def test_degrees_fahrenheit_have_another_zero() -> None:
    text = '[sensors.air]\nkind = "outdoor-temperature"\ntopic = "air"\nunit = "°F"\nplausible = [-40, 104]\n'
    (sensor,) = read(text).house.sensors
    assert [sensor.low, sensor.high] == pytest.approx([-40.0, 40.0])


def test_restraint_is_read() -> None:
    text = '[restraint]\nlook_every_min = 5\nquiet_from = "22:30"\nquiet_until = 06:30:00\n'
    restraint = read(text).house.restraint
    assert restraint.every_s == 300
    assert restraint.quiet == Quiet(begins=time(22, 30), ends=time(6, 30))


def test_a_rule_is_for_the_shades_it_names_in_the_order_of_the_file() -> None:
    text = GUST + '[[rule]]\nrule = "wind"\nshades = "exterior"\n'
    text += '[[rule]]\nrule = "schedule"\nshades = "all"\ntimes = [["07:30", 100]]\n'
    shades = {shade.id: [each.rule for each in shade.rules] for shade in read(text).house.shades}
    assert shades == {"study": ["schedule"], "kitchen": ["schedule"], "landing": ["wind", "schedule"]}


FAULTS = [
    (
        "a kind that nobody knows",
        GUST.replace("gust", "gusts"),
        'house.toml [sensors.roof]: kind = "gusts": there is no such kind; did you mean gust?',
    ),
    (
        "a unit of something else",
        GUST + 'unit = "°C"\n',
        'house.toml [sensors.roof]: unit = "°C" is no unit of gust; write "m/s", "km/h", "mph" or "kn"',
    ),
    (
        "retained wind",
        GUST + "retained = true\n",
        (
            "house.toml [sensors.roof]: retained = true, but a retained gust reading is of unknown age; "
            "leave it out, and let the sensor speak at least twice within its age limit"
        ),
    ),
    (
        "bounds the wrong way round",
        GUST + "plausible = [50, 0]\n",
        (
            "house.toml [sensors.roof]: plausible = [50, 0]: its first number is not the lesser; "
            "write the lesser one first"
        ),
    ),
    (
        "bounds beyond belief",
        GUST + "plausible = [0, 500]\n",
        (
            "house.toml [sensors.roof]: plausible = [0, 500] goes beyond 0 to 114 m/s; "
            "narrow it down; nothing beyond is believed of this kind"
        ),
    ),
    (
        "a shade that is not there",
        GUST + 'shades = ["attic"]\n',
        (
            'house.toml [sensors.roof]: shades names "attic": there is no such shade; '
            "name study, kitchen or landing"
        ),
    ),
    (
        "a misspelt key of a sensor",
        GUST + "stale_min = 2\n",
        "house.toml [sensors.roof]: stale_min = 2 is not a known key; write stale_s = 120",
    ),
    (
        "an unknown rule",
        GUST + WIND.replace("wind", "winds"),
        'house.toml [[rule]] 1: rule = "winds": there is no such rule; did you mean wind?',
    ),
    (
        "a parameter out of range",
        GUST + WIND + "gust_limit_mps = 400\n",
        (
            "house.toml [[rule]] 1: gust_limit_mps must be 2 to 40; "
            "mend it; the keys here are gust_limit_mps, mean_limit_mps, calm_share and calm_min"
        ),
    ),
    (
        "text for a number",
        GUST + WIND + 'gust_limit_mps = "10"\n',
        (
            'house.toml [[rule]] 1: gust_limit_mps = "10": Input should be a valid number; '
            "mend it; the keys here are gust_limit_mps, mean_limit_mps, calm_share and calm_min"
        ),
    ),
    (
        "wind without a sensor",
        WIND,
        (
            "house.toml [[rule]] 1: the wind rule needs a gust or wind sensor, and shade landing has none; "
            'add [sensors.<id>] with kind = "gust"'
        ),
    ),
    (
        "sun without a window",
        '[[rule]]\nrule = "sun-depth"\nshades = ["study"]\n',
        (
            "house.toml [[rule]] 1: the sun-depth rule needs a window, and shade study has none; "
            "add [shades.study.window]"
        ),
    ),
    (
        "a clock with an offset",
        '[[rule]]\nrule = "schedule"\nshades = ["study"]\ntimes = [["07:30+02:00", 100]]\n',
        (
            "house.toml [[rule]] 1: a clock time has an offset; "
            'write the time that clocks in the house show, like "07:30"'
        ),
    ),
    (
        "a missing parameter",
        '[[rule]]\nrule = "dawn-light"\nshades = ["study"]\n',
        "house.toml [[rule]] 1: awake_at is missing; add awake_at; config/rules.toml shows it",
    ),
    (
        "a head below the sill",
        WINDOW.replace("2.4", "0.5"),
        (
            "house.toml [shades.study.window]: head: 0.5 m is not above the sill at 0.8 m; "
            "give the heights of the lower and the upper edge of the glass"
        ),
    ),
    (
        "half an overhang",
        WINDOW + "overhang_depth_m = 0.4\n",
        (
            "house.toml [shades.study.window]: overhang_depth_m is given without overhang_height_m; "
            "give both, or neither"
        ),
    ),
    (
        "a cloth that makes light",
        WINDOW + "cloth_tau = 0.5\ncloth_rho = 0.7\n",
        (
            "house.toml [shades.study.window]: tau and rho: 0.5 + 0.7 is more than 1, so the cloth would "
            "send out more than it gets; check both on the cloth's data sheet"
        ),
    ),
    (
        "half of the quiet hours",
        '[restraint]\nquiet_from = "22:00"\n',
        "house.toml [restraint]: only one of quiet_from and quiet_until is given; give both, or neither",
    ),
    (
        "a clock time as a number",
        "[restraint]\nquiet_from = 22\nquiet_until = 06:00:00\n",
        'house.toml [restraint]: quiet_from = 22: it must be a clock time; write it in quotes, like "07:30"',
    ),
]


@pytest.mark.parametrize(("text", "told"), [pytest.param(*each[1:], id=each[0]) for each in FAULTS])
def test_a_fault_is_told_with_place_value_and_remedy(text: str, told: str) -> None:
    assert only_fault(text) == told
