"""One [shades.<id>] table: each part read alone, then what must fit together, then the plain ShadeSpec.

The parts are independent so that a fault in one hides no fault in another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bridge.core.errors import RequestError
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll, solve_roll
from bridge.core.shade.travel import Travel
from bridge.core.spec import Mounting, Reference, ShadeSpec
from bridge.core.values import ShadeId, SupplyId
from bridge.settings import model
from bridge.settings.explain import read_part, read_table, wanted
from bridge.settings.faults import Place, listed, number, shown
from bridge.settings.fields import is_id
from bridge.settings.keys import refuse_unknown
from bridge.settings.lifting import computed_holds, read_lifting
from bridge.settings.links import LinkRead, check_surroundings, core_link, read_link
from bridge.settings.plain import LiftRead
from bridge.settings.ruling import read_window

_MEASURES = ("tube_mm", "cloth_mm", "drop_mm", "turns")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadeRead:
    """What could be read of a shade: the spec if all is well, the link if that much is."""

    spec: ShadeSpec | None
    link: LinkRead | None
    wind_contact: bool
    upper_limit_mm: float | None = None
    lift: LiftRead | None = None


def read_shade(place: Place, shade_id: str, raw: Mapping[str, object]) -> ShadeRead:
    """Read a shade's table, refusing everything that is wrong with it."""
    if not is_id(shade_id):
        place.refuse(
            f"{shown(shade_id)} can't name a shade",
            "an id has only a-z, 0-9 and inner hyphens, at most 40 of them; words for people go into name",
        )
    excused = refuse_unknown(place, raw, model.ShadeTable)
    names = read_part(place, raw, model.NamesPart, excused=excused)
    roll = _read_roll(place, raw, excused)
    drive = _read_drive(place, raw, excused)
    link = read_link(place, raw, excused)
    unpowered = read_table(place, raw, "unpowered", model.UnpoweredTable, excused=excused)
    trust = _read_trust(place, raw)
    references = read_table(place, raw, "references", model.ReferencesTable)
    power, powered = _read_power(place, raw)
    window, seen = read_window(place, raw)
    spec, lift = None, None
    if roll and drive:
        lift = read_lifting(place, raw, roll, _core_drive(drive))
    holds = unpowered.holds if unpowered else None
    if holds is None and unpowered and lift:
        holds = computed_holds(place, lift)
    if (
        powered and seen and names and roll and drive and link and trust and references and lift
        and holds is not None
    ):  # fmt: skip
        travel = Travel(roll=roll, drive=_core_drive(drive))
        _check_references(place.inside("references"), travel, references, trust)
        check_surroundings(place, link, trust, references, wind_contact=names.wind_contact)
        spec = ShadeSpec(
            id=ShadeId(shade_id),
            name=names.name or shade_id,
            travel=travel,
            mounting=Mounting(names.mounting),
            link=core_link(link, travel),
            top_pps=drive.top_pps,
            ramp_pps2=drive.ramp_pps2,
            tolerance_mm=trust.tolerance_mm,
            doubtful_mm=trust.doubtful_mm,
            slip_per_move_mm=trust.slip_per_move_mm,
            slip_per_turn_mm=trust.slip_per_turn_mm,
            scale_allowance=trust.scale_allowance_pct / 100,
            unconfirmed_scale_allowance=trust.unconfirmed_scale_allowance_pct / 100,
            drive_confirmed=drive.confirmed,
            overrun_mm=trust.overrun_mm,
            unpowered_holds=holds,
            # A wind contact at the board moves the shade just as unasked as a finger does.
            local_button=trust.local_button or names.wind_contact,
            upper_switch=_reference(references.upper_switch_mm, references),
            lower_switch=_reference(references.lower_switch_mm, references),
            upper_stall=_reference(references.upper_stall_mm, references),
            refers_by_itself=references.by_itself,
            hand_repeatability_mm=trust.hand_repeatability_mm,
            hold_s=names.hold_min * 60,
            in_service=names.in_service,
            supply=SupplyId(power.supply) if power else None,
            moving_a=power.moving_a if power else 0.0,
            standstill_a=power.standstill_a if power else 0.0,
            window=window,
        )
    return ShadeRead(
        spec=spec,
        link=link,
        wind_contact=bool(names and names.wind_contact),
        upper_limit_mm=names.upper_limit_mm if names else None,
        lift=lift,
    )


def _read_roll(place: Place, raw: Mapping[str, object], excused: frozenset[str]) -> Roll | None:
    part = read_part(place, raw, model.RollPart, excused=excused)
    given = [key for key in _MEASURES if key in raw]
    absent = [key for key in _MEASURES if key not in raw and key not in excused]
    if len(absent) > 1:
        place.refuse(
            f"{listed(absent)} are missing, and only one of them can be computed from the others",
            f"add all but one of them; {absent[0]} is the {wanted(model.RollPart.model_fields[absent[0]])}",
        )
        return None
    if part is None or len(given) < 3:
        return None
    try:
        roll = solve_roll(
            tube_mm=part.tube_mm,
            cloth_mm=part.cloth_mm,
            drop_mm=part.drop_mm,
            turns=part.turns,
            wraps_left=part.wraps_left,
        )
    except RequestError as error:
        _refuse_roll(place, part, error)
        return None
    return _plausible(place, roll, given)


def _refuse_roll(place: Place, part: model.RollPart, error: RequestError) -> None:
    """Tell a contradiction with the turns that the other measures give; the rest is told by the core."""
    if part.turns and part.tube_mm and part.cloth_mm and part.drop_mm:
        others = Roll(
            tube_mm=part.tube_mm, cloth_mm=part.cloth_mm, drop_mm=part.drop_mm, wraps_left=part.wraps_left
        )
        place.refuse(
            f"turns = {number(part.turns)}, but tube {number(part.tube_mm)} mm, "
            f"cloth {number(part.cloth_mm)} mm, drop {number(part.drop_mm)} mm "
            f"and {number(part.wraps_left)} wraps left give {others.total_turns:.3f} turns",
            "measure again and mend the wrong one, or leave out the one that is least sure",
        )
    else:
        place.refuse(error.problem, error.remedy)


def _plausible(place: Place, roll: Roll, given: list[str]) -> Roll | None:
    """Hold a computed measure to the same bounds as a written one."""
    found = {
        "tube_mm": roll.tube_mm, "cloth_mm": roll.cloth_mm, "drop_mm": roll.drop_mm, "turns": roll.total_turns
    }  # fmt: skip
    try:
        model.RollPart.model_validate({**found, "wraps_left": roll.wraps_left})
    except ValueError:
        computed = [key for key in _MEASURES if key not in given] or ["turns"]
        measures = ", ".join(f"{key} {number(found[key])}" for key in given)
        place.refuse(
            f"{measures} and {number(roll.wraps_left)} wraps left would need "
            f"{listed([f'{key} {number(found[key])}' for key in computed])}",
            f"measure again; {computed[0]} is the {wanted(model.RollPart.model_fields[computed[0]])}",
        )
        return None
    return roll


def _read_drive(place: Place, raw: Mapping[str, object], excused: frozenset[str]) -> model.DriveTable | None:
    drive = read_table(place, raw, "drive", model.DriveTable, excused=excused)
    if drive is None or drive.pulses_per_rev % drive.full_steps_per_rev == 0:
        return drive
    place.inside("drive").refuse(
        f"pulses_per_rev = {drive.pulses_per_rev} is not a whole multiple of full_steps_per_rev = "
        f"{drive.full_steps_per_rev}",
        f"give full steps times the micro-steps in each, such as {drive.full_steps_per_rev} * 4 = "
        f"{drive.full_steps_per_rev * 4}",
    )
    return None


def _core_drive(drive: model.DriveTable) -> Drive:
    return Drive(
        pulses_per_rev=drive.pulses_per_rev, gear=drive.gear, full_steps_per_rev=drive.full_steps_per_rev
    )


def _read_trust(place: Place, raw: Mapping[str, object]) -> model.TrustTable | None:
    trust = read_table(place, raw, "trust", model.TrustTable)
    if trust is None:
        return None
    here = place.inside("trust")
    pairs = (("tolerance_mm", "doubtful_mm"), ("scale_allowance_pct", "unconfirmed_scale_allowance_pct"))
    for small, large in pairs:
        low, high = getattr(trust, small), getattr(trust, large)
        if low > high or (low == high and small == "tolerance_mm"):
            here.refuse(
                f"{small} = {number(low)} is not less than {large} = {number(high)}",
                f"make {large} the larger",
            )
            return None
    return trust


def _read_power(place: Place, raw: Mapping[str, object]) -> tuple[model.PowerTable | None, bool]:
    """Return the table, None when there is none, and whether nothing is wrong with it."""
    if "power" not in raw:
        return None, True
    power = read_table(place, raw, "power", model.PowerTable)
    if power is not None and power.standstill_a > power.moving_a:
        place.inside("power").refuse(
            f"standstill_a = {number(power.standstill_a)} is more than moving_a = {number(power.moving_a)}",
            "measure both at the supply, the driver included",
        )
        return None, False
    return power, power is not None


def _check_references(
    place: Place, travel: Travel, references: model.ReferencesTable, trust: model.TrustTable
) -> None:
    drop = travel.roll.drop_mm
    deepest = travel.drop_at_steps(travel.deepest_steps)
    upper, lower, stall = references.upper_switch_mm, references.lower_switch_mm, references.upper_stall_mm
    highest = -trust.overrun_mm
    for key, at_mm in (("upper_switch_mm", upper), ("upper_stall_mm", stall)):
        if at_mm is not None and not highest <= at_mm < drop:
            place.refuse(
                f"{key} = {number(at_mm)} is out of reach: the hem bar moves between {number(highest)} mm "
                f"(overrun_mm above the upper limit) and {number(drop)} mm",
                "measure from the upper limit downward, negative above it, or mend overrun_mm",
            )
    if lower is not None and lower > deepest:
        place.refuse(
            f"lower_switch_mm = {number(lower)} is deeper than {deepest:.0f} mm, where half a turn is left",
            "measure from the upper limit downward, or move the switch up",
        )
    if lower is not None and upper is not None and upper >= lower:
        place.refuse(
            f"upper_switch_mm = {number(upper)} is not above lower_switch_mm = {number(lower)}",
            "measure both from the upper limit downward",
        )


def _reference(at_mm: float | None, references: model.ReferencesTable) -> Reference | None:
    return None if at_mm is None else Reference(at_mm=at_mm, repeatability_mm=references.repeatability_mm)
