"""The roll from drops measured with a tape, against the true spiral."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.core.commissioning.measuring import Measured, contradictions, from_two_drops, roll_of
from bridge.core.errors import RequestError
from bridge.simulate.spiral import turns_for, wound_mm


def drops(tube: float, cloth: float, drop: float, wraps: float) -> tuple[float, float, float]:
    """Turns between the limits, turns to half of them, and the drop there: by the arc of the spiral."""
    at_lower = wound_mm(wraps, tube_mm=tube, cloth_mm=cloth)
    whole = turns_for(at_lower + drop, tube_mm=tube, cloth_mm=cloth)
    turns = whole - wraps
    part = at_lower + drop - wound_mm(whole - turns / 2, tube_mm=tube, cloth_mm=cloth)
    return turns, turns / 2, part


@given(
    tube=st.floats(25, 80),
    cloth=st.floats(0.2, 1.2),
    drop=st.floats(700, 3000),
    wraps=st.floats(1.2, 3),
    read_mm=st.floats(-0.5, 0.5),
)
def test_two_drops_read_to_a_millimetre_hang_every_height_within_two(
    tube: float, cloth: float, drop: float, wraps: float, read_mm: float
) -> None:
    turns, part_turns, part = drops(tube, cloth, drop, wraps)
    try:
        measured = from_two_drops(
            turns=turns, drop_mm=round(drop), part_turns=part_turns, part_mm=part + read_mm
        )
        roll = roll_of(measured, drop_mm=round(drop), tube_mm=None, wraps_left=wraps)
    except RequestError:
        # A mm of reading is more than the build-up of very little, very thin cloth.
        assert cloth * turns * turns < 40
        return
    at_top = wound_mm(turns + wraps, tube_mm=tube, cloth_mm=cloth)
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        true = at_top - wound_mm(turns + wraps - share * turns, tube_mm=tube, cloth_mm=cloth)
        assert roll.drop_at_turns(share * turns) == pytest.approx(true, abs=2.0)


def test_a_slip_of_the_tape_is_refused_with_the_numbers() -> None:
    with pytest.raises(
        RequestError, match=r"430 mm after 5\.00 turns and 1000 mm after 10\.00 turns would need"
    ):
        from_two_drops(turns=10, drop_mm=1000, part_turns=5, part_mm=430)


def test_a_contradiction_names_both_numbers() -> None:
    measured = Measured(cloth_mm=0.42, lower_mm=40.0)
    found = contradictions(measured, tube_mm=38.0, cloth_mm=0.5, wraps_left=1.5)
    assert found[0] == "the drops say that a layer of cloth is 0.420 mm, the settings say 0.5 mm"
    assert "with a tube of 38 mm the drops say 2.38 wraps left, the settings say 1.5" in found[1]
    assert "they say a tube of 38.7 mm" in found[1]
    assert contradictions(measured, tube_mm=38.75, cloth_mm=0.42, wraps_left=1.5) == []


def test_less_than_a_wrap_is_refused() -> None:
    with pytest.raises(RequestError, match=r"would leave 0\.60 wraps"):
        roll_of(Measured(cloth_mm=0.5, lower_mm=38.6), drop_mm=1500, tube_mm=38.0, wraps_left=None)
