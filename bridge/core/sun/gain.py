"""How much of the sun's heat gets through glass and cloth.

The simplified method of ISO 52022-1 (before it EN 13363-1): one number for normal incidence and
reference conditions. It compares cloths; it does not replace an energy calculation.
"""

from dataclasses import dataclass
from typing import Literal

from bridge.core.errors import RequestError
from bridge.core.sun.checked import within

Mounting = Literal["external", "internal", "integrated"]

# Conductances of the method's air layers, W/(m2 K).
_EXTERNAL_WPM2K, _AIR_GAP_WPM2K, _INTERNAL_WPM2K, _INTEGRATED_WPM2K = 5.0, 10.0, 30.0, 3.0
# The ranges that the standard gives for its method.
_VALID = (("g of the glass", 0.15, 0.85), ("tau", 0.0, 0.5), ("rho", 0.1, 0.8))


@dataclass(frozen=True, slots=True, kw_only=True)
class Glass:
    """A pane, whole.

    Args:
        g: Total solar energy transmittance, above 0, up to 1.
        u_wpm2k: Thermal transmittance, above 0, up to 10.

    Raises:
        RequestError: a value is outside its range.
    """

    g: float
    u_wpm2k: float

    def __post_init__(self) -> None:
        """Refuse what is no pane."""
        within(self.g, where="g of the glass", low=0.01, high=1, unit="",
               remedy="take it from the pane's data sheet; double glazing is about 0.6")  # fmt: skip
        within(self.u_wpm2k, where="U of the glass", low=0.1, high=10, unit="W/(m2 K)",
               remedy="take it from the pane's data sheet; double glazing is about 1.2")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloth:
    """What the cloth does with sunlight; the rest is absorbed.

    Args:
        tau: Solar transmittance, 0 to 1.
        rho: Solar reflectance of the side that faces the sun, 0 to 1.

    Raises:
        RequestError: a value is outside its range, or the two exceed 1 together.
    """

    tau: float
    rho: float

    def __post_init__(self) -> None:
        """Refuse a cloth that makes light."""
        for where, value in (("tau", self.tau), ("rho", self.rho)):
            within(value, where=where, low=0, high=1, unit="",
                   remedy="take it from the cloth's data sheet, as a share of 1")  # fmt: skip
        if self.tau + self.rho > 1.0 + 1e-9:
            raise RequestError(
                where="tau and rho",
                problem=f"{self.tau:g} + {self.rho:g} is more than 1, so the cloth would send out "
                "more than it gets",
                remedy="check both on the cloth's data sheet",
            )

    @property
    def alpha(self) -> float:
        """Share that the cloth absorbs."""
        # Absorbs rounding only: 1 - 0.7 - 0.3 is below zero in binary.
        return max(0.0, 1.0 - self.tau - self.rho)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadedGlass:
    """Glass with the cloth down.

    Args:
        g_tot: Total solar energy transmittance of both.
        shading_factor: g_tot over the g of the glass.
        warnings: What lies outside the method's range, in words; empty inside it.
    """

    g_tot: float
    shading_factor: float
    warnings: tuple[str, ...]

    @property
    def in_validity_range(self) -> bool:
        """The method vouches for this pair."""
        return not self.warnings


def shaded(glass: Glass, cloth: Cloth, mounting: Mounting) -> ShadedGlass:
    """Return the solar transmittance of glass with the cloth down.

    Args:
        glass: The pane.
        cloth: Its solar properties.
        mounting: Outside, inside, or between the panes.

    Source:
        ISO 52022-1:2017, simplified method; same formulas in EN 13363-1.
    """
    by_mounting = {"external": _external, "internal": _internal, "integrated": _integrated}
    g_tot = by_mounting[mounting](glass, cloth)
    values = (glass.g, cloth.tau, cloth.rho)
    warnings = tuple(
        f"{name} {value:g} is outside {low:g} to {high:g}, where the method is valid"
        for (name, low, high), value in zip(_VALID, values, strict=True)
        if not low <= value <= high
    )
    return ShadedGlass(g_tot=g_tot, shading_factor=g_tot / glass.g, warnings=warnings)


def _external(glass: Glass, cloth: Cloth) -> float:
    conductance = 1.0 / (1.0 / glass.u_wpm2k + 1.0 / _EXTERNAL_WPM2K + 1.0 / _AIR_GAP_WPM2K)
    through = cloth.tau * glass.g + cloth.tau * (1.0 - glass.g) * conductance / _EXTERNAL_WPM2K
    return through + cloth.alpha * conductance / _AIR_GAP_WPM2K


def _internal(glass: Glass, cloth: Cloth) -> float:
    conductance = 1.0 / (1.0 / glass.u_wpm2k + 1.0 / _INTERNAL_WPM2K)
    return glass.g * (1.0 - glass.g * cloth.rho - cloth.alpha * conductance / _INTERNAL_WPM2K)


def _integrated(glass: Glass, cloth: Cloth) -> float:
    conductance = 1.0 / (1.0 / glass.u_wpm2k + 1.0 / _INTEGRATED_WPM2K)
    warmed = cloth.alpha + (1.0 - glass.g) * cloth.rho
    return glass.g * cloth.tau + glass.g * warmed * conductance / _INTEGRATED_WPM2K
