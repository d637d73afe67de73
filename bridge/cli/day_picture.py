"""The picture of `hembar day`: for each shade the sun on the window, its depth, and the hem bar."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, tzinfo
from math import nan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.pictures import GREEN, LIGHT, ORANGE, VERMILION, Shades, plotting, save
from bridge.core.rules.sun_depth import Params as SunDepth

if TYPE_CHECKING:
    from bridge.core.plan.day import ShadeDay
    from bridge.core.plan.series import Floats
    from bridge.shell.daybook import Happened

# A name, the day, what happened, and when the plan was written down.
Shown = tuple[str, "ShadeDay", Sequence["Happened"], datetime | None]
# Deeper is drawn off the panel: a low sun reaches any depth.
DEEPEST_M = 6.0
# Of the panels, in relation to each other.
HEIGHTS, WIND_HEIGHT = (1.0, 1.3, 1.6), 0.7
# Weaker direct sun on the glass disturbs nobody; as the rule for its depth has it by default.
WEAK_WPM2 = SunDepth().from_wpm2


def draw(path: Path, shown: Sequence[Shown], *, day: date, zone: tzinfo, shades: Shades = LIGHT) -> None:
    """Draw three panels a shade, and one of the wind where it was measured, into an SVG or PNG file.

    Raises:
        RequestError: the ending is neither, matplotlib is missing, or the file can't be written.
    """
    plt = plotting(path, shades)
    from matplotlib import dates as mpl_dates  # noqa: PLC0415

    dates: Any = mpl_dates
    clock: list[datetime] = []
    windy = any(each.gust_mps is not None for _, _, real, _ in shown for each in real)
    heights = [*HEIGHTS, *((WIND_HEIGHT,) if windy else ())]
    figure, grid = plt.subplots(
        len(heights) * len(shown), 1, figsize=(11, 1.0 + 1.6 * sum(heights) * len(shown)), sharex=True,
        squeeze=False, gridspec_kw={"height_ratios": heights * len(shown)},
    )  # fmt: skip
    panels = grid[:, 0]
    for number, (name, each, real, since) in enumerate(shown):
        clock = [datetime.fromtimestamp(at, tz=UTC) for at in each.seen.sun.utc_s.tolist()]
        mine = panels[len(heights) * number :][: len(heights)]
        sun, depth, place = mine[:3]
        _sun(sun, each, clock, shades)
        sun.set_title(f"{name}: sun on the window, W/m²", loc="left", fontweight="bold")
        _depth(depth, each, clock, shades, since=since)
        _place(place, each, clock, shades, since=since)
        _real(place, real, shades)
        if windy:
            _wind(mine[3], real)
        for panel in mine[:3]:
            panel.legend(loc="upper left", bbox_to_anchor=(1.02, 1.0), frameon=False, fontsize="small")
    last = panels[-1]
    last.xaxis.set_major_locator(dates.HourLocator(byhour=range(0, 24, 3), tz=zone))
    last.xaxis.set_major_formatter(dates.DateFormatter("%H:%M", tz=zone))
    last.set_xlim(clock[0], clock[-1])
    last.set_xlabel(f"clock of the house ({zone})")
    figure.suptitle(f"{day:%A %d %B %Y}, cloudless sky", x=0.01, ha="left")
    figure.tight_layout(rect=(0, 0, 1, 0.98))
    save(plt, figure, path)


def _sun(panel: Any, day: ShadeDay, clock: Sequence[datetime], shades: Shades) -> None:
    panel.fill_between(clock, day.seen.on_glass_wpm2, color=shades.pale, linewidth=0, label="all light")
    panel.fill_between(clock, day.seen.beam_wpm2, color=ORANGE, linewidth=0, label="of it direct sun")
    panel.set_ylim(bottom=0)


def _depth(
    panel: Any, day: ShadeDay, clock: Sequence[datetime], shades: Shades, *, since: datetime | None
) -> None:
    panel.set_title("How deep the sun reaches into the room, m", loc="left")
    up_m = [each or nan for each in day.far_up_m.tolist()]
    panel.plot(clock, up_m, color=ORANGE, linestyle="--", linewidth=2, label="with the shade up")
    strong, far_m = day.seen.beam_wpm2 >= WEAK_WPM2, _known(day.far_m, clock, since)
    panel.fill_between(
        clock, far_m, where=strong, color=shades.blue, alpha=0.55, linewidth=0, label="with the plan"
    )
    weak = ~strong & [each > 0 for each in far_m]
    if weak.any():
        panel.fill_between(
            clock, far_m, where=weak, facecolor=shades.pale, edgecolor=shades.ink, hatch="...", linewidth=0,
            label=f"with the plan, sun\nbelow {WEAK_WPM2:g} W/m²:\nit disturbs nobody",
        )  # fmt: skip
    if day.limit_m is not None:
        panel.axhline(day.limit_m, color=VERMILION, linewidth=1.5, linestyle=":", label="your limit")
    panel.set_ylim(0, min(DEEPEST_M, max(1.6 * (day.limit_m or 1.0), float(day.far_up_m.max()) * 1.1)))


def _known(values: Floats, clock: Sequence[datetime], since: datetime | None) -> list[float]:
    """Return the values with nothing before the plan was written down."""
    return [
        each if since is None or at >= since else nan for at, each in zip(clock, values.tolist(), strict=True)
    ]


def _place(
    panel: Any, day: ShadeDay, clock: Sequence[datetime], shades: Shades, *, since: datetime | None
) -> None:
    panel.set_title("How far open, %", loc="left")
    low, high = day.asked.low_pct, day.asked.high_pct
    panel.fill_between(
        clock, high, 100, step="post", facecolor=shades.pale, edgecolor=shades.paper, hatch="///",
        linewidth=0, label="a rule forbids",
    )  # fmt: skip
    panel.fill_between(
        clock, 0, low, step="post", facecolor=shades.pale, edgecolor=shades.paper, hatch="///", linewidth=0
    )
    if since is None:
        look = "the rules followed\nlook by look"
        panel.step(clock, day.followed, where="post", color=ORANGE, linewidth=1.2, label=look)
    known = _known(day.planned, clock, since)
    planned = "planned" if since is None else "planned, as it stood\nat each moment"
    panel.step(clock, known, where="post", color=shades.blue, linewidth=2.4, label=planned)
    panel.set_ylim(-3, 103)
    panel.set_yticks([0, 25, 50, 75, 100])


def _real(panel: Any, real: Sequence[Happened], shades: Shades) -> None:
    if not real:
        return
    at = [each.utc for each in real]
    places = [nan if each.open_pct is None else each.open_pct for each in real]
    hung = {"color": shades.ink, "linewidth": 1.8, "linestyle": "--", "label": "where it really hung"}
    panel.step(at, places, where="post", **hung)
    held = [-3 if each.held else nan for each in real]
    if any(each.held for each in real):
        panel.step(at, held, where="post", color=GREEN, linewidth=6, label="held by a person")


def _wind(panel: Any, real: Sequence[Happened]) -> None:
    panel.set_title("Gusts, m/s", loc="left")
    gusts = [nan if each.gust_mps is None else each.gust_mps for each in real]
    panel.plot([each.utc for each in real], gusts, color=VERMILION, linewidth=1.4)
    panel.set_ylim(bottom=0)
