"""What is made quickly is what the standard way makes, with the same errors."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from dataclasses import FrozenInstanceError, dataclass, field

import pytest

from bridge.core.replacing import quick, replace
from bridge.core.values import Interval
from tests.unit.core.bench import SPEC


@dataclass(frozen=True, slots=True, kw_only=True)
class Usual:
    first: int
    second: str = "two"
    third: dict[str, int] = field(default_factory=dict)


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Quick:
    first: int
    second: str = "two"
    third: dict[str, int] = field(default_factory=dict)


def test_a_quick_value_has_the_fields_and_defaults_of_a_usual_one() -> None:
    assert dataclasses.asdict(Quick(first=1)) == dataclasses.asdict(Usual(first=1))
    assert Quick(first=1, second="x", third={"a": 1}) == Quick(first=1, second="x", third={"a": 1})
    assert Quick(first=1) != Quick(first=2)
    assert repr(Quick(first=1)) == "Quick(first=1, second='two', third={})"


def test_two_quick_values_do_not_share_what_a_factory_makes() -> None:
    assert Quick(first=1).third is not Quick(first=1).third


@pytest.mark.parametrize("made", [Quick(first=1), replace(Quick(first=0), first=1)])
def test_a_quick_value_is_frozen_and_of_its_class(made: Quick) -> None:
    assert type(made) is Quick
    with pytest.raises(FrozenInstanceError):
        made.first = 2  # type: ignore[misc]  # that it is frozen is what is tried
    assert made.first == 1


@pytest.mark.parametrize("make", [Usual, Quick])
def test_wrong_fields_are_refused_either_way(make: type[Usual]) -> None:
    with pytest.raises(TypeError, match="first"):
        make()  # type: ignore[call-arg]  # a field that is missing is what is tried
    with pytest.raises(TypeError, match="fourth"):
        make(first=1, fourth=4)  # type: ignore[call-arg]  # a field that is not there is what is tried
    with pytest.raises(TypeError, match="fourth"):
        replace(make(first=1), fourth=4)  # type: ignore[call-arg]  # the same


def test_replace_changes_the_fields_named_and_no_others() -> None:
    before = Usual(first=1, third={"a": 1})
    after = replace(before, second="x")
    assert after == dataclasses.replace(before, second="x")
    assert after.third is before.third
    assert before == Usual(first=1, third={"a": 1})


def test_what_derives_fields_or_checks_itself_still_does() -> None:
    wider = replace(SPEC, overrun_mm=SPEC.overrun_mm + 10)
    assert wider.ends.low < SPEC.ends.low
    with pytest.raises(AssertionError):
        Interval(low=2, high=1)
    with pytest.raises(AssertionError):
        replace(Interval(low=1, high=2), high=0)


def test_quick_values_survive_copies_and_pickles() -> None:
    made = Quick(first=1, third={"a": 1})
    assert copy.deepcopy(made) == made
    assert pickle.loads(pickle.dumps(made)) == made
