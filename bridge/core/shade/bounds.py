"""The check that every number of the mechanics passes: finite and within its range."""

import math

from bridge.core.errors import RequestError

# Far past anything that can be built, and small enough that no formula here overflows.
LARGEST = 1e12


def checked(
    where: str, value: float, *, above: float = -math.inf, least: float = -math.inf, unit: str = ""
) -> float:
    """Return `value` if it is finite, at most `LARGEST` in size, greater than `above` and at least `least`.

    Raises:
        RequestError: it is not; the message shows the value and the bound.
    """
    unit = f" {unit}" if unit else ""
    if not math.isfinite(value):
        raise RequestError(
            where=where, problem=f"{value} is not a finite number", remedy="give a plain number"
        )
    if abs(value) > LARGEST:
        raise RequestError(
            where=where,
            problem=f"{value:g}{unit} is beyond anything that can be built",
            remedy=f"give at most {LARGEST:g}{unit}",
        )
    if value <= above:
        raise RequestError(
            where=where,
            problem=f"{value:g}{unit} is not greater than {above:g}",
            remedy=f"give more than {above:g}{unit}",
        )
    if value < least:
        raise RequestError(
            where=where,
            problem=f"{value:g}{unit} is less than {least:g}",
            remedy=f"give {least:g}{unit} or more",
        )
    return value
