"""From the house to the API's words. Reads no clock and keeps nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from math import isinf
from typing import Literal

from bridge import __version__
from bridge.adapters.page import words
from bridge.core.events import Approach, Place
from bridge.core.outlook import Alert, BoardState, Motion, ShadeOutlook, shade_outlook
from bridge.core.overview import bridge_outlook, group_outlook
from bridge.core.plan.foreseen import NextMove
from bridge.core.plan.resuming import after_hold
from bridge.core.position.aim import aim
from bridge.core.position.claims import grade_of
from bridge.core.position.estimate import Grade
from bridge.core.position.health import health_of
from bridge.core.spec import GroupSpec, OneWayLink, ShadeSpec
from bridge.core.state import House, Shade
from bridge.core.sun.sky import SunPosition, sun_at
from bridge.core.sun.window import angles, sun_patch
from bridge.core.values import Moment, ShadeId

# A sun on the horizon reaches any depth.
FARTHEST_M = 20.0
IN_DOUBT = (Grade.DOUBTFUL, Grade.UNKNOWN)


def bridge_said(house: House) -> words.BridgeSaid:
    """Return what holds for the whole house."""
    outlook = bridge_outlook(house)
    return words.BridgeSaid(
        name=house.spec.name,
        version=__version__,
        timezone="UTC" if house.spec.site is None else house.spec.site.timezone,
        paused=outlook.paused,
        locked=outlook.locked,
        in_charge=outlook.in_charge,
        broker_up=house.broker_up,
        alerts=_alerts(outlook.alerts),
    )


def group_said(house: House, group: GroupSpec) -> words.GroupSaid:
    """Return one group."""
    members = [shade_outlook(house, house.shades[each]) for each in group.members]
    said = group_outlook(house, group, members)
    return words.GroupSaid(
        id=said.id,
        name=said.name,
        members=list(said.members),
        open_pct=said.position_pct,
        target_pct=said.target_pct,
        motion=None if said.motion is None else said.motion.value,
        why=said.reason,
        board=said.board.value,
    )


def sun_of(house: House, at: Moment) -> SunPosition | None:
    """Return where the sun is; None where the house's place is not known."""
    return None if house.spec.site is None else sun_at(house.spec.site.place, at.utc)


def sun_said(sun: SunPosition | None) -> words.SunSaid | None:
    """Return the sun in words."""
    if sun is None:
        return None
    return words.SunSaid(azimuth_deg=round(sun.azimuth_deg, 2), elevation_deg=round(sun.elevation_deg, 2))


def shade_said(
    house: House,
    shade: Shade,
    at: Moment,
    sun: SunPosition | None,
    *,
    cloth_width_mm: float | None = None,
) -> words.ShadeSaid:
    """Return one shade."""
    spec, outlook = shade.spec, shade_outlook(house, shade)
    return words.ShadeSaid(
        id=outlook.id,
        name=outlook.name,
        open_pct=outlook.position_pct,
        target_pct=outlook.target_pct,
        low_pct=outlook.low_pct,
        high_pct=outlook.high_pct,
        width_mm=outlook.width_mm,
        grade=outlook.grade.value,
        motion=outlook.motion.value,
        why=outlook.reason,
        hold_until=outlook.until,
        board=outlook.board.value,
        board_id=_board_id(spec),
        alerts=_alerts(outlook.alerts),
        in_service=outlook.in_service,
        mounting=spec.mounting.value,
        drop_mm=round(spec.travel.roll.drop_mm, 1),
        cloth_width_mm=cloth_width_mm,
        window=_window(spec),
        sun=patch_said(shade, at, sun),
        next=_next(house, shade, outlook, at),
        reference=_reference(shade, outlook, at),
        last_reference=_last_reference(shade),
        asked=_asked(shade),
    )


def patch_said(shade: Shade, at: Moment, sun: SunPosition | None) -> words.PatchSaid | None:
    """Return the sunlit strip behind a shade, the largest possible one where its position is unknown.

    None where window or place are not known.
    """
    window, travel = shade.spec.window, shade.spec.travel
    if window is None or sun is None:
        return None
    seen = angles(window.facade, sun)
    where, known = aim(shade, now_s=at.mono_s), shade.knowledge
    unknown = grade_of(shade.spec, known.hull, hearsay=known.hearsay) is Grade.UNKNOWN
    steps = min(max(where.low, 0) if unknown else where.middle, travel.end_steps)
    hem_m = max(window.upper_m - travel.drop_at_steps(steps) / 1000, 0.0)
    patch = sun_patch(window.opening, seen.profile_angle_deg, hem_m=hem_m)
    return words.PatchSaid(
        lit=seen.direct_sun,
        enters=patch.enters,
        near_m=None if patch.near_m is None else round(min(patch.near_m, FARTHEST_M), 2),
        far_m=round(min(patch.far_m, FARTHEST_M), 2),
    )


def _board_id(spec: ShadeSpec) -> str | None:
    return None if isinstance(spec.link, OneWayLink) else spec.link.board


def _alerts(alerts: tuple[Alert, ...]) -> list[words.AlertSaid]:
    return [words.AlertSaid(id=each.id, text=each.text) for each in alerts]


def _window(spec: ShadeSpec) -> words.WindowSaid | None:
    window = spec.window
    if window is None:
        return None
    return words.WindowSaid(
        facade_azimuth_deg=window.facade.azimuth_deg,
        sill_m=window.opening.sill_m,
        head_m=window.opening.head_m,
        upper_m=window.upper_m,
        plane_m=window.opening.plane_m,
    )


def _next(house: House, shade: Shade, outlook: ShadeOutlook, at: Moment) -> words.NextSaid | None:
    """Return the next move of the rules; None when none is foreseen."""
    if house.paused or house.locked or house.stood_down or not shade.spec.in_service:
        return None
    coming = shade.ruling.next_move if outlook.until is None else _after_hold(house, shade, outlook)
    if coming is None or coming.at <= at.utc:
        return None
    why = f"the {coming.rule} rule" if coming.rule else "no rule wants it lower any more"
    return words.NextSaid(utc=coming.at, open_pct=coming.to_pct, why=why)


def _after_hold(house: House, shade: Shade, outlook: ShadeOutlook) -> NextMove | None:
    held = shade.ruling.foresight
    place_pct = outlook.position_pct if shade.request is None else outlook.target_pct
    if held is None or place_pct is None or outlook.until is None:
        return None
    restraint = house.spec.restraint
    return after_hold(
        held,
        outlook.until,
        place_pct=place_pct,
        smallest_pct=restraint.smallest_move_pct,
        worth_s=restraint.move_worth_s,
    )


def _reference(shade: Shade, outlook: ShadeOutlook, at: Moment) -> words.ReferenceSaid:
    request, until = shade.request, shade.attended_until_s
    approach = request.want if request is not None and isinstance(request.want, Approach) else None
    state: Literal["none", "running", "approaching", "waiting"] = "none"
    if outlook.motion is Motion.REFERENCING:
        state = "running"
    elif approach is not None:
        state = "approaching"
    elif until is not None and until > at.mono_s:
        state = "waiting"
    place: words.Place | None = None
    if state in ("approaching", "waiting"):
        upper = outlook.target_pct is not None and outlook.target_pct > 50
        upper = approach.place is Place.UPPER if approach is not None else upper
        place = "upper" if upper else "lower"
    return words.ReferenceSaid(
        state=state, place=place, until=_wall(at, until) if state == "waiting" else None, ways=_ways(shade)
    )


def _ways(shade: Shade) -> list[Literal["switch", "hand"]]:
    spec = shade.spec
    feels = spec.upper_switch is not None or spec.upper_stall is not None
    return ["switch", "hand"] if feels and not isinstance(spec.link, OneWayLink) else ["hand"]


def _wall(at: Moment, mono_s: float | None) -> datetime | None:
    return None if mono_s is None else at.utc + timedelta(seconds=mono_s - at.mono_s)


def _last_reference(shade: Shade) -> words.LastReferenceSaid | None:
    if not shade.knowledge.meetings:
        return None
    last = shade.knowledge.meetings[-1]
    return words.LastReferenceSaid(utc=last.utc.astimezone(UTC), place=last.landmark.value)


def _asked(shade: Shade) -> words.AskedSaid | None:
    request = shade.request
    if request is None:
        return None
    return words.AskedSaid(
        open_pct=request.target_pct, source=request.source, utc=request.asked_at.utc.astimezone(UTC)
    )


def care_said(house: House, at: Moment) -> words.CareSaid:
    """Return what wants a person's care."""
    outlooks = {name: shade_outlook(house, shade) for name, shade in house.shades.items()}
    return words.CareSaid(
        now=at.utc,
        house_alerts=_alerts(bridge_outlook(house).alerts),
        shades=[_shade_care(house.shades[name], each, at) for name, each in outlooks.items()],
        boards=_boards(house, outlooks),
    )


def _shade_care(shade: Shade, outlook: ShadeOutlook, at: Moment) -> words.ShadeCareSaid:
    return words.ShadeCareSaid(
        id=outlook.id,
        name=outlook.name,
        grade=outlook.grade.value,
        width_mm=outlook.width_mm,
        wants_reference=outlook.grade in IN_DOUBT,
        reference=_reference(shade, outlook, at),
        alerts=_alerts(outlook.alerts),
        board=outlook.board.value,
        health=_health(shade),
    )


def _health(shade: Shade) -> words.HealthSaid:
    found = health_of(shade.spec, shade.knowledge)
    drift = found.drift
    return words.HealthSaid(
        moves=found.moves,
        turns=round(found.turns, 2),
        growth_mm_a_move=round(found.growth_mm_a_move, 3),
        moves_a_day=found.moves_a_day,
        days_to_doubt=None if isinf(found.days_to_doubt) else round(found.days_to_doubt, 1),
        met=[words.MetSaid(**{**asdict(each), "landmark": each.landmark.value}) for each in found.met],
        scale=None if drift.scale is None else words.ScaleSaid(**asdict(drift.scale)),
        slip=None if drift.slip is None else words.SlipSaid(**asdict(drift.slip)),
        happenings=[words.HappeningSaid(**asdict(each)) for each in drift.happenings],
        proposals=[words.ProposalSaid(**asdict(each)) for each in drift.proposals],
    )


def _boards(house: House, outlooks: Mapping[ShadeId, ShadeOutlook]) -> list[words.BoardSaid]:
    """Return the boards that report; a one-way board is known by its shade only."""
    mine: dict[str, list[ShadeId]] = {}
    for shade in house.shades.values():
        if not isinstance(shade.spec.link, OneWayLink):
            mine.setdefault(shade.spec.link.board, []).append(shade.id)
    boots = {str(name): board.boot for name, board in house.boards.items()}
    return [
        words.BoardSaid(
            id=board,
            state=_best(outlooks[each].board for each in shades).value,
            boot=boots.get(board),
            shades=list(shades),
        )
        for board, shades in mine.items()
    ]


def _best(states: Iterable[BoardState]) -> BoardState:
    found = set(states)
    return BoardState.UP if BoardState.UP in found else next(each for each in BoardState if each in found)
