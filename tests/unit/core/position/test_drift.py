"""References made up from a drive that is known, to see whether it is found out again."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest

from bridge.core.position.drift import learn, simple_fraction
from bridge.core.position.estimate import Landmark, Meeting
from bridge.core.shade.drive import Drive
from bridge.core.shade.travel import Travel
from bridge.core.spec import ShadeSpec
from bridge.core.values import Interval
from bridge.settings.load import load

DEMO = Path(__file__).parents[4] / "bridge" / "simulate" / "demo_house.toml"
BEGAN = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
REPEATABILITY_MM = 1.0


def shade(gear: Fraction) -> ShadeSpec:
    """The study with settings that say `gear`."""
    spec = next(each for each in load(DEMO).house.shades if each.id == "study")
    drive = Drive(pulses_per_rev=800, gear=gear)
    return replace(spec, travel=Travel(roll=spec.travel.roll, drive=drive))


@dataclass
class Diary:
    """Makes meetings as a board on a true gear would count them."""

    spec: ShadeSpec
    true_gear: Fraction
    rng: Random
    lost_a_move_mm: float = 0.0
    slip_steps_a_move: int = 2
    count: float = 700.0
    moves: int = 0
    where_mm: float | None = None
    meetings: list[Meeting] = field(default_factory=list)

    def meet(self, landmark: Landmark, at_mm: float, *, moves: int = 1, pulled_mm: float = 0.0) -> None:
        """Go to a landmark by `moves` moves; its place scatters within its repeatability."""
        truly = at_mm + self.rng.uniform(-REPEATABILITY_MM, REPEATABILITY_MM)
        if self.where_mm is not None:
            lost = pulled_mm - self.lost_a_move_mm * moves
            self.count += self._true_steps(truly) - self._true_steps(self.where_mm + lost)
        self.where_mm = truly
        self.moves += moves
        travel = self.spec.travel
        low = int(travel.steps_at_drop(at_mm - REPEATABILITY_MM))
        high = int(travel.steps_at_drop(at_mm + REPEATABILITY_MM)) + 1
        self.meetings.append(
            Meeting(
                utc=BEGAN + timedelta(hours=len(self.meetings)),
                landmark=landmark,
                at=Interval(low=low, high=high),
                count=round(self.count),
                chain=0,
                moves=self.moves,
                travelled=0,
                slip=self.moves * self.slip_steps_a_move,
                claimed=None,
            )
        )

    def _true_steps(self, drop_mm: float) -> float:
        turns = self.spec.travel.roll.turns_at_drop(drop_mm)
        return turns * 800 * float(self.true_gear)


def there_and_back(diary: Diary, passes: int) -> None:
    for index in range(passes + 1):
        if index % 2 == 0:
            diary.meet(Landmark.UPPER_SWITCH, -4.0)
        else:
            diary.meet(Landmark.LOWER_SWITCH, 1800.0)


@pytest.mark.parametrize("seed", range(20))
def test_a_ratio_of_5_that_is_57_11_is_found_within_three_passes_to_a_thousandth(seed: int) -> None:
    spec = shade(Fraction(5))
    diary = Diary(spec, Fraction(57, 11), Random(seed))
    there_and_back(diary, 3)
    drift = learn(spec, diary.meetings)
    assert drift.scale is not None
    assert drift.scale.passes == 3
    assert drift.scale.factor == pytest.approx(5 / (57 / 11), rel=1e-3)
    assert abs(drift.scale.factor - 5 / (57 / 11)) <= 1.5 * drift.scale.sure
    assert [(each.key, each.value) for each in drift.proposals] == [("drive.gear", '"57/11"')]
    assert drift.happenings == ()


def test_a_wrong_ratio_is_not_taken_for_slip() -> None:
    spec = shade(Fraction(5))
    diary = Diary(spec, Fraction(57, 11), Random(1))
    there_and_back(diary, 9)
    drift = learn(spec, diary.meetings)
    assert drift.slip is not None
    assert abs(drift.slip.mm_per_move) <= 1.5 * drift.slip.sure_mm
    assert all(each.key == "drive.gear" for each in drift.proposals)


def test_from_one_place_the_scale_is_not_observable() -> None:
    spec = shade(Fraction(5))
    diary = Diary(spec, Fraction(57, 11), Random(2))
    for _ in range(6):
        diary.meet(Landmark.UPPER_SWITCH, -4.0, moves=4)
    drift = learn(spec, diary.meetings)
    assert drift.scale is None
    assert drift.proposals == ()


def test_right_settings_lead_to_no_proposal() -> None:
    spec = shade(Fraction(57, 11))
    diary = Diary(spec, Fraction(57, 11), Random(3))
    there_and_back(diary, 8)
    drift = learn(spec, diary.meetings)
    assert drift.scale is not None
    assert abs(drift.scale.factor - 1) <= drift.scale.sure * 1.5
    assert drift.proposals == ()


def test_a_pull_is_an_event_and_changes_no_setting() -> None:
    spec = shade(Fraction(57, 11))
    diary = Diary(spec, Fraction(57, 11), Random(4))
    for index in range(8):
        diary.meet(Landmark.UPPER_SWITCH, -4.0, moves=2, pulled_mm=80.0 if index == 5 else 0.0)
    drift = learn(spec, diary.meetings)
    assert len(drift.happenings) == 1
    happening = drift.happenings[0]
    assert happening.after == BEGAN + timedelta(hours=4)
    assert happening.before == BEGAN + timedelta(hours=5)
    assert happening.off_mm == pytest.approx(80, abs=3)
    assert drift.slip is not None
    assert abs(drift.slip.mm_per_move) <= 2 * drift.slip.sure_mm
    assert drift.proposals == ()


def test_a_pull_on_one_of_many_ways_does_not_bend_the_scale() -> None:
    spec = shade(Fraction(57, 11))
    diary = Diary(spec, Fraction(57, 11), Random(5))
    for index in range(9):
        down = index % 2 == 1
        place = (Landmark.LOWER_SWITCH, 1800.0) if down else (Landmark.UPPER_SWITCH, -4.0)
        diary.meet(*place, pulled_mm=60.0 if index == 4 else 0.0)
    drift = learn(spec, diary.meetings)
    assert drift.scale is not None
    assert drift.scale.factor == pytest.approx(1.0, abs=1e-3)
    assert len(drift.happenings) == 1
    assert drift.proposals == ()


def test_steady_slip_is_told_with_its_uncertainty_and_a_setting() -> None:
    spec = shade(Fraction(57, 11))
    diary = Diary(spec, Fraction(57, 11), Random(6), lost_a_move_mm=0.5, slip_steps_a_move=20)
    for _ in range(8):
        diary.meet(Landmark.UPPER_SWITCH, -4.0, moves=2)
    drift = learn(spec, diary.meetings)
    assert drift.slip is not None
    assert drift.slip.mm_per_move == pytest.approx(0.5, abs=drift.slip.sure_mm + 0.1)
    assert [each.key for each in drift.proposals] == ["trust.slip_per_move_mm"]


def test_meetings_of_two_chains_are_never_compared() -> None:
    spec = shade(Fraction(57, 11))
    diary = Diary(spec, Fraction(57, 11), Random(7))
    there_and_back(diary, 4)
    broken = [replace(each, chain=index) for index, each in enumerate(diary.meetings)]
    drift = learn(spec, broken)
    assert (drift.scale, drift.slip, drift.happenings) == (None, None, ())


def test_the_simplest_fraction_within_reach_is_named() -> None:
    assert simple_fraction(5.1815, sure=0.004) == Fraction(57, 11)
    assert simple_fraction(4.9999, sure=0.004) == Fraction(5)
    assert simple_fraction(3.14159265, sure=1e-9) is None


def test_a_scale_that_no_simple_ratio_explains_points_at_the_measures() -> None:
    spec = shade(Fraction(57, 11))
    diary = Diary(spec, Fraction(57, 11) * Fraction(10_137, 10_000), Random(8))
    there_and_back(diary, 40)
    drift = learn(spec, diary.meetings)
    assert [each.key for each in drift.proposals] == ["tube_mm, cloth_mm or drop_mm"]
