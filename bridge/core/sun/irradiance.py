"""Sunlight in watts: the clear sky, a measured one split in two, and what falls on a wall."""

import math
from dataclasses import dataclass

from bridge.core.sun.checked import within
from bridge.core.sun.sky import SunPosition
from bridge.core.sun.window import Facade, angles

# Linke turbidity: 2 cold clean air, 3 clean warm, 4 to 5 moist or hazy, 6 and more polluted
# (common practice). 3 is an ordinary clear day in a temperate place.
DEFAULT_TURBIDITY = 3.0
# Grass, soil and paving together (common practice); fresh snow is 0.7 to 0.8.
DEFAULT_ALBEDO = 0.2
_SOLAR_CONSTANT_WPM2 = 1366.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Irradiance:
    """What the sky sends.

    Args:
        ghi_wpm2: On level ground, 0 or more.
        dni_wpm2: From the sun's direction alone, square to it.
        dhi_wpm2: From the rest of the sky, on level ground.
    """

    ghi_wpm2: float
    dni_wpm2: float
    dhi_wpm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WallIrradiance:
    """What falls on a wall, in parts.

    Args:
        beam_wpm2: From the sun's direction.
        sky_diffuse_wpm2: From the half of the sky that the wall sees.
        ground_wpm2: Reflected by the ground.
    """

    beam_wpm2: float
    sky_diffuse_wpm2: float
    ground_wpm2: float

    @property
    def total_wpm2(self) -> float:
        """All parts together."""
        return self.beam_wpm2 + self.sky_diffuse_wpm2 + self.ground_wpm2


DARK = Irradiance(ghi_wpm2=0.0, dni_wpm2=0.0, dhi_wpm2=0.0)


def extraterrestrial_wpm2(day_of_year: int) -> float:
    """Return the sunlight above the air, square to it; `day_of_year` is 1 on 1 January.

    Source:
        Spencer, Fourier series representation of the position of the sun, Search 2, 1971.
    """
    b = 2.0 * math.pi * (day_of_year - 1) / 365.0
    series = 1.00011 + 0.034221 * math.cos(b) + 0.00128 * math.sin(b)
    return _SOLAR_CONSTANT_WPM2 * (series + 0.000719 * math.cos(2 * b) + 7.7e-05 * math.sin(2 * b))


def air_mass(apparent_elevation_deg: float, *, altitude_m: float = 0.0) -> float:
    """Return the air the light passes, 1 for a sun overhead at sea level.

    Args:
        apparent_elevation_deg: With refraction, 0 to 90.
        altitude_m: Above sea level, far below 44 km.

    Source:
        Kasten and Young, Applied Optics 28, 1989.
    """
    thickness = 0.50572 * math.pow(6.07995 + apparent_elevation_deg, -1.6364)
    relative = 1.0 / (math.sin(math.radians(apparent_elevation_deg)) + thickness)
    return relative * relative_pressure(altitude_m)


def relative_pressure(altitude_m: float) -> float:
    """Return the standard atmosphere's pressure over that of sea level; altitude far below 44 km."""
    return math.pow((44331.514 - altitude_m) / 11880.516, 1 / 0.1902632) / 1013.25


def clear_sky(
    apparent_elevation_deg: float | None,
    *,
    day_of_year: int,
    altitude_m: float = 0.0,
    turbidity: float = DEFAULT_TURBIDITY,
) -> Irradiance:
    """Return the irradiance of a cloudless sky.

    Args:
        apparent_elevation_deg: With refraction; None or below 0 is night.
        day_of_year: 1 on 1 January.
        altitude_m: Above sea level.
        turbidity: Linke turbidity at air mass 2, 1 to 10.

    Raises:
        RequestError: the turbidity is outside 1 to 10.

    Source:
        Ineichen and Perez, A new airmass independent formulation for the Linke turbidity
        coefficient, Solar Energy 73, 2002, without the later enhancement of the global part.
    """
    within(turbidity, where="turbidity", low=1, high=10, unit="",
           remedy="give the Linke turbidity; 3 is an ordinary clear day")  # fmt: skip
    if apparent_elevation_deg is None or apparent_elevation_deg <= 0:
        return DARK
    sine = math.sin(math.radians(apparent_elevation_deg))
    mass = air_mass(apparent_elevation_deg, altitude_m=altitude_m)
    outside = extraterrestrial_wpm2(day_of_year)
    fh1, fh2 = math.exp(-altitude_m / 8000.0), math.exp(-altitude_m / 1250.0)
    cg1, cg2 = 5.09e-05 * altitude_m + 0.868, 3.92e-05 * altitude_m + 0.0387
    ghi = cg1 * outside * sine * math.exp(-cg2 * mass * (fh1 + fh2 * (turbidity - 1.0)))
    beam = outside * (0.664 + 0.163 / fh1) * math.exp(-0.09 * mass * (turbidity - 1.0))
    diffuse_share = (0.1 - 0.2 * math.exp(-turbidity)) / (0.1 + 0.882 / fh1)
    dni = min(beam, ghi * (1.0 - diffuse_share) / sine)
    return Irradiance(ghi_wpm2=ghi, dni_wpm2=dni, dhi_wpm2=ghi - dni * sine)


def split_measured(ghi_wpm2: float, *, elevation_deg: float, day_of_year: int) -> Irradiance:
    """Return beam and diffuse of a measured global irradiance.

    Below 3 degrees of elevation all of it counts as diffuse. The beam is never stronger than above
    the air: what a bright cloud adds to a reading counts as diffuse too.

    Args:
        ghi_wpm2: Measured on level ground, 0 to 2000.
        elevation_deg: Of the sun's centre.
        day_of_year: 1 on 1 January.

    Raises:
        RequestError: the measured value is negative, absurd or not a number.

    Source:
        Erbs, Klein and Duffie, Solar Energy 28, 1982, equation 1.
    """
    within(ghi_wpm2, where="irradiance", low=0, high=2000, unit="W/m2",
           remedy="check the sensor and its unit")  # fmt: skip
    if elevation_deg < 3.0:
        return Irradiance(ghi_wpm2=ghi_wpm2, dni_wpm2=0.0, dhi_wpm2=ghi_wpm2)
    kt = clearness(ghi_wpm2, elevation_deg=elevation_deg, day_of_year=day_of_year)
    if kt <= 0.22:
        share = 1.0 - 0.09 * kt
    elif kt <= 0.8:
        share = 0.9511 - 0.1604 * kt + 4.388 * kt**2 - 16.638 * kt**3 + 12.336 * kt**4
    else:
        share = 0.165
    sine = math.sin(math.radians(elevation_deg))
    dni = min(ghi_wpm2 * (1.0 - share) / sine, extraterrestrial_wpm2(day_of_year))
    return Irradiance(ghi_wpm2=ghi_wpm2, dni_wpm2=dni, dhi_wpm2=ghi_wpm2 - dni * sine)


def clearness(ghi_wpm2: float, *, elevation_deg: float, day_of_year: int) -> float:
    """Return the clearness index, the share of the light above the air that reaches the ground.

    The sine of the elevation is taken as 0.065 where it is less, so that a low sun does not make
    rubbish of a small reading.
    """
    sine = max(math.sin(math.radians(elevation_deg)), 0.065)
    return ghi_wpm2 / (extraterrestrial_wpm2(day_of_year) * sine)


def possible_albedo(albedo: float) -> float:
    """Return an albedo that is one.

    Raises:
        RequestError: it is outside 0 to 1.
    """
    remedy = "give the share of light the ground reflects; 0.2 is ordinary, fresh snow 0.8"
    return within(albedo, where="albedo", low=0, high=1, unit="", remedy=remedy)


def on_wall(
    sky: Irradiance, *, sun: SunPosition, facade: Facade, albedo: float = DEFAULT_ALBEDO
) -> WallIrradiance:
    """Return what falls on a wall under a uniform sky.

    Args:
        sky: Clear or measured.
        sun: Its centre, without refraction.
        facade: The wall; what hides the sun takes the beam away, the diffuse part stays.
        albedo: Share of light that the ground reflects, 0 to 1.

    Raises:
        RequestError: the albedo is outside 0 to 1.

    Source:
        Liu and Jordan, Solar Energy 7, 1963, for a vertical surface.
    """
    possible_albedo(albedo)
    seen = angles(facade, sun)
    beam = sky.dni_wpm2 * math.cos(math.radians(seen.incidence_deg)) if seen.direct_sun else 0.0
    return WallIrradiance(
        beam_wpm2=beam, sky_diffuse_wpm2=sky.dhi_wpm2 / 2.0, ground_wpm2=sky.ghi_wpm2 * albedo / 2.0
    )
