import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.gain import Cloth, Glass, Mounting, shaded

DOUBLE = Glass(g=0.59, u_wpm2k=1.2)
SCREEN = Cloth(tau=0.05, rho=0.3)
MOUNTINGS: tuple[Mounting, ...] = ("external", "internal", "integrated")


def test_a_cloth_outside_keeps_out_more_than_one_between_or_inside() -> None:
    outside, inside, between = (shaded(DOUBLE, SCREEN, mounting).g_tot for mounting in MOUNTINGS)
    assert outside < between < inside < DOUBLE.g


def test_a_cloth_of_air_changes_nothing_outside_or_inside() -> None:
    air = Cloth(tau=1, rho=0)
    assert shaded(DOUBLE, air, "internal").g_tot == DOUBLE.g
    assert shaded(Glass(g=1, u_wpm2k=1.2), air, "external").g_tot == 1.0


def test_the_absorbed_share_absorbs_rounding() -> None:
    assert 1.0 - 0.9 - 0.1 < 0
    assert Cloth(tau=0.9, rho=0.1).alpha == 0.0


def test_a_cloth_that_sends_out_more_than_it_gets_is_refused() -> None:
    with pytest.raises(RequestError, match=r"^tau and rho: 0.6 \+ 0.5 is more than 1"):
        Cloth(tau=0.6, rho=0.5)


@pytest.mark.parametrize(("tau", "rho", "named"), [(-0.1, 0, "tau: -0.1"), (0, 1.1, "rho: 1.1")])
def test_a_share_outside_its_range_is_refused(tau: float, rho: float, named: str) -> None:
    with pytest.raises(RequestError, match=f"^{named} is outside 0 to 1; take it from"):
        Cloth(tau=tau, rho=rho)


@pytest.mark.parametrize(("g", "u", "named"), [(0, 1, "g of the glass: 0"), (0.5, 0, "U of the glass: 0")])
def test_glass_that_is_none_is_refused(g: float, u: float, named: str) -> None:
    with pytest.raises(RequestError, match=f"^{named} is outside"):
        Glass(g=g, u_wpm2k=u)


@pytest.mark.parametrize(
    ("g", "tau", "rho", "named"),
    [
        (0.14, 0.1, 0.3, "g of the glass 0.14 is outside 0.15 to 0.85"),
        (0.86, 0.1, 0.3, "g of the glass 0.86 is outside 0.15 to 0.85"),
        (0.59, 0.51, 0.3, "tau 0.51 is outside 0 to 0.5"),
        (0.59, 0.1, 0.09, "rho 0.09 is outside 0.1 to 0.8"),
        (0.59, 0.1, 0.81, "rho 0.81 is outside 0.1 to 0.8"),
    ],
)
def test_outside_the_range_of_the_method_there_is_a_warning(
    g: float, tau: float, rho: float, named: str
) -> None:
    both = shaded(Glass(g=g, u_wpm2k=1.2), Cloth(tau=tau, rho=rho), "external")
    assert both.warnings == (f"{named}, where the method is valid",)
    assert not both.in_validity_range


@pytest.mark.parametrize(("g", "tau", "rho"), [(0.15, 0, 0.1), (0.85, 0.5, 0.5), (0.85, 0.2, 0.8)])
def test_the_ends_of_the_range_belong_to_it(g: float, tau: float, rho: float) -> None:
    assert shaded(Glass(g=g, u_wpm2k=1.2), Cloth(tau=tau, rho=rho), "internal").in_validity_range
