"""What the pictures share: colours for the colour-blind, how they open and how they are saved."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from bridge.core.errors import RequestError

# Okabe and Ito, Color Universal Design, 2008; dashes and hatches say the same again.
BLUE, VERMILION, ORANGE, SKY, GREEN = "#0072B2", "#D55E00", "#E69F00", "#56B4E9", "#009E73"
INK, PALE, PAPER = "#333333", "#DDDDDD", "#FFFFFF"


def plotting(path: Path) -> Any:
    """Return matplotlib's pyplot for a picture that will be saved to `path`.

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
            "text.color": INK,
            "axes.labelcolor": INK,
            "axes.edgecolor": INK,
            "xtick.color": INK,
            "ytick.color": INK,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "figure.facecolor": PAPER,
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
        figure.savefig(path, facecolor=PAPER, dpi=120)
    except OSError as error:
        raise RequestError(
            where=f"--picture {path}", problem=str(error.strerror or error), remedy="name a writable place"
        ) from error
    finally:
        plt.close(figure)
