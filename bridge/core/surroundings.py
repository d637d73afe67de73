"""What stands around a shade: the place, the window, the sensors, and the rules its owner has chosen.

Plain values that `settings/` makes. Nothing here decides; a rule's parameters are whatever its own file says.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time
from typing import NewType

from bridge.core.sun.gain import Cloth, Glass
from bridge.core.sun.sky import Place
from bridge.core.sun.window import Facade, Opening
from bridge.core.values import ShadeId

SensorId = NewType("SensorId", str)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the house stands.

    Attributes:
        place: For the sun.
        timezone: Name in the IANA time zone database, for the owner's clock times.
    """

    place: Place
    timezone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The window that a shade hangs at.

    Attributes:
        facade: Where it looks to, and what hides the sky.
        opening: Sill, head, the plane on which depth is measured, the overhang; metres above the floor.
        upper_m: The hem bar above the floor when the shade is at its upper limit.
        glass: The pane; None when its data is not known.
        cloth: The cloth's solar data; None when not known.
    """

    facade: Facade
    opening: Opening
    upper_m: float
    glass: Glass | None = None
    cloth: Cloth | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """One sensor, as far as its readings are judged.

    Attributes:
        id: Its name in the settings.
        kind: What it measures; its numbers are in that kind's unit.
        shades: The shades it serves; empty when it serves all.
        stale_s: Without a good reading for so long it counts as lost.
        low: The least plausible reading.
        high: The greatest plausible reading.
        rate_per_min: The fastest plausible change in a minute; None when any is.
        stuck_s: So long at exactly one number means that it is stuck; None when that is ordinary.
        rests_at: A number at which it may stay for ever, such as 0 W/m2 at night; None without one.
        grain: Smaller changes are no news.
    """

    id: SensorId
    kind: str
    shades: tuple[ShadeId, ...]
    stale_s: float
    low: float
    high: float
    rate_per_min: float | None
    stuck_s: float | None
    rests_at: float | None
    grain: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleChoice:
    """A rule at work on a shade.

    Attributes:
        rule: The rule's name.
        params: Of the type that the rule's file defines; None for a rule that this version does not have.
    """

    rule: str
    params: object


@dataclass(frozen=True, slots=True, kw_only=True)
class Quiet:
    """Hours, by the local clock, in which rules for comfort rest; over midnight when it ends earlier."""

    begins: time
    ends: time


@dataclass(frozen=True, slots=True, kw_only=True)
class Restraint:
    """How sparingly the rules move shades. Wind, rain and open doors do not wait for any of this.

    Attributes:
        every_s: The rules look again this often, on the hour and its even parts.
        smallest_move_pct: A shade is not raised by less, and a lower place is rounded down to this.
        dwell_s: Least time between two moves by rules.
        moves_a_day: Most moves by rules in a local day, for each shade.
        quiet: When the rules rest; None without such hours.
        resume_s: How long after a person's stop a retract for wind or rain goes on.
        move_worth_s: A move that no promise needs must give so much time of open window.
    """

    every_s: float = 600.0
    smallest_move_pct: int = 5
    dwell_s: float = 900.0
    moves_a_day: int = 40
    quiet: Quiet | None = None
    resume_s: float = 60.0
    move_worth_s: float = 1200.0
