from math import pi

import pytest

from bridge.simulate.spiral import turns_for, wound_mm

# Exact quadrature of the spiral from the tube's surface, made once with scipy from the definition alone.
SPIRALS = [
    (25, 0.4, 10, 911.0707068),
    (32, 0.5, 12.5, 1502.087108),
    (40, 0.5, 13, 1899.103956),
    (40, 0.9, 13, 2111.497409),
    (50, 0.7, 9.25, 1641.161197),
    (70, 0.6, 8, 1879.93518),
    (38, 0.45, 0.5, 60.04411116),
]


@pytest.mark.parametrize(("tube", "cloth", "turns", "length"), SPIRALS)
def test_the_arc_agrees_with_quadrature_of_the_spiral(
    tube: float, cloth: float, turns: float, length: float
) -> None:
    assert wound_mm(turns, tube_mm=tube, cloth_mm=cloth) == pytest.approx(length, abs=1e-4)


def test_cloth_without_thickness_is_a_circle_each_turn() -> None:
    assert wound_mm(3, tube_mm=40, cloth_mm=0) == pytest.approx(3 * pi * 40)


@pytest.mark.parametrize("length", [0.0, 0.5, 300.0, 2500.0])
@pytest.mark.parametrize("cloth", [0.0, 0.2, 0.9])
def test_turns_for_a_length_wind_that_length(length: float, cloth: float) -> None:
    turns = turns_for(length, tube_mm=38, cloth_mm=cloth)
    assert wound_mm(turns, tube_mm=38, cloth_mm=cloth) == pytest.approx(length, abs=1e-6)
