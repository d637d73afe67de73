"""What the builder's calculators share: reading ratios and gauges, and naming options in refusals."""

import argparse
from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import wraps
from typing import TypeVar

from bridge.cli.answers import Answer, number, option
from bridge.core.errors import RequestError
from bridge.core.shade.cable import parse_awg
from bridge.core.shade.drive import parse_gear

Value = TypeVar("Value")
Compute = Callable[[argparse.Namespace], Answer]

SUPPLY_CAUTION = (
    "Use a listed limited-power supply with a fuse for each branch, apart from the mains; "
    "local codes and licensed electricians prevail."
)


def cautions_note(cautions: Sequence[str]) -> str:
    """Return the cautions as a note under the table."""
    return "\n  - ".join(["Cautions", *cautions])


def gear_ratio(text: str) -> Fraction:
    """Read a gear ratio for argparse."""
    return _read(parse_gear, text)


def wire_gauge(text: str) -> int:
    """Read a wire gauge for argparse."""
    return _read(parse_awg, text)


def exact_number(text: str) -> Fraction:
    """Read a decimal number exactly for argparse; with an exponent, as near as a float holds it."""
    value = number(text)
    return Fraction(value) if "e" in text.lower() else Fraction(text)


def _read(parse: Callable[[str], Value], text: str) -> Value:
    try:
        return parse(text)
    except RequestError as error:
        raise argparse.ArgumentTypeError(f"{error.problem}; {error.remedy}") from error


def naming_options(compute: Compute) -> Compute:
    """Let a refusal of the core name the option instead of the core's own argument."""

    @wraps(compute)
    def run(args: argparse.Namespace) -> Answer:
        try:
            return compute(args)
        except RequestError as error:
            if error.where not in vars(args):
                raise
            raise RequestError(
                where=option(error.where), problem=error.problem, remedy=error.remedy
            ) from error

    return run


def refuse_beyond(name: str, value: float, *, most: float, least: float, unit: str, why: str) -> None:
    """Refuse an option outside `least..most`, both in `unit`, and say why those are the ends."""
    if not least <= value <= most:
        raise RequestError(
            where=option(name),
            problem=f"{value:g}{unit} is outside {least:g} to {most:g}{unit}",
            remedy=why,
        )
