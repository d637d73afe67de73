"""From the house as built, an instant and the readings to the view of one shade.

The seam for whoever looks ahead: the same view can be made for any instant, and `demands_at` asks the rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from functools import cache
from zoneinfo import ZoneInfo

from bridge.core.replacing import replace
from bridge.core.rules.catalogue import Rule, rules
from bridge.core.rules.demand import Demand, Standing
from bridge.core.rules.view import Readings, SunAtWindow, View, season_at
from bridge.core.spec import ShadeSpec
from bridge.core.sun.irradiance import Irradiance, clear_sky, on_wall, split_measured
from bridge.core.sun.sky import SunPosition, apparent_elevation_deg, sun_at
from bridge.core.sun.window import angles
from bridge.core.surroundings import RuleChoice, Site, Window
from bridge.core.values import Rank

# Who wins (DEVELOPERS: who wins); every rule that is not named here is a rule for comfort. An open door asks
# for no move of its own, and goes before everybody who would lower.
RANKS = {
    "ice": Rank.ICE,
    "wind": Rank.WIND,
    "rain": Rank.RAIN,
    "doorway": Rank.RAIN,
    "schedule": Rank.BASE,
}


@cache
def zone_of(name: str) -> ZoneInfo:
    """Return a time zone of the IANA database."""
    return ZoneInfo(name)


def view_of(
    site: Site | None, spec: ShadeSpec, utc: datetime, *, open_pct: float | None, readings: Readings
) -> View:
    """Return what the rules of a shade see.

    Args:
        site: Where the house stands; without it there is no sun, and clocks show UTC.
        spec: The shade.
        utc: The instant, aware UTC.
        open_pct: Where the hem bar is taken to be; None when unknown.
        readings: Of the sensors that serve it.
    """
    local = utc if site is None else utc.astimezone(zone_of(site.timezone))
    sun = None
    if site is not None and spec.window is not None:
        sun = sun_at_window(site, spec.window, utc, ghi_wpm2=readings.ghi_wpm2)
    return View(
        utc=utc,
        local=local,
        season=season_at(local, 0.0 if site is None else site.place.latitude_deg),
        sun=sun,
        window=spec.window,
        mounting=spec.mounting,
        drop_m=spec.travel.roll.drop_mm / 1000,
        open_pct=open_pct,
        readings=readings,
    )


def sun_at_window(site: Site, window: Window, utc: datetime, *, ghi_wpm2: float | None) -> SunAtWindow:
    """Return the sun at a window: its watts by a sensor if there is one, else those of a cloudless sky."""
    sun = sun_at(site.place, utc)
    seen = angles(window.facade, sun)
    falls = on_wall(_sky(site, sun, utc, ghi_wpm2), sun=sun, facade=window.facade)
    return SunAtWindow(
        elevation_deg=sun.elevation_deg,
        azimuth_deg=sun.azimuth_deg,
        profile_deg=seen.profile_angle_deg,
        direct=seen.direct_sun,
        beam_wpm2=falls.beam_wpm2,
        on_glass_wpm2=falls.total_wpm2,
        measured=ghi_wpm2 is not None,
    )


def demands_at(view: View, chosen: Iterable[RuleChoice], before: Iterable[Standing] = ()) -> list[Standing]:
    """Return what the rules of a shade ask, in the order of the settings.

    Args:
        view: What they see.
        chosen: The shade's rules.
        before: What they asked at the last look; it gives each its hysteresis.
    """
    return asked(view, chosen, before, of=lambda _: True)


def asked(
    view: View, chosen: Iterable[RuleChoice], before: Iterable[Standing], *, of: Callable[[Rule], bool]
) -> list[Standing]:
    """Return what the rules ask: those that `of` picks anew, the others what they asked before."""
    stood = {each.number: each for each in before}
    found = []
    for number, choice in enumerate(chosen):
        rule = rules().get(choice.rule)
        if rule is None or choice.params is None:
            continue
        old = stood.get(number)
        if not of(rule):
            found += [] if old is None else [old]
            continue
        new = rule.demand(replace(view, stood=_demand_of(old)), choice.params)
        if new is not None:
            found.append(Standing(number=number, rule=rule.name, rank=rank_of(rule.name), demand=new))
    return found


def rank_of(rule: str) -> Rank:
    """Return how a rule ranks."""
    return RANKS.get(rule, Rank.RULE)


def _demand_of(old: Standing | None) -> Demand | None:
    return None if old is None else old.demand


def _sky(site: Site, sun: SunPosition, utc: datetime, ghi_wpm2: float | None) -> Irradiance:
    day = utc.timetuple().tm_yday
    if ghi_wpm2 is not None:
        return split_measured(ghi_wpm2, elevation_deg=sun.elevation_deg, day_of_year=day)
    return clear_sky(
        apparent_elevation_deg(sun.elevation_deg), day_of_year=day, altitude_m=site.place.altitude_m
    )
