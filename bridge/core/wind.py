"""Wind in the words and pressures of the trade: Beaufort force, velocity pressure, resistance class."""

from dataclasses import dataclass

from bridge.core.sun.checked import within

# Recommended density of air, EN 1991-1-4, 4.5 (from memory).
AIR_KGPM3 = 1.25

# Lower limits in m/s: WMO No. 306, Manual on Codes, code table 1100.
_BEAUFORT = (
    (0.0, "Calm"),
    (0.3, "Light air"),
    (1.6, "Light breeze"),
    (3.4, "Gentle breeze"),
    (5.5, "Moderate breeze"),
    (8.0, "Fresh breeze"),
    (10.8, "Strong breeze"),
    (13.9, "Near gale"),
    (17.2, "Gale"),
    (20.8, "Strong gale"),
    (24.5, "Storm"),
    (28.5, "Violent storm"),
    (32.7, "Hurricane"),
)
# Lower limits in N/m2 for fabric in side rails: Delegated Regulation (EU) 2019/1188, annex.
_CLASS_FROM_NPM2 = (40.0, 70.0, 110.0)
# Nine digits hide the rounding of a unit conversion and nothing that a sensor could tell.
_DIGITS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class BeaufortForce:
    """A force and its name.

    Args:
        force: 0 to 12.
        name: As the code table calls it.
    """

    force: int
    name: str


def beaufort(wind_mps: float) -> BeaufortForce:
    """Return the Beaufort force of a mean wind.

    Raises:
        RequestError: the wind is negative, above 150 m/s or not a number.
    """
    speed = round(_sane(wind_mps), _DIGITS)
    force = sum(1 for low, _ in _BEAUFORT if speed >= low) - 1
    return BeaufortForce(force=force, name=_BEAUFORT[force][1])


def velocity_pressure_npm2(wind_mps: float) -> float:
    """Return the pressure of stopped wind, half the density times the speed squared.

    Raises:
        RequestError: the wind is negative, above 150 m/s or not a number.
    """
    return AIR_KGPM3 / 2.0 * _sane(wind_mps) ** 2


def resistance_class(pressure_npm2: float) -> int:
    """Return the wind class whose nominal pressure this reaches, 0 to 3, for fabric in side rails.

    Args:
        pressure_npm2: 0 or more; the safety pressure of the standard is 1.2 times the nominal one.
    """
    return sum(1 for low in _CLASS_FROM_NPM2 if round(pressure_npm2, _DIGITS) >= low)


def _sane(wind_mps: float) -> float:
    return within(wind_mps, where="wind", low=0, high=150, unit="m/s",
                  remedy="give a speed of 0 or more, in m/s or km/h")  # fmt: skip
