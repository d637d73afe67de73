"""What a commissioning writes: the settings that change, and the lines of the sheet to print."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, pi

from bridge.core.commissioning.holding import HELD_MM, expected, proven
from bridge.core.commissioning.state import Facts, Ranges, State
from bridge.core.errors import RequestError

Value = str | int | float | bool | list[list[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edit:
    """One key of a shade's table: its path below [shades.<id>], and its new value; None takes it out."""

    path: tuple[str, ...]
    value: Value | None


def edits(state: State, before: Facts) -> tuple[Edit, ...]:
    """Return what differs from the settings that it began with, and that it is in service again."""
    facts = state.facts
    found = [*_roll_edits(facts), *_drive_edits(state, before), *_switch_edits(facts, before)]
    holds = proven(facts, state.tried)
    if state.tried and not _alike(holds, expected(before)):
        found.append(Edit(path=("unpowered", "holds"), value=_holds_value(holds)))
    return (*found, Edit(path=("in_service",), value=None))


def _roll_edits(facts: Facts) -> list[Edit]:
    return [
        Edit(path=("tube_mm",), value=facts.tube_mm),
        Edit(path=("cloth_mm",), value=facts.cloth_mm),
        Edit(path=("drop_mm",), value=facts.drop_mm),
        Edit(path=("wraps_left",), value=facts.wraps_left),
        Edit(path=("turns",), value=None),
    ]


def _drive_edits(state: State, before: Facts) -> list[Edit]:
    facts = state.facts
    found: list[Edit] = []
    if facts.gear != before.gear:
        found.append(Edit(path=("drive", "gear"), value=str(facts.gear)))
    found += [
        Edit(path=("drive", key), value=getattr(facts, key))
        for key in ("top_pps", "ramp_pps2")
        if getattr(facts, key) != getattr(before, key)
    ]
    if state.confirmed and state.lower is not None:
        found.append(Edit(path=("drive", "confirmed"), value=True))
    return found


def _switch_edits(facts: Facts, before: Facts) -> list[Edit]:
    if facts.upper_switch_mm == before.upper_switch_mm:
        return []
    found = [Edit(path=("references", "upper_switch_mm"), value=facts.upper_switch_mm)]
    if facts.upper_switch_mm is not None and -facts.upper_switch_mm > facts.overrun_mm:
        found.append(Edit(path=("trust", "overrun_mm"), value=float(ceil(-facts.upper_switch_mm + 2))))
    return found


def _alike(some: Ranges, others: Ranges) -> bool:
    if len(some) != len(others):
        return False
    return all(abs(a - c) < 0.5 and abs(b - d) < 0.5 for (a, b), (c, d) in zip(some, others, strict=True))


def _holds_value(holds: Ranges) -> Value:
    if not holds:
        return "nowhere"
    if holds == ((0.0, 100.0),):
        return "everywhere"
    return [[round(low, 1), round(high, 1)] for low, high in holds]


def trimmed(facts: Facts, *, upper_mm: float, lower_mm: float) -> tuple[Edit, ...]:
    """Return the settings after both limits have been moved a little, downward positive.

    Args:
        facts: As the settings have it.
        upper_mm: How far the upper limit goes down; the switch then lies further above it.
        lower_mm: How far the lower limit goes down; that takes cloth from the wraps left.

    Raises:
        RequestError: more than 100 mm, or less than one wrap would be left.
    """
    roll = facts.roll
    for where, mm in (("--trim-upper", upper_mm), ("--trim-lower", lower_mm)):
        if abs(mm) > 100:
            raise RequestError(
                where=where, problem=f"{mm:g} mm is no trim", remedy="take --new-window for another place"
            )
    drop = roll.drop_mm - upper_mm + lower_mm
    wound_at_lower = roll.wraps_left - _turns_down(facts, lower_mm)
    if wound_at_lower < 1:
        raise RequestError(
            where="--trim-lower",
            problem=f"that would leave {wound_at_lower:.2f} wraps on the tube; one at least must stay",
            remedy="go down less far",
        )
    found = [
        Edit(path=("drop_mm",), value=round(drop, 1)),
        Edit(path=("turns",), value=None),
        Edit(path=("wraps_left",), value=round(wound_at_lower, 3)),
    ]
    if facts.upper_switch_mm is not None and upper_mm:
        found.append(
            Edit(path=("references", "upper_switch_mm"), value=round(facts.upper_switch_mm - upper_mm, 1))
        )
    if upper_mm:
        over = max(1.0, facts.overrun_mm + upper_mm)
        found.append(Edit(path=("trust", "overrun_mm"), value=round(over, 1)))
    return tuple(found)


def _turns_down(facts: Facts, mm: float) -> float:
    """Return the turns that lower the hem bar by `mm` from the lower limit."""
    return mm / (pi * (facts.tube_mm + 2 * facts.wraps_left * facts.cloth_mm))


def sheet_rows(state: State, before: Facts) -> Mapping[str, list[tuple[str, str]]]:
    """Return what the sheet shows, by heading: what, and how much."""
    facts, roll = state.facts, state.facts.roll
    exact = facts.drive.pulses_per_turn
    tried = [
        (f"asleep at {height:g} % open", "stayed" if sank <= HELD_MM else f"sank {sank:g} mm")
        for height, sank in state.tried
    ]
    holds = proven(facts, state.tried)
    ranges = ", ".join(f"{low:.0f} to {high:.0f} % open" for low, high in holds) or "nowhere"
    return {
        "Limits": [
            ("drop from upper to lower mark", f"{facts.drop_mm:g} mm"),
            ("turns between them", f"{roll.total_turns:.3f}"),
            ("steps between them", f"{facts.travel.lower_steps}"),
            ("wraps left at the lower limit", f"{facts.wraps_left:g}"),
            ("drop measured on the way", "" if state.part is None else f"{state.part[1]:g} mm"),
        ],
        "Roll": [
            ("tube", _was(facts.tube_mm, before.tube_mm, "mm")),
            ("cloth, one layer", _was(facts.cloth_mm, before.cloth_mm, "mm")),
            ("diameter at the upper limit", f"{roll.rolled_diameter_mm:.1f} mm"),
        ],
        "Drive": [
            ("gear, motor turns for a tube turn", _was(str(facts.gear), str(before.gear), "")),
            ("pulses for a tube turn", f"{exact} ({float(exact):.3f})"),
            ("top speed", _was(facts.top_pps, before.top_pps, "steps/s")),
            ("ramp", _was(facts.ramp_pps2, before.ramp_pps2, "steps/s2")),
            ("ratio seen by the mark test", "yes" if state.confirmed else "no"),
        ],
        "Upper switch": [
            (
                "closes at a drop of",
                "none" if facts.upper_switch_mm is None else f"{facts.upper_switch_mm:g} mm",
            )
        ],
        "Without current": [("holds", ranges), *tried],
        "Remarks": [("", each) for each in state.remarks],
    }


def _was(now: float | str, before: float | str, unit: str) -> str:
    text = f"{now} {unit}".strip()
    return text if now == before else f"{text} (the settings said {before})"
