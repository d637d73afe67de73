"""Whatever can happen or be decided comes back from its bytes as it was, and gives the same bytes again."""

from dataclasses import fields, replace
from datetime import UTC, datetime, time, timedelta, timezone
from typing import Any, get_args

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from bridge.adapters.journal import codec
from bridge.core.events import Event
from bridge.core.kept import Kept
from bridge.core.outcome import Decisions
from bridge.core.rules.catalogue import rules
from bridge.core.rules.clock import Day
from bridge.core.rules.demand import Demand
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.spec import ShadeSpec
from bridge.core.state import House, Shade
from bridge.core.sun.gain import Cloth, Glass
from bridge.core.sun.sky import Place
from bridge.core.sun.window import Facade, HorizonPoint, Opening, Overhang
from bridge.core.surroundings import RuleChoice, Window
from bridge.core.values import Interval, Moment, ShadeId
from tests.unit.adapters.journal.fakes import STUDY, given_house

instants = st.datetimes(timezones=st.just(UTC))
st.register_type_strategy(datetime, instants)
st.register_type_strategy(Moment, st.builds(Moment, utc=instants, mono_s=st.floats(0, 1e9)))
percents = st.floats(0, 100)
st.register_type_strategy(
    ShadeSpec,
    st.builds(
        ShadeSpec,
        overrun_mm=st.floats(0, 200),
        unpowered_holds=st.lists(st.tuples(percents, percents), max_size=3).map(tuple),
    ),
)
st.register_type_strategy(Shade, st.builds(Shade, hold_until=st.none() | instants))
st.register_type_strategy(
    Interval,
    st.tuples(st.integers(), st.integers()).map(lambda pair: Interval(low=min(pair), high=max(pair))),
)
st.register_type_strategy(
    Roll,
    st.builds(
        Roll,
        tube_mm=st.floats(10, 100),
        cloth_mm=st.floats(0, 2),
        drop_mm=st.floats(100, 4000),
        wraps_left=st.floats(1, 4),
    ),
)
st.register_type_strategy(
    Drive,
    st.builds(
        Drive,
        pulses_per_rev=st.integers(200, 51200),
        gear=st.fractions(min_value=1, max_value=200, max_denominator=1000),
        full_steps_per_rev=st.just(200),
    ),
)
st.register_type_strategy(
    Place,
    st.builds(
        Place,
        latitude_deg=st.floats(-90, 90),
        longitude_deg=st.floats(-180, 180),
        altitude_m=st.floats(-400, 8000),
    ),
)
st.register_type_strategy(
    Window,
    st.builds(
        Window,
        facade=st.builds(
            Facade,
            azimuth_deg=st.floats(0, 360),
            horizon=st.just((HorizonPoint(azimuth_deg=90, elevation_deg=12.5),)) | st.just(()),
        ),
        opening=st.builds(
            Opening,
            sill_m=st.floats(0, 1),
            head_m=st.floats(1.5, 4),
            overhang=st.none() | st.just(Overhang(depth_m=0.5, height_m=4.5)),
        ),
        upper_m=st.floats(1, 5),
        glass=st.none() | st.just(Glass(g=0.6, u_wpm2k=1.1)),
        cloth=st.none() | st.just(Cloth(tau=0.05, rho=0.6)),
    ),
)
st.register_type_strategy(
    Demand,
    st.builds(
        Demand,
        why=st.text(min_size=1),
        at_least_pct=st.floats(0, 40),
        at_most_pct=st.floats(40, 100),
        may_lower=st.booleans(),
        may_raise=st.booleans(),
        guard=st.booleans(),
    ),
)
st.register_type_strategy(
    RuleChoice,
    st.sampled_from(
        [
            RuleChoice(rule="sun-depth", params=rules()["sun-depth"].params(depth_limit_m=0.8)),
            RuleChoice(
                rule="schedule",
                params=rules()["schedule"].params(times=((time(7, 30), 100.0),), days=(Day.MON, Day.SUN)),
            ),
            RuleChoice(rule="night", params=rules()["night"].params(until=time(6, 30))),
            RuleChoice(rule="a-rule-of-another-version", params=None),
        ]
    ),
)
# It would be tried for every mapping; it is made of another one, below.
st.register_type_strategy(Kept, lambda _: st.just(Kept({})))
shades = st.dictionaries(st.from_type(ShadeId), st.from_type(Shade), max_size=3)
st.register_type_strategy(House, st.builds(House, shades=shades | shades.map(Kept)))
events = st.one_of(*(st.from_type(kind) for kind in get_args(Event)))


@given(events)
def test_every_event_comes_back_equal_and_gives_the_same_bytes(event: Event) -> None:
    data = codec.encode_event(event)
    again = codec.decode_event(data)
    assert again == event or b"NaN" in data
    assert type(again) is type(event)
    assert codec.encode_event(again) == data


@given(st.from_type(Decisions))
def test_decisions_come_back_equal_and_give_the_same_bytes(decisions: Decisions) -> None:
    data = codec.encode_decisions(decisions)
    again = codec.decode_decisions(data)
    assert again == decisions or b"NaN" in data  # which is equal to nothing
    assert codec.encode_decisions(again) == data


@given(st.from_type(Decisions))
def test_the_kind_of_a_field_in_a_note_survives(decisions: Decisions) -> None:
    again = codec.decode_decisions(codec.encode_decisions(decisions))
    for note, other in zip(decisions.notes, again.notes, strict=True):
        assert [type(value) for _, value in other.fields] == [type(value) for _, value in note.fields]


@settings(max_examples=25)
@given(st.from_type(House))
def test_a_house_comes_back_equal_and_gives_the_same_bytes(house: House) -> None:
    data = codec.encode_house(house)
    again = codec.decode_house(data)
    assert again == house or b"NaN" in data
    assert list(again.shades) == list(house.shades)
    assert codec.encode_house(again) == data


@settings(max_examples=25)
@given(st.from_type(House))
def test_derived_fields_come_back_though_they_are_not_written(house: House) -> None:
    again = codec.decode_house(codec.encode_house(house))
    for spec, other in zip(house.spec.shades, again.spec.shades, strict=True):
        assert _all_fields(other.travel) == _all_fields(spec.travel)


@given(instants, st.integers(-12, 14))
def test_an_instant_of_any_zone_is_written_in_utc(instant: datetime, hours: int) -> None:
    assume(datetime(2, 1, 1, tzinfo=UTC) < instant < datetime(9998, 1, 1, tzinfo=UTC))
    local = instant.astimezone(timezone(timedelta(hours=hours)))
    shade = replace(given_house().shades[STUDY], hold_until=local)
    house = replace(given_house(), shades={STUDY: shade})
    again = codec.decode_house(codec.encode_house(house)).shades[STUDY].hold_until
    assert again == instant
    assert again.tzinfo is UTC


def _all_fields(value: Any) -> list[object]:
    return [getattr(value, field.name) for field in fields(value)]
