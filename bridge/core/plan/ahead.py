"""What the rules of a shade will ask: from the known sun and the clock, minute by minute.

Wind, rain, ice and open doors cannot be foreseen and are left out. The sky is taken as cloudless, so that no
promise depends on a cloud; temperatures and presence are taken to stay as they are.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

from bridge.core.plan.course import Range
from bridge.core.rules.demand import Standing, Verdict, decided
from bridge.core.rules.seeing import demands_at, rank_of, view_of
from bridge.core.rules.view import Readings
from bridge.core.spec import ShadeSpec
from bridge.core.surroundings import RuleChoice, Site
from bridge.core.values import Rank

KEPT = ("indoor-temperature", "outdoor-temperature", "presence")


def foreseeable(chosen: Iterable[RuleChoice]) -> tuple[RuleChoice, ...]:
    """Return the rules with those that cannot be foreseen made idle; each keeps its number."""
    return tuple(each if rank_of(each.rule) <= Rank.RULE else replace(each, params=None) for each in chosen)


def foreseen(readings: Readings) -> Readings:
    """Return the readings that are taken to last."""
    return Readings(
        values={kind: readings.values[kind] for kind in KEPT if kind in readings.values},
        fitted=readings.fitted.intersection(KEPT),
    )


def verdicts_ahead(
    site: Site,
    spec: ShadeSpec,
    *,
    begins: datetime,
    steps: int,
    readings: Readings,
    step_s: float = 60.0,
    before: Iterable[Standing] = (),
) -> list[Verdict]:
    """Return what the rules will come to, one verdict a step.

    Args:
        site: Where the house stands.
        spec: The shade with its window and rules.
        begins: The first step, aware UTC.
        steps: How many.
        readings: As they are now.
        step_s: Seconds between two steps.
        before: What the rules asked last; it gives each its hysteresis.
    """
    instants = (begins + timedelta(seconds=step * step_s) for step in range(steps))
    return verdicts_at(site, spec, instants, readings=readings, before=before)


def verdicts_at(
    site: Site | None,
    spec: ShadeSpec,
    instants: Iterable[datetime],
    *,
    readings: Readings,
    before: Iterable[Standing] = (),
) -> list[Verdict]:
    """Return what the rules will come to at instants that follow on one another, aware UTC.

    Args:
        site: Where the house stands; without it there is no sun.
        spec: The shade with its rules.
        instants: In order of time.
        readings: As they are now.
        before: What the rules asked last; it gives each its hysteresis.
    """
    kept, chosen = foreseen(readings), foreseeable(spec.rules)
    if all(each.params is None for each in chosen):
        return [decided((), now_pct=100.0) for _ in instants]
    standing = list(before)
    found = []
    for at in instants:
        view = view_of(site, spec, at, open_pct=None, readings=kept)
        standing = demands_at(view, chosen, standing)
        found.append(decided(standing, now_pct=100.0))
    return found


def ranges_of(verdicts: Iterable[Verdict]) -> list[Range]:
    """Return the ranges of verdicts; what was only yielded to a lost demand is no promise."""
    return [(each.firm_low_pct, each.high_pct) for each in verdicts]
