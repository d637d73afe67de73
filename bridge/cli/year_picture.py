"""The picture of `hembar year`: each strategy a row of bars, and the view month by month."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.pictures import GREEN, LIGHT, ORANGE, SKY, VERMILION, Shades, plotting, save

if TYPE_CHECKING:
    from bridge.simulate.weather_year import ShadeYear

PANELS = (
    ("Moves", "a year", "moves", ""),
    ("View out", "hours: more is better", "view_h", GREEN),
    ("Sun too deep", "hours: less is better", "deep_h", VERMILION),
    ("Heat in cooling months", "kWh/m² of glass: less is better", "cooling_kwhpm2", ORANGE),
    ("Heat in heating months", "kWh/m² of glass: more is better", "heating_kwhpm2", SKY),
)


def draw(path: Path, shades: Mapping[str, ShadeYear], *, place: str, colours: Shades = LIGHT) -> None:
    """Draw one row of panels a shade into an SVG or PNG file.

    Raises:
        RequestError: the ending is neither, matplotlib is missing, or the file can't be written.
    """
    plt = plotting(path, colours)
    high_in = 0.5 + 2.6 * len(shades)
    size = (15, high_in)
    # One scale for all shades, so that they can be held against each other.
    most = [_most(shades.values(), field) for _, _, field, _ in PANELS]
    figure, rows = plt.subplots(len(shades), len(PANELS), figsize=size, squeeze=False)
    for panels, (name, year) in zip(rows, shades.items(), strict=True):
        for column, panel in enumerate(panels):
            _bars(panel, year, column, colours, first=name if column == 0 else "")
            # Where nothing is, zero still stands at the edge.
            panel.set_xlim(0, 1.25 * max(most[column], 1.0))
    title = f"A weather year of {place}: the rules beside habits without rules"
    figure.suptitle(title, x=0.01, y=1 - 0.1 / high_in, ha="left", va="top")
    figure.tight_layout(rect=(0, 0, 1, 1 - 0.3 / high_in))
    save(plt, figure, path)


def _most(years: Iterable[ShadeYear], field: str) -> float:
    return max(float(getattr(figures, field)) for year in years for figures in year.rows.values())


def _bars(panel: Any, year: ShadeYear, column: int, colours: Shades, *, first: str) -> None:
    title, what, field, colour = PANELS[column]
    names = list(year.rows)
    values = [float(getattr(figures, field)) for figures in year.rows.values()]
    at = list(range(len(names)))
    strong = colour or colours.blue
    panel.barh(at, values, color=[strong if name.startswith("rules") else colours.pale for name in names])
    panel.invert_yaxis()
    panel.set_yticks(at, labels=names if column == 0 else [""] * len(names))
    panel.tick_params(axis="y", length=0)
    panel.set_xticks([])
    panel.spines["bottom"].set_visible(False)
    for place, value in zip(at, values, strict=True):
        panel.text(value, place, f" {value:.0f}", va="center")
    panel.set_title(f"{first}\n{title}" if first else title, loc="left", fontweight="bold")
    panel.set_xlabel(what, loc="left")
