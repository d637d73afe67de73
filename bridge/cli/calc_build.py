"""The calculators of roll, gear, move, lifting and cable: `hembar calc roll|gear|move|lift|cable`.

Arguments in, a table or one JSON object out. Every number comes from the core; what is missing,
contradictory or impossible is refused with exit status 2.
"""

import argparse
from typing import TYPE_CHECKING, Any

from bridge.cli import calc_lift, calc_roll
from bridge.cli.answers import Answer, Row, command, need, number, whole_number
from bridge.cli.build_options import (
    SUPPLY_CAUTION,
    cautions_note,
    exact_number,
    gear_ratio,
    naming_options,
    wire_gauge,
)
from bridge.core.shade.bounds import checked
from bridge.core.shade.cable import drop_v, loop_ohm, ohm_per_km
from bridge.core.shade.drive import Drive
from bridge.core.shade.profile import move_profile

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers


def add_commands(subparsers: "Subparsers") -> None:
    """Register the five calculators under `calc`."""
    calc_roll.add_roll(subparsers)
    _add_gear(subparsers)
    _add_move(subparsers)
    calc_lift.add_lift(subparsers)
    _add_cable(subparsers)


# -- gear -----------------------------------------------------------------------------------------


def _add_gear(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "gear",
        naming_options(_gear),
        what="exact steps for turns of the tube, and what a rounded gear ratio would miss",
        example="--pulses-per-rev 800 --gear 57/11 --turns 13",
    )
    parser.add_argument(
        "--pulses-per-rev", type=whole_number, metavar="N", help="driver pulses for a motor turn"
    )
    parser.add_argument(
        "--gear", type=gear_ratio, metavar="RATIO", help="motor turns for a tube turn, like 57/11"
    )
    parser.add_argument("--turns", type=exact_number, metavar="N", help="turns of the tube")
    parser.add_argument(
        "--full-steps", type=whole_number, metavar="N", default=200, help="of a motor turn; default 200"
    )
    parser.add_argument(
        "--nominal-ratio",
        type=exact_number,
        metavar="RATIO",
        help="as the gear is sold; default the nearest whole number",
    )
    parser.add_argument(
        "--nominal-step-deg",
        type=exact_number,
        metavar="DEG",
        help="full step at the tube as it is sold; default rounded to hundredths",
    )


def _gear(args: argparse.Namespace) -> Answer:
    need(args, "pulses_per_rev", "gear", "turns")
    checked("full_steps", args.full_steps, least=1)
    checked("turns", float(args.turns), least=0)
    drive = Drive(pulses_per_rev=args.pulses_per_rev, gear=args.gear, full_steps_per_rev=args.full_steps)
    pulses = drive.steps_for_turns(args.turns)
    ratio = args.nominal_ratio if args.nominal_ratio is not None else max(round(drive.gear), 1)
    checked("nominal_ratio", float(ratio), above=0)
    step_deg = args.nominal_step_deg if args.nominal_step_deg is not None else round(drive.step_angle_deg, 2)
    if args.nominal_step_deg is not None:
        checked("nominal_step_deg", float(step_deg), above=0, unit="deg")
    by_ratio = pulses - args.turns * drive.pulses_per_rev * ratio
    # A step too small to be written in hundredths of a degree has no nominal value of its own.
    by_step = pulses - args.turns * 360 / step_deg * drive.full_step_pulses if step_deg else None
    document: dict[str, Any] = {
        "ratio": float(drive.gear),
        "ratio_exact": str(drive.gear),
        "step_angle_deg": float(drive.step_angle_deg),
        "full_steps_per_turn": float(drive.full_steps_per_turn),
        "pulses_per_turn": float(drive.pulses_per_turn),
        "pulses_per_turn_exact": str(drive.pulses_per_turn),
        "pulses": float(pulses),
        "pulses_exact": str(pulses),
        "nominal_ratio": float(ratio),
        "error_if_nominal_ratio_pulses": float(by_ratio),
        "nominal_step_deg": float(step_deg) if step_deg else None,
        "error_if_nominal_step_pulses": None if by_step is None else float(by_step),
    }
    rows: list[Row] = [
        ("ratio", f"{float(drive.gear):.6f}", f"exactly {drive.gear}"),
        ("full step", f"{float(drive.step_angle_deg):.5f} deg", "of the tube"),
        ("full steps", f"{float(drive.full_steps_per_turn):.3f}", "for a turn of the tube"),
        ("pulses", f"{float(drive.pulses_per_turn):.3f}", f"for a turn, exactly {drive.pulses_per_turn}"),
        ("pulses", f"{float(pulses):.2f}", f"for {float(args.turns):g} turns, exactly {pulses}"),
        ("error", f"{float(by_ratio):.2f}", f"pulses if the ratio were taken as {float(ratio):g}"),
    ]
    if by_step is not None:
        rows.append(
            ("error", f"{float(by_step):.2f}", f"pulses if the step were taken as {float(step_deg):g} deg")
        )
    return Answer(sections=[("Gear", rows)], document=document)


# -- move -----------------------------------------------------------------------------------------


def _add_move(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "move",
        naming_options(_move),
        what="how long a move takes under a top speed and a ramp",
        example="--steps 53890 --top-pps 3000 --ramp-pps2 2000",
    )
    parser.add_argument("--steps", type=number, metavar="N", help="length of the move")
    parser.add_argument("--top-pps", type=number, metavar="SPEED", help="highest speed, steps a second")
    parser.add_argument("--ramp-pps2", type=number, metavar="RAMP", help="acceleration, steps/s each second")
    parser.add_argument(
        "--start-pps", type=number, metavar="SPEED", default=0.0, help="speed without a ramp; default 0"
    )


def _move(args: argparse.Namespace) -> Answer:
    need(args, "steps", "top_pps", "ramp_pps2")
    profile = move_profile(
        steps=args.steps, top_pps=args.top_pps, ramp_pps2=args.ramp_pps2, start_pps=args.start_pps
    )
    document: dict[str, Any] = {
        "duration_s": profile.duration_s,
        "peak_pps": profile.peak_pps,
        "ramp_steps": profile.ramp_steps,
        "ramp_s": profile.ramp_s,
        "shape": profile.shape,
    }
    reached = "the top speed" if profile.shape == "trapezoid" else "the move is too short for the top speed"
    rows: list[Row] = [
        ("duration", f"{profile.duration_s:.3f} s", ""),
        ("peak speed", f"{profile.peak_pps:.1f} steps/s", reached),
        ("ramp", f"{profile.ramp_steps:.1f} steps", f"each, in {profile.ramp_s:.3f} s"),
        ("shape", profile.shape, ""),
    ]
    return Answer(sections=[(f"Move of {args.steps:g} steps", rows)], document=document)


# -- cable ----------------------------------------------------------------------------------------


def _add_cable(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "cable",
        naming_options(_cable),
        what="the voltage that a copper cable takes",
        example="--awg 18 --length-m 10 --amps 2",
    )
    parser.add_argument("--awg", type=wire_gauge, metavar="GAUGE", help="American wire gauge, 0000 to 40")
    parser.add_argument("--length-m", type=number, metavar="M", help="length of the cable, one way")
    parser.add_argument("--amps", type=number, metavar="A", help="current through it")
    parser.add_argument(
        "--parallel", type=whole_number, metavar="N", default=1, help="conductors side by side; default 1"
    )


def _cable(args: argparse.Namespace) -> Answer:
    need(args, "awg", "length_m", "amps")
    drop = drop_v(args.awg, length_m=args.length_m, amps=args.amps, parallel=args.parallel)
    loop = loop_ohm(args.awg, length_m=args.length_m, parallel=args.parallel)
    cautions = [
        "Solid copper at 20 C: warm, stranded or copper-clad cable takes more voltage.",
        SUPPLY_CAUTION,
    ]
    document: dict[str, Any] = {
        "ohm_per_km": ohm_per_km(args.awg),
        "loop_ohm": loop,
        "drop_v": drop,
        "loss_w": drop * args.amps,
        "cautions": cautions,
    }
    rows: list[Row] = [
        ("conductor", f"{ohm_per_km(args.awg):.2f} ohm/km", "one of them, at 20 C"),
        ("loop", f"{loop:.4f} ohm", "there and back"),
        ("drop", f"{drop:.3f} V", f"at {args.amps:g} A"),
        ("loss", f"{drop * args.amps:.2f} W", "warms the cable"),
    ]
    return Answer(sections=[("Cable", rows)], document=document, notes=[cautions_note(cautions)])
