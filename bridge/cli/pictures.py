"""What the pictures share: colours for the colour-blind, how they open and how they are saved."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bridge.core.errors import RequestError

# Okabe and Ito, Color Universal Design, 2008; dashes and hatches say the same again.
VERMILION, ORANGE, SKY, GREEN = "#D55E00", "#E69F00", "#56B4E9", "#009E73"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shades:
    """What differs between a light picture and a dark one.

    Attributes:
        ink: Words, axes, what really happened.
        pale: Ground and hatched areas.
        paper: Behind it all.
        blue: The most important line.
        night: Where the sun is down.
        dull: Where nothing is to be seen.
    """

    ink: str
    pale: str
    paper: str
    blue: str
    night: str
    dull: str


LIGHT = Shades(
    ink="#333333", pale="#DDDDDD", paper="#FFFFFF", blue="#0072B2", night="#8C8C8C", dull="#F2F2F2"
)
# Their blue is too dim on a dark ground: a lighter one of the same hue.
DARK = Shades(ink="#E6E6E6", pale="#4A4F55", paper="#16191C", blue="#4DA3E0", night="#0A0C0E", dull="#2A2E32")


def add_picture(parser: argparse.ArgumentParser, *, required: bool = False) -> None:
    """Add `--picture` and `--dark`."""
    parser.add_argument(
        "--picture", metavar="FILE", type=Path, required=required, help="draw it (.svg or .png)"
    )
    parser.add_argument("--dark", action="store_true", help="draw on a dark ground")


def plotting(path: Path, shades: Shades) -> Any:
    """Return matplotlib's pyplot for a picture in these shades that will be saved to `path`.

    Raises:
        RequestError: the ending is neither .svg nor .png, or matplotlib is missing.
    """
    if path.suffix not in (".svg", ".png"):
        raise RequestError(
            where=f"--picture {path}", problem="it ends in neither .svg nor .png", remedy="name it day.svg"
        )
    try:
        import matplotlib as mpl  # noqa: PLC0415  a quarter of a second
    except ImportError as error:
        raise RequestError(
            where="--picture", problem="matplotlib is missing", remedy="pip install 'hembar[pictures]'"
        ) from error
    mpl.use("Agg")
    mpl.rcParams.update(
        {
            "text.color": shades.ink,
            "axes.labelcolor": shades.ink,
            "axes.edgecolor": shades.ink,
            "axes.facecolor": shades.paper,
            "axes.titlecolor": shades.ink,
            "xtick.color": shades.ink,
            "ytick.color": shades.ink,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "figure.facecolor": shades.paper,
        }
    )
    from matplotlib import pyplot as plt  # noqa: PLC0415

    return plt


def save(plt: Any, figure: Any, path: Path) -> None:
    """Write the picture and forget it.

    Raises:
        RequestError: the file can't be written.
    """
    try:
        figure.savefig(path, dpi=120)
    except OSError as error:
        raise RequestError(
            where=f"--picture {path}", problem=str(error.strerror or error), remedy="name a writable place"
        ) from error
    finally:
        plt.close(figure)
