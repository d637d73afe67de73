import math

import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.sky import SunPosition
from bridge.core.sun.window import (
    Facade,
    HemLimit,
    HorizonPoint,
    Opening,
    Overhang,
    SunPatch,
    angles,
    hem_for_depth,
    horizon_elevation_deg,
    incidence_deg,
    sun_patch,
)

OPENING = Opening(sill_m=0.9, head_m=2.1)
NONE = SunPatch(enters=False, near_m=None, far_m=0.0)


def sun(elevation_deg: float, azimuth_deg: float = 180.0) -> SunPosition:
    return SunPosition(elevation_deg=elevation_deg, azimuth_deg=azimuth_deg)


def skyline(*corners: tuple[float, float]) -> tuple[HorizonPoint, ...]:
    return tuple(HorizonPoint(azimuth_deg=azimuth, elevation_deg=top) for azimuth, top in corners)


def test_the_sun_straight_ahead_has_no_incidence() -> None:
    assert incidence_deg(sun(0), surface_azimuth_deg=180) == 0.0


def test_a_level_surface_sees_the_zenith_distance() -> None:
    assert incidence_deg(sun(30), surface_azimuth_deg=77, tilt_deg=0) == pytest.approx(60)


@pytest.mark.parametrize(("azimuth_deg", "direct"), [(90, False), (90.1, True), (269.9, True), (270, False)])
def test_a_wall_sees_less_than_a_half_turn(azimuth_deg: float, direct: bool) -> None:
    assert angles(Facade(azimuth_deg=180), sun(20, azimuth_deg)).direct_sun is direct


@pytest.mark.parametrize(
    ("elevation_deg", "direct"), [(0, False), (1e-320, False), (0.001, True), (90, True)]
)
def test_the_sun_must_be_above_the_horizon(elevation_deg: float, direct: bool) -> None:
    seen = angles(Facade(azimuth_deg=180), sun(elevation_deg))
    assert seen.direct_sun is direct
    assert (seen.profile_angle_deg is not None) is direct
    assert math.isfinite(sun_patch(OPENING, seen.profile_angle_deg).far_m)


@pytest.mark.parametrize(
    ("facade_deg", "sun_deg", "shadow_deg"), [(350, 10, 20), (10, 350, -20), (0, 180, -180), (360, 0, 0)]
)
def test_the_shadow_angle_wraps_around_north(facade_deg: float, sun_deg: float, shadow_deg: float) -> None:
    assert angles(Facade(azimuth_deg=facade_deg), sun(20, sun_deg)).shadow_angle_deg == shadow_deg


@pytest.mark.parametrize(
    ("azimuth_deg", "top_deg"), [(90, 0), (135, 10), (180, 20), (270, 10), (350, 1.111), (0, 0), (359.999, 0)]
)
def test_the_horizon_is_linear_between_its_corners(azimuth_deg: float, top_deg: float) -> None:
    profile = skyline((0, 0), (90, 0), (180, 20))
    assert horizon_elevation_deg(profile, azimuth_deg) == pytest.approx(top_deg, abs=0.001)


@pytest.mark.parametrize(("azimuth_deg", "top_deg"), [(0, 15), (350, 10), (10, 20), (180, 15)])
def test_the_horizon_runs_on_around_north(azimuth_deg: float, top_deg: float) -> None:
    assert horizon_elevation_deg(skyline((10, 20), (350, 10)), azimuth_deg) == pytest.approx(top_deg)


def test_one_corner_is_a_wall_all_around() -> None:
    assert {horizon_elevation_deg(skyline((90, 12)), azimuth) for azimuth in (0, 90, 200, 360)} == {12.0}


def test_an_open_view_has_no_obstruction() -> None:
    assert horizon_elevation_deg((), 123) == 0.0


@pytest.mark.parametrize(("elevation_deg", "direct"), [(9.9, False), (10, False), (10.1, True)])
def test_the_sun_must_clear_the_horizon(elevation_deg: float, direct: bool) -> None:
    facade = Facade(azimuth_deg=180, horizon=skyline((90, 10), (270, 10)))
    assert angles(facade, sun(elevation_deg)).direct_sun is direct


@pytest.mark.parametrize("corners", [((90, 1), (90, 2)), ((180, 1), (90, 2))])
def test_a_tangled_horizon_is_refused(corners: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(
        RequestError, match=r"horizon: azimuth 90 follows .*; list the points by rising azimuth"
    ):
        Facade(azimuth_deg=0, horizon=skyline(*corners))


def test_a_horizon_with_north_twice_is_refused() -> None:
    with pytest.raises(RequestError, match=r"azimuths 0 and 360 are the same direction"):
        Facade(azimuth_deg=0, horizon=skyline((0, 1), (360, 2)))


@pytest.mark.parametrize(
    ("azimuth_deg", "elevation_deg", "named"),
    [(361, 0, "horizon azimuth: 361"), (0, -1, "horizon elevation: -1"), (0, 91, "horizon elevation: 91")],
)
def test_a_corner_that_is_no_direction_is_refused(
    azimuth_deg: float, elevation_deg: float, named: str
) -> None:
    with pytest.raises(RequestError, match=named):
        HorizonPoint(azimuth_deg=azimuth_deg, elevation_deg=elevation_deg)


def test_a_facade_that_looks_nowhere_is_refused() -> None:
    with pytest.raises(RequestError, match=r"facade azimuth: 400 is outside 0 to 360 degrees"):
        Facade(azimuth_deg=400)


@pytest.mark.parametrize(
    ("heights", "named"),
    [
        ((-0.1, 2, 0), "sill: -0.1 is outside 0 to 1000 m"),
        ((0, 2000, 0), "head: 2000"),
        ((0, 2, -1), "plane: -1"),
        ((2, 2, 0), "head: 2 m is not above the sill at 2 m"),
    ],
)
def test_heights_that_contradict_each_other_are_refused(
    heights: tuple[float, float, float], named: str
) -> None:
    with pytest.raises(RequestError, match=named):
        Opening(sill_m=heights[0], head_m=heights[1], plane_m=heights[2])


def test_an_overhang_below_the_head_is_refused() -> None:
    with pytest.raises(RequestError, match=r"overhang height: 2 m is below the head at 2.1 m"):
        Opening(sill_m=0.9, head_m=2.1, overhang=Overhang(depth_m=1, height_m=2))


@pytest.mark.parametrize(
    ("depth_m", "height_m", "named"), [(-1, 2, "overhang depth: -1"), (1, -2, "overhang height: -2")]
)
def test_an_overhang_of_no_size_is_refused(depth_m: float, height_m: float, named: str) -> None:
    with pytest.raises(RequestError, match=named):
        Overhang(depth_m=depth_m, height_m=height_m)


def test_without_direct_sun_nothing_enters_and_nothing_is_asked() -> None:
    assert sun_patch(OPENING, None) == NONE
    limit = hem_for_depth(OPENING, None, depth_limit_m=1)
    assert limit == HemLimit(hem_m=2.1, open_pct=100.0, state="no direct sun")


@pytest.mark.parametrize(("hem_m", "enters"), [(2.5, True), (0.91, True), (0.9, False), (0.5, False)])
def test_a_hem_bar_at_the_sill_lets_nothing_in(hem_m: float, enters: bool) -> None:
    assert sun_patch(OPENING, 45, hem_m=hem_m).enters is enters


def test_a_hem_bar_above_the_head_hides_nothing() -> None:
    assert sun_patch(OPENING, 45, hem_m=3) == sun_patch(OPENING, 45)


def test_a_hem_bar_below_the_floor_is_refused() -> None:
    with pytest.raises(RequestError, match=r"hem bar: -1 is outside 0 to 1000 m"):
        sun_patch(OPENING, None, hem_m=-1)


def test_a_plane_above_the_head_is_never_lit() -> None:
    high = Opening(sill_m=0.9, head_m=2.1, plane_m=2.2)
    assert sun_patch(high, 45) == NONE
    assert hem_for_depth(high, 45, depth_limit_m=0).state == "open"


def test_a_plane_above_the_sill_is_lit_from_the_wall_on() -> None:
    patch = sun_patch(Opening(sill_m=0.0, head_m=2.0, plane_m=1.0), 45)
    assert patch.near_m == 0.0
    assert patch.far_m == pytest.approx(1.0)


def test_a_deep_overhang_keeps_the_sun_out() -> None:
    porch = Opening(sill_m=0.9, head_m=2.1, overhang=Overhang(depth_m=2, height_m=2.2))
    assert sun_patch(porch, 45) == NONE
    assert hem_for_depth(porch, 45, depth_limit_m=0.5).state == "open"


@pytest.mark.parametrize(
    ("limit_m", "state"),
    [(2.11, "open"), (2.0, "partial"), (0.91, "partial"), (0.9, "closed"), (0, "closed")],
)
def test_the_state_says_what_the_limit_asks(limit_m: float, state: str) -> None:
    # 45 degrees: the depth is the height.
    assert hem_for_depth(OPENING, math.degrees(math.atan(1.0)), depth_limit_m=limit_m).state == state


def test_no_sun_at_all_on_a_floor_closes_a_window_down_to_it() -> None:
    door = Opening(sill_m=0.0, head_m=2.1)
    assert hem_for_depth(door, 45, depth_limit_m=0) == HemLimit(hem_m=0.0, open_pct=0.0, state="closed")


@pytest.mark.parametrize("limit_m", [-0.1, float("nan")])
def test_a_limit_that_is_no_depth_is_refused(limit_m: float) -> None:
    with pytest.raises(RequestError, match=r"depth limit"):
        hem_for_depth(OPENING, 45, depth_limit_m=limit_m)
