"""The picture of `hembar size`: torque asked and given along the travel, and where the cloth is held."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.pictures import GREEN, LIGHT, ORANGE, VERMILION, Shades, plotting, save
from bridge.core.shade.holding import held_percents
from bridge.core.shade.motor import USUAL_MARGIN
from bridge.core.shade.sizing import along_travel

if TYPE_CHECKING:
    from bridge.core.shade.sizing import Place, Setup


def draw(path: Path, setup: Setup, *, name: str, shades: Shades = LIGHT) -> None:
    """Draw lifting above and resting below into an SVG or PNG file.

    Raises:
        RequestError: the ending is neither, matplotlib is missing, or the file can't be written.
    """
    plt = plotting(path, shades)
    places = along_travel(setup)
    figure, (lift, rest) = plt.subplots(
        2, 1, figsize=(9.5, 7.5), sharex=True, gridspec_kw={"height_ratios": [1.5, 1.0]}
    )
    _lifting(lift, setup, places, shades)
    _resting(rest, setup, places, shades)
    rest.set_xlabel("hem bar below the upper limit, mm")
    rest.set_xlim(0, setup.travel.roll.drop_mm)
    figure.suptitle(f"{name}: {setup.result.verdict}", x=0.01, ha="left", fontweight="bold", color=shades.ink)
    figure.tight_layout(rect=(0, 0, 1, 0.98))
    save(plt, figure, path)


def _lifting(panel: Any, setup: Setup, places: list[Place], shades: Shades) -> None:
    at = [each.drop_mm for each in places]
    needed = [each.needed_nm for each in places]
    title = f"Lifting at {setup.top_pps:g} steps/s: torque at the motor, N m"
    panel.set_title(title, loc="left", color=shades.ink)
    panel.plot(
        at, [each.available_nm for each in places], color=shades.blue, linewidth=2.4, label="the motor gives"
    )
    panel.plot(at, needed, color=VERMILION, linewidth=2.4, label="lifting asks")
    panel.plot(
        at, [USUAL_MARGIN * each for each in needed], color=VERMILION, linewidth=1.6, linestyle="--",
        label=f"{USUAL_MARGIN:g} times that:\ncommon practice",
    )  # fmt: skip
    _finish(panel, shades)


def _resting(panel: Any, setup: Setup, places: list[Place], shades: Shades) -> None:
    at = [each.drop_mm for each in places]
    panel.set_title("At rest without current: torque at the motor, N m", loc="left", color=shades.ink)
    for number, (low, high) in enumerate(
        held_percents(setup.lifting, detent_torque_nm=setup.motor.detent_torque_nm)
    ):
        drops = [setup.travel.roll.drop_at_percent(percent) for percent in (high, low)]
        label = "here it may sleep" if number == 0 else None
        panel.axvspan(
            *drops, facecolor=shades.pale, edgecolor=shades.paper, hatch="///", linewidth=0, label=label
        )
    panel.plot(at, [each.weight_nm for each in places], color=ORANGE, linewidth=2.4, label="the cloth pulls")
    detent = setup.motor.detent_torque_nm
    panel.axhline(detent, color=GREEN, linewidth=1.8, linestyle="-.", label="the motor holds")
    panel.axhline(
        detent / USUAL_MARGIN, color=GREEN, linewidth=1.8, linestyle=":",
        label=f"1/{USUAL_MARGIN:g} of that: the\nbound for sleep",
    )  # fmt: skip
    _finish(panel, shades)


def _finish(panel: Any, shades: Shades) -> None:
    panel.set_ylim(bottom=0)
    panel.grid(axis="y", color=shades.pale, linewidth=0.6)
    panel.set_axisbelow(True)
    panel.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, fontsize="small")
