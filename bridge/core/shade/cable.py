"""Copper cable by American wire gauge: resistance, and the voltage it takes.

Source for the whole module: ASTM B258, diameter 0.127 mm * 92^((36 - n)/39), with the resistivity of
annealed copper at 20 C, 1.7241e-8 ohm m (IEC 60028). Within 0.3 % of printed wire tables for solid wire.
Warm cable has 0.4 % more per kelvin; stranded wire 2 to 3 % more, copper-clad aluminium about half as
much again (these two from memory).
"""

import math
import re

from bridge.core.errors import RequestError
from bridge.core.shade.bounds import checked

_RESISTIVITY_OHM_M = 1.7241e-8
_THICKEST, _THINNEST = -3, 40


def parse_awg(text: str) -> int:
    """Return the gauge number from `18`, or from `00`, `000`, `0000` the numbers -1, -2, -3.

    Raises:
        RequestError: anything else, or outside 0000 to 40.
    """
    if re.fullmatch("0{2,4}", text):
        return 1 - len(text)
    if re.fullmatch("[0-9]{1,2}", text) and int(text) <= _THINNEST:
        return int(text)
    raise RequestError(
        where="awg",
        problem=f"{text[:40]!r} is not a wire gauge from 0000 to {_THINNEST}",
        remedy="give a whole number such as 18; the smaller, the thicker",
    )


def ohm_per_km(awg: int) -> float:
    """Return the resistance of one conductor of gauge `awg` (-3 for 0000, up to 40) in ohm/km at 20 C."""
    if not _THICKEST <= awg <= _THINNEST:
        raise RequestError(
            where="awg",
            problem=f"{awg} is not a wire gauge from {_THICKEST} to {_THINNEST}",
            remedy="give a whole number such as 18; the smaller, the thicker",
        )
    diameter_m = 0.127e-3 * math.pow(92, (36 - awg) / 39)
    return 1000 * _RESISTIVITY_OHM_M / (math.pi * diameter_m * diameter_m / 4)


def loop_ohm(awg: int, *, length_m: float, parallel: int = 1) -> float:
    """Return the resistance there and back of a cable.

    Args:
        awg: Wire gauge, as in `ohm_per_km`.
        length_m: Length one way, > 0.
        parallel: Conductors side by side each way, >= 1.

    Raises:
        RequestError: an argument out of its range.
    """
    checked("length_m", length_m, above=0, unit="m")
    checked("parallel", parallel, least=1)
    return 2 * length_m / 1000 * ohm_per_km(awg) / parallel


def drop_v(awg: int, *, length_m: float, amps: float, parallel: int = 1) -> float:
    """Return the volts that a cable takes at `amps` (> 0); arguments and errors as in `loop_ohm`."""
    checked("amps", amps, above=0, unit="A")
    return amps * loop_ohm(awg, length_m=length_m, parallel=parallel)
