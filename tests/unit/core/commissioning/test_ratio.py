"""From turns that were seen to exact gear ratios."""

from __future__ import annotations

from fractions import Fraction

import pytest

from bridge.core.commissioning.ratio import OFFERED, candidates, in_words, stage_products


# Ratios of planetary gear heads as printed on common small stepper motors; from memory. Each label is
# rounded, the teeth are exact: 1 + 46/17 and 1 + 46/11 for one stage.
@pytest.mark.parametrize(
    ("label", "exact"),
    [
        (3.71, Fraction(63, 17)),
        (5.18, Fraction(57, 11)),
        (13.73, Fraction(3969, 289)),
        (19.2, Fraction(3591, 187)),
        (26.85, Fraction(3249, 121)),
        (50.9, Fraction(250047, 4913)),
        (99.5, Fraction(204687, 2057)),
    ],
)
def test_a_label_leads_to_the_ratio_of_the_teeth(label: float, exact: Fraction) -> None:
    assert exact in stage_products()
    assert candidates(label, tolerance=0.003)[0] == exact


def test_a_plain_gear_of_five_is_told_from_57_11_by_ten_turns_read_to_ten_degrees() -> None:
    assert candidates(5.0, tolerance=0.006)[0] == 5
    assert 5 not in candidates(57 / 11, tolerance=0.006)
    assert Fraction(57, 11) not in candidates(5.0, tolerance=0.006)


@pytest.mark.parametrize("measured", [1.0, 2.5, 4.2857, 7.3, 120.0])
def test_what_is_offered_lies_within_the_tolerance_and_is_never_long(measured: float) -> None:
    found = candidates(measured, tolerance=0.01)
    assert 0 < len(found) <= OFFERED
    assert len(set(found)) == len(found)
    assert all(abs(float(ratio) / measured - 1) <= 0.01 for ratio in found)


def test_words_name_stages_and_the_label() -> None:
    assert (
        in_words(Fraction(57, 11)) == "57/11 (5.1818): one planetary stage, 1 + 46/11, commonly sold as 5:1"
    )
    assert "63/17 x 57/11, commonly sold as 19:1" in in_words(Fraction(3591, 187))
    assert in_words(Fraction(7, 2)) == "7/2 (3.5000)"
