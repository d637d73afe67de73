"""Angles, depth, irradiance, cloth and wind against figures of others.

Sources stand with each entry of values/sun.json: ray tests by brute force, pvlib, worked examples of
textbooks, data sheets of screen fabrics, WMO and EU tables. Tolerances are those of the entries.
"""

import json
import math
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from bridge.core.sun.gain import Cloth, Glass, Mounting, shaded
from bridge.core.sun.irradiance import (
    Irradiance,
    air_mass,
    clear_sky,
    clearness,
    extraterrestrial_wpm2,
    on_wall,
    split_measured,
)
from bridge.core.sun.sky import Place, SunPosition, apparent_elevation_deg, sun_at
from bridge.core.sun.window import (
    Facade,
    Opening,
    Overhang,
    angles,
    hem_for_depth,
    incidence_deg,
    sun_patch,
)
from bridge.core.wind import AIR_KGPM3, beaufort, resistance_class, velocity_pressure_npm2

Entry = dict[str, Any]
ENTRIES: list[Entry] = json.loads((Path(__file__).parent / "values" / "sun.json").read_text())["entries"]


def of_kind(kind: str) -> pytest.MarkDecorator:
    entries = [entry for entry in ENTRIES if entry["kind"] == kind]
    assert entries
    return pytest.mark.parametrize("entry", entries, ids=[entry["id"] for entry in entries])


def sun_of(entry: Entry) -> SunPosition:
    given = entry["inputs"]
    return SunPosition(elevation_deg=given["sun_elevation_deg"], azimuth_deg=given["sun_azimuth_deg"])


def facade_of(entry: Entry) -> Facade:
    return Facade(azimuth_deg=entry["inputs"]["facade_azimuth_deg"])


def opening_of(entry: Entry) -> Opening:
    given = entry["inputs"]
    overhang = None
    if "overhang_depth_m" in given:
        overhang = Overhang(depth_m=given["overhang_depth_m"], height_m=given["overhang_height_m"])
    return Opening(
        sill_m=given["sill_m"], head_m=given["head_m"], plane_m=given["plane_height_m"], overhang=overhang
    )


def cloth_of(entry: Entry) -> tuple[Glass, Cloth, Mounting]:
    given = entry["inputs"]
    cloth = Cloth(tau=given["tau_e_B"], rho=given["rho_e_B"])
    assert cloth.alpha == pytest.approx(given["alpha_e_B"])
    return Glass(g=given["g"], u_wpm2k=given["U_g"]), cloth, given["position"]


@of_kind("facade_angles")
def test_the_angles_of_the_sun_at_a_facade(entry: Entry) -> None:
    seen, want, within = angles(facade_of(entry), sun_of(entry)), entry["expected"], entry["tolerance"]["deg"]
    assert seen.direct_sun is want["direct_sun"]
    assert seen.incidence_deg == pytest.approx(want["incidence_deg"], abs=within)
    assert seen.shadow_angle_deg == pytest.approx(want["horizontal_shadow_angle_deg"], abs=within)
    if want["profile_angle_deg"] is None:
        assert seen.profile_angle_deg is None
    else:
        assert seen.profile_angle_deg == pytest.approx(want["profile_angle_deg"], abs=within)


@of_kind("profile_angle_published")
def test_the_textbook_profile_angle(entry: Entry) -> None:
    want = entry["expected"]
    sun = SunPosition(
        elevation_deg=want["sun_elevation_deg"], azimuth_deg=180 + want["sun_azimuth_from_south_deg"]
    )
    # The example's surface looks 25 degrees west of south.
    seen = angles(Facade(azimuth_deg=205), sun)
    assert seen.profile_angle_deg == pytest.approx(want["profile_angle_deg"], abs=entry["tolerance"]["deg"])


@of_kind("sun_penetration")
def test_the_depth_of_the_sun_agrees_with_rays(entry: Entry) -> None:
    want, within = entry["expected"], entry["tolerance"]["m"]
    seen = angles(facade_of(entry), sun_of(entry))
    patch = sun_patch(opening_of(entry), seen.profile_angle_deg, hem_m=entry["inputs"]["hem_m"])
    assert patch.enters is want["sun_enters"]
    assert patch.far_m == pytest.approx(want["far_m"], abs=within)
    if want["near_m"] is None:
        assert patch.near_m is None
    else:
        assert patch.near_m == pytest.approx(want["near_m"], abs=within)


@of_kind("hem_for_depth_limit")
def test_the_hem_bar_for_a_depth_limit_agrees_with_bisection(entry: Entry) -> None:
    want, within = entry["expected"], entry["tolerance"]
    seen = angles(facade_of(entry), sun_of(entry))
    limit = hem_for_depth(
        opening_of(entry), seen.profile_angle_deg, depth_limit_m=entry["inputs"]["depth_limit_m"]
    )
    assert limit.state == want["state"]
    assert limit.hem_m == pytest.approx(want["hem_m"], abs=within["m"])
    assert limit.open_pct == pytest.approx(want["percent_open"], abs=within["percent"])


@of_kind("clear_sky_from_angles")
def test_the_clear_sky_of_a_given_sun(entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    within = {"rel": entry["tolerance"]["relative"], "abs": entry["tolerance"]["absolute_W_m2"]}
    elevation, altitude_m, day = given["apparent_elevation_deg"], given["altitude_m"], given["day_of_year"]
    assert air_mass(elevation) == pytest.approx(want["airmass_relative"], rel=within["rel"])
    assert air_mass(elevation, altitude_m=altitude_m) == pytest.approx(
        want["airmass_absolute"], rel=within["rel"]
    )
    assert extraterrestrial_wpm2(day) == pytest.approx(want["dni_extra"], **within)
    clear = clear_sky(elevation, day_of_year=day, altitude_m=altitude_m, turbidity=given["linke_turbidity"])
    assert clear.ghi_wpm2 == pytest.approx(want["ineichen_ghi"], **within)
    assert clear.dni_wpm2 == pytest.approx(want["ineichen_dni"], **within)
    assert clear.dhi_wpm2 == pytest.approx(want["ineichen_dhi"], **within)


@of_kind("clear_sky_vertical")
def test_the_clear_sky_on_a_wall(entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    within = {"rel": entry["tolerance"]["relative"], "abs": entry["tolerance"]["absolute_W_m2"]}
    place = Place(
        latitude_deg=given["latitude"], longitude_deg=given["longitude"], altitude_m=given["elevation_m"]
    )
    at = datetime.fromisoformat(given["utc"])
    sun = sun_at(place, at)
    clear = clear_sky(
        apparent_elevation_deg(sun.elevation_deg),
        day_of_year=at.timetuple().tm_yday,
        altitude_m=place.altitude_m,
        turbidity=given["linke_turbidity"],
    )
    wall = on_wall(clear, sun=sun, facade=facade_of(entry), albedo=given["albedo"])
    assert clear.ghi_wpm2 == pytest.approx(want["ghi"], **within)
    assert clear.dni_wpm2 == pytest.approx(want["dni"], **within)
    assert clear.dhi_wpm2 == pytest.approx(want["dhi"], **within)
    assert wall.beam_wpm2 == pytest.approx(want["vertical_beam"], **within)
    assert wall.sky_diffuse_wpm2 == pytest.approx(want["vertical_sky_diffuse"], **within)
    assert wall.ground_wpm2 == pytest.approx(want["vertical_ground"], **within)
    assert wall.total_wpm2 == pytest.approx(want["vertical_total"], **within)


@of_kind("vertical_isotropic")
def test_a_given_sky_on_a_wall(entry: Entry) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["absolute_W_m2"]
    sky = Irradiance(ghi_wpm2=given["ghi"], dni_wpm2=given["dni"], dhi_wpm2=given["dhi"])
    wall = on_wall(sky, sun=sun_of(entry), facade=facade_of(entry), albedo=given["albedo"])
    assert wall.beam_wpm2 == pytest.approx(want["beam"], abs=within)
    assert wall.sky_diffuse_wpm2 == pytest.approx(want["sky_diffuse"], abs=within)
    assert wall.ground_wpm2 == pytest.approx(want["ground"], abs=within)
    assert wall.total_wpm2 == pytest.approx(want["total"], abs=within)


@of_kind("erbs_decomposition")
def test_a_measured_irradiance_split_in_two(entry: Entry) -> None:
    given, want = entry["inputs"], entry["expected"]
    within = {"rel": entry["tolerance"]["relative"], "abs": entry["tolerance"]["absolute_W_m2"]}
    sun = {"elevation_deg": given["sun_elevation_deg"], "day_of_year": given["day_of_year"]}
    split = split_measured(given["ghi"], **sun)
    assert split.dni_wpm2 == pytest.approx(want["dni"], **within)
    assert split.dhi_wpm2 == pytest.approx(want["dhi"], **within)
    assert clearness(given["ghi"], **sun) == pytest.approx(want["kt"], rel=within["rel"])


@of_kind("ashrae_clear_sky_published")
def test_the_class_example_of_beam_on_a_tilted_surface(entry: Entry) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]
    sun = sun_of(entry)
    # The example's own clear sky, so that the angles alone are ours.
    exponent = -given["B"] / math.sin(math.radians(sun.elevation_deg))
    direct = given["clearness_number"] * given["A_W_m2"] * math.exp(exponent)
    assert direct == pytest.approx(want["direct_normal_W_m2"], abs=within["W_m2"])
    tilted_deg = incidence_deg(
        sun, surface_azimuth_deg=given["surface_azimuth_deg"], tilt_deg=given["tilt_deg"]
    )
    assert tilted_deg == pytest.approx(want["incidence_deg"], abs=within["deg"])
    beam = direct * math.cos(math.radians(tilted_deg))
    assert beam == pytest.approx(want["direct_on_surface_W_m2"], abs=within["W_m2"])


@of_kind("g_tot")
def test_glass_with_cloth_by_the_simplified_method(entry: Entry) -> None:
    want, within = entry["expected"], entry["tolerance"]["g_tot"]
    both = shaded(*cloth_of(entry))
    assert both.g_tot == pytest.approx(want["g_tot"], abs=within)
    assert both.shading_factor == pytest.approx(want["F_c"], abs=within)
    assert both.in_validity_range is want["in_validity_range"]


@of_kind("g_tot_published")
def test_glass_with_cloth_as_printed_on_a_data_sheet(entry: Entry) -> None:
    both = shaded(*cloth_of(entry))
    assert both.g_tot == pytest.approx(entry["expected"]["g_tot"], abs=entry["tolerance"]["g_tot"])


@of_kind("beaufort")
def test_the_beaufort_table(entry: Entry) -> None:
    force = beaufort(entry["inputs"]["wind_m_s"])
    assert (force.force, force.name) == (entry["expected"]["force"], entry["expected"]["name"])


@of_kind("wind_pressure")
def test_the_pressure_of_the_wind(entry: Entry) -> None:
    assert entry["inputs"]["air_density"] == AIR_KGPM3
    pressure = velocity_pressure_npm2(entry["inputs"]["wind_m_s"])
    assert pressure == pytest.approx(entry["expected"]["q_N_m2"], rel=entry["tolerance"]["relative"])


@of_kind("wind_class")
def test_the_wind_classes_of_fabric_in_side_rails(entry: Entry) -> None:
    assert resistance_class(entry["inputs"]["nominal_pressure_N_m2"]) == entry["expected"]["class"]
