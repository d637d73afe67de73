"""The picture of `hembar health`: how far off the estimate was at each reference, shade by shade."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.cli.pictures import LIGHT, VERMILION, Shades, plotting, save

if TYPE_CHECKING:
    from bridge.core.position.health import Health


LEAST_EDGE = timedelta(hours=6)


def draw(path: Path, shades: Mapping[str, Health], *, colours: Shades = LIGHT) -> None:
    """Draw one panel a shade into an SVG or PNG file.

    Raises:
        RequestError: the ending is neither, matplotlib is missing, or the file can't be written.
    """
    plt = plotting(path, colours)
    height = 1.2 + 1.9 * len(shades)
    figure, panels = plt.subplots(len(shades), 1, figsize=(9, height), sharex=True, squeeze=False)
    for panel, (name, health) in zip(panels[:, 0], shades.items(), strict=True):
        told = [each for each in health.met if each.off_mm is not None]
        for inside, colour, marker, label in (
            (True, colours.blue, "o", "inside what was claimed"),
            (False, VERMILION, "X", "outside: an event, or wrong settings"),
        ):
            some = [each for each in told if each.inside is inside]
            panel.scatter(
                [e.utc for e in some], [e.off_mm for e in some], c=colour, marker=marker, label=label
            )
        if told:
            panel.axhline(0, color=colours.ink, linewidth=0.8)
            panel.set_ylabel("mm lower\nthan reckoned")
        panel.set_title(f"{name}: {health.grade.value}, known to {health.width_mm:.1f} mm", loc="left")
        if not told:
            panel.set_yticks([])
            what = "no reference since it was first found" if health.met else "no reference met yet"
            panel.text(0.5, 0.5, what, transform=panel.transAxes, ha="center", va="center")
    times = [each.utc for health in shades.values() for each in health.met]
    if times:
        # One reference alone, or several of one minute, would have an axis of years.
        edge = max(LEAST_EDGE, (max(times) - min(times)) / 20)
        panels[-1, 0].set_xlim(min(times) - edge, max(times) + edge)
    else:
        panels[-1, 0].set_xticks([])
    marks, labels = panels[0, 0].get_legend_handles_labels()
    figure.legend(marks, labels, loc="upper right", ncols=2, frameon=False, fontsize="small")
    panels[-1, 0].set_xlabel("time (UTC)")
    figure.suptitle("How far off the estimate was at each reference", x=0.01, ha="left")
    figure.autofmt_xdate()
    figure.tight_layout(rect=(0, 0, 1, 0.97))
    save(plt, figure, path)
