"""What is told of a shade beyond what every face shows."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from bridge.adapters.page.telling import patch_said, shade_said, sun_of
from bridge.adapters.page.words import NextSaid, ShadeSaid
from bridge.core.events import Place
from bridge.core.plan.foreseen import Foresight, NextMove, Spell
from bridge.core.state import House, Shade
from bridge.core.sun.sky import SunPosition
from tests.core_house import Talk, demo_spec
from tests.page_visit import begun

WINDOW = (
    "[shades.study.unpowered]",
    "[shades.study.window]\nfacade_azimuth_deg = 180\nsill_m = 0.8\nhead_m = 2.4\n\n[shades.study.unpowered]",
)


def told(house: House, shade: Shade) -> ShadeSaid:
    return shade_said(house, shade, house.now, sun_of(house, house.now))


def planned(in_h: float, *, held_h: float = 0.0, **changed: bool) -> NextSaid | None:
    talk = begun(Talk())
    assert talk.house is not None
    house = replace(talk.house, **changed)  # type: ignore[arg-type]  # its flags only
    at = house.now.utc
    coming = NextMove(at=at + timedelta(hours=in_h), to_pct=65, rule="sun-depth")
    until = at + timedelta(hours=held_h) if held_h else None
    night = (Spell(steps=144, low_pct=0, high_pct=0, rule="night"),)
    foresight = Foresight(begins=at, made_at=at, step_s=600.0, taken=(), spells=night)
    ruling = replace(talk.shade.ruling, next_move=coming, foresight=foresight)
    hull = replace(talk.shade.knowledge.hull, low=0, high=0)
    knowledge = replace(talk.shade.knowledge, hull=hull)
    said = told(house, replace(talk.shade, ruling=ruling, hold_until=until, knowledge=knowledge)).next
    if said is not None:
        assert said.utc == at + timedelta(hours=held_h or in_h)
    return said


def test_the_next_move_is_the_plan_s() -> None:
    said = planned(2)
    assert said is not None
    assert (said.open_pct, said.why) == (65, "the sun-depth rule")


def test_at_the_end_of_a_hold_the_rules_take_the_shade_up_again() -> None:
    said = planned(20, held_h=3)
    assert said is not None
    assert (said.open_pct, said.why) == (0, "the night rule")


def test_no_move_is_foreseen_that_nobody_may_make_or_that_is_past() -> None:
    assert planned(-1) is None
    assert planned(2, paused=True) is None
    assert planned(2, locked=True) is None
    assert planned(2, stood_down=True) is None


def test_the_patch_is_that_of_the_hem_bar_where_it_hangs() -> None:
    talk = begun(Talk(spec=demo_spec(WINDOW)))
    assert talk.house is not None
    south = SunPosition(elevation_deg=45.0, azimuth_deg=180.0)
    travel = talk.shade_spec.travel

    def at(drop_mm: float) -> Shade:
        steps = round(travel.steps_at_drop(drop_mm))
        hull = replace(talk.shade.knowledge.hull, low=steps, high=steps)
        return replace(talk.shade, knowledge=replace(talk.shade.knowledge, hull=hull))

    # At 45 degrees a height above the floor is the depth: sill 0.8, hem bar 2.4 - 1.0.
    said = patch_said(at(1000.0), talk.house.now, south)
    assert said is not None
    assert (said.lit, said.enters, said.near_m, said.far_m) == (True, True, 0.8, 1.4)
    closed = patch_said(at(1700.0), talk.house.now, south)
    assert closed is not None
    assert (closed.lit, closed.enters, closed.far_m) == (True, False, 0.0)
    north = patch_said(at(1000.0), talk.house.now, SunPosition(elevation_deg=45.0, azimuth_deg=0.0))
    assert north is not None
    assert not north.lit


def test_where_an_unknown_shade_hangs_is_not_made_up_for_its_patch_either() -> None:
    talk = begun(Talk(spec=demo_spec(WINDOW)))
    assert talk.house is not None
    south = SunPosition(elevation_deg=45.0, azimuth_deg=180.0)
    assert told(talk.house, talk.shade).open_pct is None
    said = patch_said(talk.shade, talk.house.now, south)
    assert said is not None
    # As far as it may reach: the whole glass, up to 2.4 m.
    assert (said.near_m, said.far_m) == (0.8, 2.4)


def test_without_window_or_place_nothing_is_told_of_the_sun() -> None:
    talk = begun(Talk())
    assert talk.house is not None
    assert told(talk.house, talk.shade).sun is None
    assert patch_said(talk.shade, talk.house.now, None) is None


def test_a_reference_by_hand_waits_for_a_person_only_as_long_as_the_motor_is_awake() -> None:
    talk = begun(Talk())
    assert talk.house is not None
    house, shade = talk.house, talk.shade
    waiting = told(house, replace(shade, attended_until_s=house.now.mono_s + 60, target_pct=3)).reference
    assert (waiting.state, waiting.place) == ("waiting", Place.LOWER)
    assert waiting.until == house.now.utc + timedelta(seconds=60)
    assert told(house, replace(shade, attended_until_s=house.now.mono_s - 1)).reference.state == "none"
