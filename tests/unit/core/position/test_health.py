"""The record of a shade, from references that are made up."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from math import inf, isinf
from random import Random

import pytest

from bridge.core.position.estimate import Grade, Knowledge, Landmark
from bridge.core.position.evidence import nothing_known, referenced, slipped
from bridge.core.position.health import health_of
from bridge.core.values import Interval
from tests.unit.core.position.test_drift import BEGAN, Diary, shade, there_and_back

SPEC = shade(Fraction(57, 11))


def known_after(moves: int, *, days: float = 0.0) -> Knowledge:
    """Two references at the top, `days` apart, and `moves` since the second."""
    known = nothing_known(SPEC)
    at = Interval(low=-140, high=-85)
    for number in range(2):
        known = referenced(
            SPEC,
            known,
            at,
            count=1000,
            boot=1,
            landmark=Landmark.UPPER_SWITCH,
            utc=BEGAN + timedelta(days=days * number),
        )
        known = slipped(SPEC, known, moves=16 if number == 0 else 0, distance=200_000 if number == 0 else 0)
    for _ in range(moves):
        known = slipped(SPEC, known, moves=1, distance=50_000)
    return known


def test_moves_and_turns_are_counted_since_the_last_reference() -> None:
    health = health_of(SPEC, known_after(3))
    assert health.moves == 3
    assert health.turns == pytest.approx(150_000 / float(SPEC.travel.drive.pulses_per_turn))
    assert len(health.met) == 2


def test_the_growth_is_what_the_allowances_say_for_such_moves() -> None:
    health = health_of(SPEC, known_after(4))
    turns = 50_000 / float(SPEC.travel.drive.pulses_per_turn)
    # Both sides of the interval; steps are reckoned where they move the hem bar least, so a little more.
    at_least = 2 * (SPEC.slip_per_move_mm + turns * SPEC.slip_per_turn_mm)
    assert at_least <= health.growth_mm_a_move <= 1.4 * at_least


def test_the_forecast_uses_the_pace_that_was_seen() -> None:
    health = health_of(SPEC, known_after(1, days=4))
    assert health.moves_a_day == pytest.approx(4.0)
    room = SPEC.doubtful_mm - health.width_mm
    assert health.days_to_doubt == pytest.approx(room / (health.growth_mm_a_move * 4.0), rel=0.05)


def test_without_references_the_usual_pace_is_assumed_and_said_to_be_unknown() -> None:
    health = health_of(SPEC, nothing_known(SPEC))
    assert health.grade is Grade.UNKNOWN
    assert health.moves_a_day is None
    assert health.days_to_doubt == 0.0


def test_a_shade_without_slip_never_becomes_doubtful_by_itself() -> None:
    still = replace(SPEC, slip_per_move_mm=0.0, slip_per_turn_mm=0.0)
    assert isinf(health_of(still, known_after(0)).days_to_doubt)
    assert health_of(still, known_after(0)).days_to_doubt == inf


def test_each_reference_tells_how_far_off_the_estimate_was() -> None:
    known = known_after(0)
    off = referenced(
        SPEC,
        known,
        Interval(low=360, high=415),
        count=1000,
        boot=1,
        landmark=Landmark.UPPER_SWITCH,
        utc=BEGAN + timedelta(days=1),
    )
    first, second, third = health_of(SPEC, off).met
    assert (first.off_mm, first.inside) == (None, None)
    assert second.inside is True
    assert third.inside is False
    # 500 steps at the top of this roll: 500 / 4145.45 turns of pi * 52 mm, by hand.
    assert third.off_mm == pytest.approx(19.7, abs=0.5)


def test_what_the_drive_does_is_learnt_from_the_same_references() -> None:
    wrong = shade(Fraction(5))
    diary = Diary(wrong, Fraction(57, 11), Random(3))
    there_and_back(diary, 3)
    known = replace(nothing_known(wrong), meetings=tuple(diary.meetings))
    proposals = health_of(wrong, known).drift.proposals
    assert [each.value for each in proposals] == ['"57/11"']
