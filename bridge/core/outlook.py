"""What every face shows of a shade: one function, so that page, command line and broker tree agree."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from math import ceil, floor

from bridge.core import out_of_service
from bridge.core.command.pursue import misfit
from bridge.core.contract import Link
from bridge.core.position.aim import aim
from bridge.core.position.claims import grade_of, width_mm
from bridge.core.position.estimate import Grade
from bridge.core.spec import OneWayLink
from bridge.core.state import House, Purpose, Shade
from bridge.core.values import ShadeId


class Motion(StrEnum):
    """What the hem bar is doing, as far as the bridge knows."""

    STILL = "still"
    RAISING = "raising"
    LOWERING = "lowering"
    REFERENCING = "referencing"


class BoardState(StrEnum):
    """What is heard of the shade's board."""

    UNHEARD = "unheard"
    ASKED = "asked"
    UP = "up"
    LOST = "lost"
    OFF = "off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Alert:
    """What a person must do.

    Attributes:
        id: The cause, one of `ALERTS`; the same as long as it lasts.
        text: What is wrong and what to do.
    """

    id: str
    text: str


# Another bridge, a board out of reach, settings that are not the board's, a request that ended badly, a
# position that is in doubt, sensors without a good reading.
ALERTS = ("charge", "board", "drive", "request", "reference", "sensors")
IN_CHARGE_ELSEWHERE = Alert(
    id="charge", text="another bridge is in charge of this house; stop one of the two"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadeOutlook:
    """One shade as it is shown.

    Attributes:
        id: The shade.
        name: What people call it.
        position_pct: The aim in whole percent open, 0 and 100 only within tolerance of the limit;
            None when unknown.
        target_pct: The last accepted target; None before the first.
        low_pct: The most lowered that the hem bar may be, percent open, one decimal.
        high_pct: The most raised that it may be.
        width_mm: The width of the band at the hem bar.
        low_steps: The hull, in steps from the upper limit.
        high_steps: The hull, in steps from the upper limit.
        grade: How well it is known.
        motion: What it is doing.
        reason: One sentence.
        until: End of a hold, None without one.
        board: What is heard of its board.
        alerts: What a person must do, one for each cause.
        in_service: The bridge may order it.
    """

    id: ShadeId
    name: str
    position_pct: int | None
    target_pct: int | None
    low_pct: float
    high_pct: float
    width_mm: float
    low_steps: int
    high_steps: int
    grade: Grade
    motion: Motion
    reason: str
    until: datetime | None
    board: BoardState
    alerts: tuple[Alert, ...]
    in_service: bool = True


def shade_outlook(house: House, shade: Shade) -> ShadeOutlook:
    """Return what the faces show of `shade`."""
    spec, hull = shade.spec, shade.knowledge.hull
    grade = _grade(shade)
    held = shade.hold_until is not None and shade.hold_until > house.now.utc
    board = _board_state(house, shade)
    return ShadeOutlook(
        id=spec.id,
        name=spec.name,
        position_pct=None if grade is Grade.UNKNOWN else _position_pct(shade, house.now.mono_s),
        target_pct=shade.target_pct,
        low_pct=floor(10 * spec.travel.percent_at_steps(hull.high)) / 10,
        high_pct=ceil(10 * spec.travel.percent_at_steps(hull.low)) / 10,
        width_mm=ceil(10 * width_mm(spec, hull)) / 10,
        low_steps=hull.low,
        high_steps=hull.high,
        grade=grade,
        motion=_motion(shade),
        reason=shade.reason if spec.in_service else out_of_service.WHY,
        until=shade.hold_until if held else None,
        board=board,
        in_service=spec.in_service,
        alerts=tuple(_alerts(house, shade, grade, board)),
    )


def _grade(shade: Shade) -> Grade:
    """Return the grade; without a break in hearing only is a one-way board as good as one that reports."""
    grade = grade_of(shade.spec, shade.knowledge.hull, hearsay=shade.knowledge.hearsay)
    unwatched = isinstance(shade.spec.link, OneWayLink) and not shade.reckoning.watched
    return Grade.RECKONED if grade is Grade.REFERENCED and unwatched else grade


def _position_pct(shade: Shade, now_s: float) -> int:
    """Return whole percent open at the aim; 0 and 100 are kept for within tolerance of the limits."""
    spec, at = shade.spec, aim(shade, now_s=now_s).middle
    pct = round(spec.travel.percent_at_steps(min(at, spec.travel.end_steps)))
    drop = spec.travel.drop_at_steps(min(at, spec.travel.end_steps))
    if drop <= spec.tolerance_mm:
        return 100
    if drop >= spec.travel.roll.drop_mm - spec.tolerance_mm:
        return 0
    return min(max(pct, 1), 99)


def _motion(shade: Shade) -> Motion:
    if isinstance(shade.spec.link, OneWayLink):
        return _motion_one_way(shade)
    report, pending = shade.channel.report, shade.outstanding
    if pending is not None and pending.purpose is Purpose.REFERENCE and (report is None or report.moving):
        return Motion.REFERENCING
    if report is None or not report.moving:
        return Motion.STILL
    if report.to is None or report.count is None:
        return Motion.RAISING if shade.request is not None and shade.request.goal == 0 else Motion.LOWERING
    return Motion.RAISING if report.to <= report.count else Motion.LOWERING


def _motion_one_way(shade: Shade) -> Motion:
    run = shade.reckoning.run
    if run is None or shade.reckoning.alive is False:
        return Motion.STILL
    return Motion.RAISING if run.to <= run.guess else Motion.LOWERING


def _board_state(house: House, shade: Shade) -> BoardState:
    if isinstance(shade.spec.link, OneWayLink):
        lost = shade.reckoning.alive is False
        return BoardState.LOST if lost else BoardState.UP if house.broker_up else BoardState.ASKED
    board = house.boards.get(shade.spec.contract.board)
    if board is not None and board.link is Link.LOST:
        return BoardState.LOST
    if board is not None and board.link is Link.OFF:
        return BoardState.OFF
    if shade.channel.answered:
        return BoardState.UP
    return BoardState.UNHEARD if shade.channel.asked_seq is None else BoardState.ASKED


def _alerts(house: House, shade: Shade, grade: Grade, board: BoardState) -> Iterator[Alert]:
    if house.stood_down:
        yield IN_CHARGE_ELSEWHERE
    if board in (BoardState.LOST, BoardState.OFF):
        yield Alert(id="board", text=_unreachable(shade, board))
    wrong = misfit(shade)
    if wrong:
        yield Alert(id="drive", text=wrong)
    if shade.trouble:
        yield Alert(id="request", text=shade.trouble)
    if grade in (Grade.DOUBTFUL, Grade.UNKNOWN) and _settled(shade):
        width = width_mm(shade.spec, shade.knowledge.hull)
        yield Alert(id="reference", text=f"its position is known only to {width:.0f} mm; take a reference")


def _unreachable(shade: Shade, board: BoardState) -> str:
    link = shade.spec.link
    name = "its board" if isinstance(link, OneWayLink) else f"board {link.board}"
    if board is BoardState.OFF:
        return f"{name} has been switched off; switch it on again when the work on it is done"
    return f"{name} can't be reached; check its power and network"


def _settled(shade: Shade) -> bool:
    if isinstance(shade.spec.link, OneWayLink):
        return shade.reckoning.run is None and shade.reckoning.vouched_s is None
    return shade.channel.answered and shade.outstanding is None
