"""A sensor that is stuck, silent, rubbish or absurd: nothing instead of a number, an alert, and no motion."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from bridge.adapters.sensors.catalogue import kinds
from bridge.adapters.sensors.source import Source
from bridge.core.contract import Do
from bridge.core.events import Event, ReadingHeard
from bridge.core.outcome import Decisions
from bridge.core.overview import bridge_outlook
from bridge.core.readings import serving
from bridge.core.surroundings import Restraint, RuleChoice, SensorId
from tests.scene import EPOCH, house_spec, shade_spec
from tests.weather import AZORES, WINDOW, Weather, choice, sensor

KINDS = sorted(kinds())
WIND = ("gust", "wind")
# A good reading of each kind that moves nothing.
GOOD = {
    "contact": 0.0, "gust": 2.0, "wind": 2.0, "illuminance": 0.0, "irradiance": 0.0, "rain": 0.0,
    "indoor-temperature": 22.0, "outdoor-temperature": 18.0, "presence": 0.0,
}  # fmt: skip
# What a message of each kind would have to say to move a shade at its rule, were it believed.
ABSURD = {
    "contact": 5.0, "gust": 900.0, "wind": 900.0, "illuminance": 1e9, "irradiance": 1e6, "rain": 1e4,
    "indoor-temperature": -200.0, "outdoor-temperature": -200.0, "presence": 7.0,
}  # fmt: skip
RULES: dict[str, tuple[RuleChoice, ...]] = {
    "contact": (choice("doorway"),),
    "gust": (choice("wind"),),
    "wind": (choice("wind"),),
    "illuminance": (choice("sun-depth"), choice("heat")),
    "irradiance": (choice("sun-depth"), choice("heat")),
    "rain": (choice("rain"), choice("ice")),
    "indoor-temperature": (choice("warmth"),),
    "outdoor-temperature": (choice("warmth"),),
    "presence": (choice("night", only_when_present=True),),
}
# In the dark: warmth and night would lower it, and no clear sky is taken for light that is missing.
AT_S = 1.0 * 3600


@dataclass
class Counted(Weather):
    """A scene that counts the orders that set a shade in motion."""

    motions: int = 0

    def event(self, event: Event) -> Decisions:
        decisions = super().event(event)
        self.motions += sum(sent.order.do in (Do.GO, Do.SEEK) for sent in decisions.orders)
        return decisions


def given(kind: str, **bounds: float | None) -> Counted:
    """Return a house in which one sensor has said something good for a while; its shade hangs at 60 %.

    Args:
        kind: Of the sensor.
        bounds: What else is told of it.
    """
    told = sensor(kind, stuck_s=None, **({"stale_s": 600.0} if kind in WIND else {}), **bounds)
    shade = shade_spec("landing", rules=RULES[kind], window=WINDOW, hold_s=60.0)
    spec = house_spec(shade, site=AZORES, sensors=(told,), restraint=Restraint(dwell_s=0.0))
    scene = Counted(spec, now_s=AT_S)
    scene.begin()
    scene.say(kind, GOOD[kind])
    scene.ask("landing", 60)
    scene.hold_at(kind, GOOD[kind], 180)
    assert scene.open_pct("landing") == 60
    assert scene.motions > 0
    return scene


def value_of(scene: Weather, kind: str) -> float | None:
    assert scene.house is not None
    return serving(scene.spec.sensors, scene.house.readings, scene.landing, scene.at).of(kind)


def alert_of(scene: Weather) -> str:
    assert scene.house is not None
    return next((each.text for each in bridge_outlook(scene.house).alerts if each.id == "sensors"), "")


def silent(scene: Weather, kind: str, stale_s: float) -> None:
    del kind
    scene.run(stale_s + 700)


def not_a_number(scene: Weather, kind: str, stale_s: float) -> None:
    for _ in range(10):
        scene.say(kind, None, "'NaN' is not a number")
        scene.run(stale_s / 9 + 10)


def absurd(scene: Weather, kind: str, stale_s: float) -> None:
    for _ in range(10):
        scene.say(kind, ABSURD[kind])
        scene.run(stale_s / 9 + 10)


FAILURES: tuple[Callable[[Weather, str, float], None], ...] = (silent, not_a_number, absurd)


@pytest.mark.parametrize("fails", FAILURES, ids=lambda each: each.__name__)
@pytest.mark.parametrize("kind", KINDS)
def test_a_failing_sensor_is_none_and_an_alert_and_starts_no_motion_unless_it_is_the_wind(
    kind: str, fails: Callable[[Weather, str, float], None]
) -> None:
    scene = given(kind)
    before, stale_s = scene.motions, scene.spec.sensors[0].stale_s
    # Light and warmth of the next morning are not of this test.
    fails(scene, kind, min(stale_s, 2 * 3600))
    assert value_of(scene, kind) is None or stale_s > 2 * 3600
    if fails is not silent or stale_s <= 2 * 3600:
        assert alert_of(scene).startswith(f"look after {kind}: ")
        assert scene.told("sensor.reading.failed")
    if kind in WIND:
        assert scene.open_pct("landing") == 100, (
            "the one declared exception: a lost wind sensor counts as wind"
        )
        assert scene.motions > before
    else:
        assert scene.motions == before
        assert scene.open_pct("landing") == 60


# The wind moves it either way, light moves nothing at night, and a door only forbids.
@pytest.mark.parametrize("kind", ["indoor-temperature", "outdoor-temperature", "presence", "rain"])
def test_the_same_number_would_have_moved_the_shade_had_it_been_believed(kind: str) -> None:
    scene = given(kind, low=-1e9, high=1e9, rate_per_min=None)
    before = scene.motions
    scene.say(kind, ABSURD[kind])
    scene.run(1300)
    assert scene.motions > before


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kinds()[kind].usual.stuck_h is not None])
def test_a_stuck_sensor_is_none_and_an_alert(kind: str) -> None:
    stuck = sensor(kind)
    scene = Weather(
        house_spec(shade_spec("landing", window=WINDOW), site=AZORES, sensors=(stuck,)), now_s=AT_S
    )
    scene.begin()
    assert stuck.stuck_s is not None
    for _ in range(round(stuck.stuck_s / 100) + 2):
        scene.say(kind, 17.3)
        scene.run(100)
    assert value_of(scene, kind) is None
    assert "so it is stuck" in alert_of(scene)


def test_a_door_that_says_nothing_keeps_rules_from_lowering_and_people_not() -> None:
    shade = shade_spec("landing", rules=(choice("doorway"), choice("night")), window=WINDOW, hold_s=900.0)
    spec = house_spec(
        shade, site=AZORES, sensors=(sensor("contact", stale_s=300.0),), restraint=Restraint(dwell_s=0.0)
    )
    scene = Weather(spec, now_s=AT_S)
    scene.begin()
    scene.say("contact", 0.0)
    scene.ask("landing", 60)
    scene.run(3600)
    why = dict(scene.told("rule.shade.decided")[-1].fields)["lost"]
    assert "night: it is dark" in str(why)
    assert scene.open_pct("landing") == 60
    scene.ask("landing", 30)
    scene.run(120)
    assert scene.open_pct("landing") == 30


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "payload",
    [b"NaN", b"nan", b"Infinity", b"1e999", b"-inf", b"", b"\xff\xfe", "١٢".encode(), b"1_0", b"0x10",
     b"null", b"[]", b"true false", b"12 V", b"9" * 5000],
)  # fmt: skip
def test_no_message_but_a_plain_number_is_one(kind: str, payload: bytes) -> None:
    found = kinds()[kind]
    source = Source(
        id=SensorId(kind), kind=kind, topic="a/b", unit=next(iter(found.units)), pointer=None,
        words=found.usual.words, retained=False, qos=0,
    )  # fmt: skip
    heard = found.decode(source, payload, Weather(house_spec(shade_spec("landing"))).at)
    assert isinstance(heard, ReadingHeard)
    assert heard.value is None
    assert heard.problem


@pytest.mark.parametrize(
    ("kind", "unit", "text", "own"),
    [
        ("outdoor-temperature", "°F", b"68", 20.0),
        ("outdoor-temperature", "K", b"293.15", 20.0),
        ("gust", "km/h", b"36", 10.0),
        ("gust", "mph", b"22.3694", 10.0),
        ("rain", "in/h", b"0.5", 12.7),
        ("irradiance", "kW/m2", b"0.5", 500.0),
        ("illuminance", "klx", b"55", 55000.0),
    ],
)
def test_a_unit_is_converted_at_the_door(kind: str, unit: str, text: bytes, own: float) -> None:
    found = kinds()[kind]
    source = Source(
        id=SensorId(kind), kind=kind, topic="a/b", unit=unit, pointer=None, words={}, retained=False, qos=0
    )
    heard = found.decode(source, text, Weather(house_spec(shade_spec("landing"))).at)
    assert heard is not None
    assert heard.value == pytest.approx(own, rel=1e-5)


@pytest.mark.parametrize(
    ("kind", "said"), [("outdoor-temperature", 71.6), ("indoor-temperature", 295.1), ("illuminance", 1e6)]
)
def test_a_number_in_another_unit_than_the_settings_say_is_not_plausible(kind: str, said: float) -> None:
    # °F and K where °C is told; a lamp's raw count where lx is told.
    scene = given(kind)
    scene.say(kind, said)
    assert value_of(scene, kind) is None
    assert "is not plausible" in alert_of(scene)


def test_the_night_of_these_tests_is_one() -> None:
    local = datetime.fromtimestamp(EPOCH.timestamp() + AT_S, tz=ZoneInfo(AZORES.timezone))
    assert local.hour == 1
