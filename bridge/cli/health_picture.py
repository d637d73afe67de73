"""The picture of `hembar health`: how far off the estimate was at each reference, shade by shade."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.core.position.health import Health

# Okabe and Ito's palette for the colour-blind: blue and vermilion, told apart by shape as well.
INSIDE, OUTSIDE, INK = "#0072B2", "#D55E00", "#444444"


def draw(path: Path, shades: Mapping[str, Health]) -> None:
    """Draw one panel a shade into an SVG or PNG file.

    Raises:
        RequestError: the ending is neither, matplotlib is missing, or the file can't be written.
    """
    if path.suffix not in (".svg", ".png"):
        raise RequestError(
            where=f"--picture {path}", problem="it ends in neither .svg nor .png", remedy="name it health.svg"
        )
    try:
        import matplotlib as mpl  # noqa: PLC0415
    except ImportError as error:
        raise RequestError(
            where="--picture", problem="matplotlib is missing", remedy="pip install 'hembar[pictures]'"
        ) from error
    mpl.use("Agg")
    from matplotlib import pyplot as plt  # noqa: PLC0415

    height = 1.2 + 1.9 * len(shades)
    figure, panels = plt.subplots(len(shades), 1, figsize=(9, height), sharex=True, squeeze=False)
    for panel, (name, health) in zip(panels[:, 0], shades.items(), strict=True):
        told = [each for each in health.met if each.off_mm is not None]
        for inside, colour, marker, label in (
            (True, INSIDE, "o", "inside what was claimed"),
            (False, OUTSIDE, "X", "outside: an event, or wrong settings"),
        ):
            some = [each for each in told if each.inside is inside]
            panel.scatter(
                [e.utc for e in some], [e.off_mm for e in some], c=colour, marker=marker, label=label
            )
        panel.axhline(0, color=INK, linewidth=0.8)
        panel.set_ylabel("mm lower\nthan reckoned", color=INK)
        panel.set_title(
            f"{name}: {health.grade.value}, known to {health.width_mm:.1f} mm", loc="left", color=INK
        )
        if not told:
            panel.text(0.5, 0.5, "no reference met yet", transform=panel.transAxes, ha="center", color=INK)
    panels[0, 0].legend(loc="best", frameon=False, fontsize="small")
    panels[-1, 0].set_xlabel("time (UTC)", color=INK)
    figure.suptitle("How far off the estimate was at each reference", x=0.01, ha="left", color=INK)
    figure.autofmt_xdate()
    figure.tight_layout()
    try:
        figure.savefig(path, facecolor="white")
    except OSError as error:
        raise RequestError(
            where=f"--picture {path}", problem=str(error.strerror or error), remedy="name a writable place"
        ) from error
    finally:
        plt.close(figure)
