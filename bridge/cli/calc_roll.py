"""The calculator of the roll, `hembar calc roll`: turns, lengths, percent open and steps."""

import argparse
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import Answer, Row, command, given, need, number, option, whole_number
from bridge.cli.build_options import gear_ratio, naming_options, refuse_beyond
from bridge.core.errors import RequestError
from bridge.core.shade.bounds import checked
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll, length_of_turns, solve_roll, turns_for_length, wound_diameter_mm
from bridge.core.shade.travel import Travel

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

_WINDING = ("turns", "length_mm")
_SHADE = ("drop_mm", "wraps_left", "total_turns", "percent_open", "turns_down")


def add_roll(subparsers: "Subparsers") -> None:
    """Register `calc roll`."""
    parser = command(
        subparsers,
        "roll",
        naming_options(_roll),
        what="turns, lengths and percent open of cloth on a tube, and the steps for them",
        example="--tube-mm 40 --cloth-mm 0.5 --drop-mm 2000 --wraps-left 1.5 --percent-open 50 \\\n"
        "    --pulses-per-rev 800 --gear 57/11\n"
        "  hembar calc roll --tube-mm 40 --cloth-mm 0.5 --turns 13\n"
        "Of tube, cloth, turns and length (or tube, cloth, drop, total turns and wraps left) the one that\n"
        "is left out is computed from the others.",
    )
    options = [
        ("--tube-mm", "MM", "outer diameter of the bare tube"),
        ("--cloth-mm", "MM", "thickness of the cloth"),
        ("--turns", "N", "turns of cloth on the tube"),
        ("--length-mm", "MM", "length of cloth on the tube"),
        ("--drop-mm", "MM", "drop from the upper to the lower limit"),
        ("--wraps-left", "N", "turns still on the tube at the lower limit"),
        ("--total-turns", "N", "turns counted between the limits, to find or check another measure"),
        ("--percent-open", "PCT", "100 at the upper limit; default the lower limit"),
        ("--turns-down", "N", "turns below the upper limit, instead of percent open"),
    ]
    for flag, metavar, text in options:
        parser.add_argument(flag, type=number, metavar=metavar, help=text)
    parser.add_argument(
        "--pulses-per-rev", type=whole_number, metavar="N", help="driver pulses for a motor turn"
    )
    parser.add_argument(
        "--gear", type=gear_ratio, metavar="RATIO", help="motor turns for a tube turn, like 57/11; 1 without"
    )


def _roll(args: argparse.Namespace) -> Answer:
    winding, shade = given(args, _WINDING), given(args, _SHADE)
    if winding and shade:
        raise RequestError(
            where=f"{option(winding[0])} and {option(shade[0])}",
            problem="one is about cloth on a tube and the other about a shade between its limits",
            remedy="keep --turns or --length-mm, or --drop-mm and what belongs to it",
        )
    drive = _drive(args)
    if shade:
        return _of_shade(args, drive)
    return _of_winding(args, drive)


def _drive(args: argparse.Namespace) -> Drive | None:
    if not given(args, ("pulses_per_rev", "gear")):
        return None
    need(args, "pulses_per_rev", "gear")
    checked("pulses_per_rev", args.pulses_per_rev, least=1)
    # Turns and pulses alone need no full steps, so that any pulse count is welcome here.
    return Drive(pulses_per_rev=args.pulses_per_rev, gear=args.gear, full_steps_per_rev=1)


# -- cloth on a tube ------------------------------------------------------------------------------


def _of_winding(args: argparse.Namespace, drive: Drive | None) -> Answer:
    tube_mm, cloth_mm, turns, length_mm = _winding(args)
    diameter_mm = wound_diameter_mm(turns, tube_mm=tube_mm, cloth_mm=cloth_mm)
    document: dict[str, Any] = {
        "tube_mm": tube_mm,
        "cloth_mm": cloth_mm,
        "length_mm": length_mm,
        "turns": turns,
        "wound_diameter_mm": diameter_mm,
    }
    rows: list[Row] = [
        ("tube", f"{tube_mm:g} mm", ""),
        ("cloth", f"{cloth_mm:g} mm", "thick"),
        ("turns", f"{turns:.4f}", ""),
        ("length", f"{length_mm:.2f} mm", "along the middle of each layer"),
        ("diameter", f"{diameter_mm:.2f} mm", "wound up"),
    ]
    if drive is not None:
        exact = drive.steps_for_turns(turns)
        document |= {"steps": round(exact), "steps_exact": float(exact)}
        rows.append(("steps", f"{round(exact)}", f"before rounding {float(exact):.3f}"))
    return Answer(sections=[("Cloth on a tube", rows)], document=document)


def _winding(args: argparse.Namespace) -> tuple[float, float, float, float]:
    """Return tube, cloth, turns and length, the missing one computed."""
    measures = ("tube_mm", "cloth_mm", "turns", "length_mm")
    known = given(args, measures)
    if len(known) == len(measures):
        raise _one_too_many(args)
    if len(known) < len(measures) - 1:
        absent = [option(name) for name in measures if name not in known]
        raise RequestError(
            where=", ".join(absent),
            problem="missing, and only one of them can be computed",
            remedy="give --tube-mm, --cloth-mm and --turns, --length-mm, or --drop-mm with --wraps-left",
        )
    if args.turns is not None and args.length_mm is not None:
        roll = _solve_winding(args)
        return roll.tube_mm, roll.cloth_mm, args.turns, args.length_mm
    tube = {"tube_mm": args.tube_mm, "cloth_mm": args.cloth_mm}
    if args.turns is None:
        return args.tube_mm, args.cloth_mm, turns_for_length(args.length_mm, **tube), args.length_mm
    return args.tube_mm, args.cloth_mm, args.turns, length_of_turns(args.turns, **tube)


def _one_too_many(args: argparse.Namespace) -> RequestError:
    tube = {"tube_mm": args.tube_mm, "cloth_mm": args.cloth_mm}
    length_mm, turns = length_of_turns(args.turns, **tube), turns_for_length(args.length_mm, **tube)
    return RequestError(
        where="--turns and --length-mm",
        problem=f"both are given, and {args.turns:g} turns hold {length_mm:.2f} mm while "
        f"{args.length_mm:g} mm take {turns:.4f} turns",
        remedy="leave out one of the two, or measure tube and cloth again",
    )


def _solve_winding(args: argparse.Namespace) -> Roll:
    checked("turns", args.turns, above=0)
    checked("length_mm", args.length_mm, above=0, unit="mm")
    missing, known = ("cloth_mm", "tube_mm") if args.cloth_mm is None else ("tube_mm", "cloth_mm")
    try:
        # All cloth off a tube is a shade whose drop is that length and that leaves no wraps.
        return solve_roll(
            tube_mm=args.tube_mm,
            cloth_mm=args.cloth_mm,
            drop_mm=args.length_mm,
            turns=args.turns,
            wraps_left=0,
        )
    except RequestError as error:
        raise RequestError(
            where=option(missing),
            problem=f"{args.turns:g} turns of {args.length_mm:g} mm with {option(known)} "
            f"{getattr(args, known):g} leave no possible value for it",
            remedy="measure them again; at least one of them is wrong",
        ) from error


# -- a shade between its limits -------------------------------------------------------------------


def _of_shade(args: argparse.Namespace, drive: Drive | None) -> Answer:
    roll = _shade(args)
    turns, error_mm = _place(args, roll)
    lowered_mm = roll.drop_at_turns(turns)
    open_pct = roll.percent_at_drop(lowered_mm)
    half_pct = roll.percent_at_drop(roll.drop_at_turns(roll.total_turns / 2))
    document: dict[str, Any] = {
        "tube_mm": roll.tube_mm,
        "cloth_mm": roll.cloth_mm,
        "drop_mm": roll.drop_mm,
        "wraps_left": roll.wraps_left,
        "length_mm": roll.end_drop_mm,
        "turns": roll.wound_turns,
        "wound_diameter_mm": roll.rolled_diameter_mm,
        "total_turns": roll.total_turns,
        "lowered_mm": lowered_mm,
        "percent_open": open_pct,
        "turns_down": turns,
        "linear_percent_open": 100 * (1 - turns / roll.total_turns),
        "percent_open_at_half_turns": half_pct,
        "largest_linear_error_mm": roll.largest_linear_error_mm,
        "linear_error_mm": error_mm,
    }
    whole: list[Row] = [
        ("tube", f"{roll.tube_mm:g} mm", ""),
        ("cloth", f"{roll.cloth_mm:g} mm", "thick"),
        ("drop", f"{roll.drop_mm:g} mm", "between the limits"),
        ("turns", f"{roll.total_turns:.4f}", f"between the limits, {roll.wraps_left:g} wraps left"),
        ("length", f"{roll.end_drop_mm:.1f} mm", f"of cloth on {roll.wound_turns:.4f} turns, wound up"),
        ("diameter", f"{roll.rolled_diameter_mm:.2f} mm", "wound up"),
        ("linear error", f"{roll.largest_linear_error_mm:.1f} mm", "too low at half the turns, at most"),
    ]
    here: list[Row] = [
        ("open", f"{open_pct:.3f} %", ""),
        ("lowered", f"{lowered_mm:.2f} mm", "below the upper limit"),
        ("turns", f"{turns:.4f}", "below the upper limit"),
        ("linear error", f"{error_mm:.1f} mm", "too low if turns were taken as proportional to drop"),
    ]
    if drive is not None:
        _steps(document, whole, here, Travel(roll=roll, drive=drive), turns)
    return Answer(sections=[("Shade", whole), ("At this place", here)], document=document)


def _steps(document: dict[str, Any], whole: list[Row], here: list[Row], travel: Travel, turns: float) -> None:
    exact = travel.drive.steps_for_turns(turns)
    document |= {
        "steps": round(exact),
        "steps_exact": float(exact),
        "full_travel_steps": travel.lower_steps,
        "deepest_steps": travel.deepest_steps,
    }
    whole.append(("steps", f"{travel.lower_steps}", "from limit to limit"))
    here.append(("steps", f"{round(exact)}", f"before rounding {float(exact):.3f}"))


def _shade(args: argparse.Namespace) -> Roll:
    if args.total_turns is not None:
        checked("total_turns", args.total_turns, above=0)
    else:
        need(args, "tube_mm", "cloth_mm", "drop_mm", "wraps_left")
    return solve_roll(
        tube_mm=args.tube_mm,
        cloth_mm=args.cloth_mm,
        drop_mm=args.drop_mm,
        turns=args.total_turns,
        wraps_left=args.wraps_left,
    )


def _place(args: argparse.Namespace, roll: Roll) -> tuple[float, float]:
    """Return the turns down, and how much too low linear turns for the same place would hang the bar."""
    if args.percent_open is not None and args.turns_down is not None:
        raise RequestError(
            where="--percent-open and --turns-down",
            problem="both name a place",
            remedy="keep one of the two",
        )
    if args.turns_down is not None:
        why = f"the lower limit is at {roll.total_turns:.4f} turns; give a place between the limits"
        refuse_beyond("turns_down", args.turns_down, least=0, most=roll.total_turns, unit=" turns", why=why)
        return args.turns_down, roll.linear_error_at_turns(args.turns_down)
    open_pct = 0.0 if args.percent_open is None else args.percent_open
    refuse_beyond(
        "percent_open", open_pct, least=0, most=100, unit=" %", why="100 is the upper limit, 0 the lower"
    )
    return roll.turns_at_drop(roll.drop_at_percent(open_pct)), roll.linear_error_at_percent(open_pct)
