"""The calculator of lifting, `hembar calc lift`: what the shade asks of a motor, and what one gives."""

import argparse
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from bridge.cli.answers import Answer, Row, command, given, need, number, whole_number
from bridge.cli.build_options import (
    SUPPLY_CAUTION,
    cautions_note,
    gear_ratio,
    naming_options,
    refuse_beyond,
    wire_gauge,
)
from bridge.core.shade.bounds import checked
from bridge.core.shade.drive import Drive
from bridge.core.shade.holding import holding_percents
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import USUAL_MARGIN, Motor, Sizing, size
from bridge.core.shade.roll import Roll
from bridge.core.shade.sizing import HOURS_A_YEAR, Feed

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

_NEEDED = ("tube_mm", "cloth_mm", "drop_mm", "wraps_left", "width_mm", "cloth_kgpm2", "hem_bar_kg", "gear")
_MOTOR = ("holding_torque_nm", "phase_a", "phase_ohm", "phase_mh", "supply_v", "pps", "pulses_per_rev")
_CABLE = ("awg", "cable_m")
_CAUTIONS = (
    "Hobby control software, not a safety device. Limit the force by mechanics.",
    "Remove or make inaccessible every cord and loop, and keep the hem path clear.",
    "An unpowered motor may let the cloth fall: support it when working on it.",
)


def add_lift(subparsers: "Subparsers") -> None:
    """Register `calc lift`."""
    parser = command(
        subparsers,
        "lift",
        naming_options(_lift),
        what="the torque that lifts and holds a shade, and whether a motor gives it",
        example="--tube-mm 40 --cloth-mm 0.5 --drop-mm 2000 --wraps-left 1.5 --width-mm 1500 \\\n"
        "    --cloth-kgpm2 0.45 --hem-bar-kg 0.75 --gear 57/11 --gear-efficiency 0.9 --friction-nm 0.05 \\\n"
        "    --holding-torque-nm 0.4 --detent-torque-nm 0.02 --phase-a 1.7 --phase-ohm 1.5 \\\n"
        "    --phase-mh 2.8 --supply-v 24 --pps 3000 --pulses-per-rev 800 --awg 18 --cable-m 10",
    )
    _add_shade(parser)
    _add_motor(parser)


def _add_shade(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the shade")
    group.add_argument("--tube-mm", type=number, metavar="MM", help="outer diameter of the bare tube")
    group.add_argument("--cloth-mm", type=number, metavar="MM", help="thickness of the cloth")
    group.add_argument("--drop-mm", type=number, metavar="MM", help="drop from the upper to the lower limit")
    group.add_argument(
        "--wraps-left", type=number, metavar="N", help="turns still on the tube at the lower limit"
    )
    group.add_argument("--width-mm", type=number, metavar="MM", help="width of the cloth")
    group.add_argument("--cloth-kgpm2", type=number, metavar="KG", help="mass of a square metre of cloth")
    group.add_argument("--hem-bar-kg", type=number, metavar="KG", help="mass of the hem bar")
    group.add_argument(
        "--gear", type=gear_ratio, metavar="RATIO", help="motor turns for a tube turn, like 57/11"
    )
    group.add_argument(
        "--gear-efficiency", type=number, metavar="SHARE", default=1.0, help="of the gear; default 1, no loss"
    )
    group.add_argument("--friction-nm", type=number, metavar="NM", default=0.0, help="at the tube; default 0")
    group.add_argument(
        "--lowered-mm", type=number, metavar="MM", help="place to compute for; default the lower limit"
    )


def _add_motor(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the motor (all of these, or none; the cable as you like)")
    group.add_argument("--holding-torque-nm", type=number, metavar="NM", help="with both phases at --phase-a")
    group.add_argument(
        "--detent-torque-nm", type=number, metavar="NM", help="without current; unknown counts as none"
    )
    group.add_argument("--phase-a", type=number, metavar="A", help="peak current of a phase")
    group.add_argument("--phase-ohm", type=number, metavar="OHM", help="resistance of a phase")
    group.add_argument("--phase-mh", type=number, metavar="MH", help="inductance of a phase")
    group.add_argument("--supply-v", type=number, metavar="V", help="voltage of the supply")
    group.add_argument("--pps", type=number, metavar="SPEED", help="speed to lift at, steps a second")
    group.add_argument(
        "--pulses-per-rev", type=whole_number, metavar="N", help="driver pulses for a motor turn"
    )
    group.add_argument(
        "--full-steps", type=whole_number, metavar="N", default=200, help="of a motor turn; default 200"
    )
    group.add_argument("--awg", type=wire_gauge, metavar="GAUGE", help="cable between supply and motor")
    group.add_argument("--cable-m", type=number, metavar="M", help="its length, one way")


def _lift(args: argparse.Namespace) -> Answer:
    need(args, *_NEEDED)
    lifting = _lifting(args)
    lowered_mm = args.drop_mm if args.lowered_mm is None else args.lowered_mm
    why = "give a place between the limits; 0 is the upper one"
    refuse_beyond("lowered_mm", lowered_mm, least=0, most=args.drop_mm, unit=" mm", why=why)
    peak = lifting.peak()
    document: dict[str, Any] = {
        "lowered_mm": lowered_mm,
        "radius_mm": lifting.radius_mm(lowered_mm),
        "hanging_kg": lifting.hanging_kg(lowered_mm),
        "tube_torque_nm": lifting.tube_torque_nm(lowered_mm),
        "tube_torque_lifting_nm": lifting.tube_torque_lifting_nm(lowered_mm),
        "motor_torque_nm": lifting.motor_torque_nm(lowered_mm),
        "back_driving_torque_nm": lifting.back_driving_torque_nm(lowered_mm),
        "peak": {"tube_torque_nm": peak.tube_torque_nm, "at_lowered_mm": peak.at_lowered_mm},
        "peak_motor_torque_nm": lifting.peak_motor_torque_nm(),
    }
    sections = [(f"Lowered by {lowered_mm:g} mm", _shade_rows(document))]
    cautions = list(_CAUTIONS)
    if args.gear_efficiency == 1 and args.friction_nm == 0:
        cautions.append("Neither gear losses nor friction are counted; a real shade asks for more torque.")
    if given(args, (*_MOTOR, "detent_torque_nm", *_CABLE)):
        trial = _trial(args, lifting)
        document |= _motor_part(trial)
        sections.append(("Motor", _motor_rows(trial)))
        cautions += [*_trial_cautions(trial), SUPPLY_CAUTION]
    document["cautions"] = cautions
    return Answer(sections=sections, document=document, notes=[cautions_note(cautions)])


def _lifting(args: argparse.Namespace) -> Lifting:
    roll = Roll(
        tube_mm=args.tube_mm, cloth_mm=args.cloth_mm, drop_mm=args.drop_mm, wraps_left=args.wraps_left
    )
    return Lifting(
        roll=roll,
        width_mm=args.width_mm,
        cloth_kgpm2=args.cloth_kgpm2,
        hem_bar_kg=args.hem_bar_kg,
        gear=args.gear,
        gear_efficiency=args.gear_efficiency,
        friction_nm=args.friction_nm,
    )


def _shade_rows(part: dict[str, Any]) -> list[Row]:
    peak = part["peak"]
    return [
        ("radius", f"{part['radius_mm']:.2f} mm", "at which the cloth hangs"),
        ("hanging", f"{part['hanging_kg']:.3f} kg", "cloth and hem bar"),
        ("tube, balance", f"{part['tube_torque_nm']:.4f} N m", ""),
        ("tube, lifting", f"{part['tube_torque_lifting_nm']:.4f} N m", "with friction"),
        ("motor, lifting", f"{part['motor_torque_nm']:.4f} N m", "through gear and losses"),
        ("back-driving", f"{part['back_driving_torque_nm']:.4f} N m", "on the unpowered motor, at worst"),
        (
            "peak, balance",
            f"{peak['tube_torque_nm']:.4f} N m",
            f"at the tube, {peak['at_lowered_mm']:.0f} mm down",
        ),
        ("peak, motor", f"{part['peak_motor_torque_nm']:.4f} N m", "lifting there"),
    ]


# -- the motor ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Trial:
    """A motor tried on a shade; speeds are in full steps a second."""

    motor: Motor
    driver_v: float
    cable_v: float
    full_pps: float
    pulses: float
    pps: float
    result: Sizing
    detent_known: bool
    holds: list[tuple[float, float]]


def _trial(args: argparse.Namespace, lifting: Lifting) -> _Trial:
    need(args, *_MOTOR)
    checked("pps", args.pps, above=0, unit="steps/s")
    checked("full_steps", args.full_steps, least=4)
    drive = Drive(pulses_per_rev=args.pulses_per_rev, gear=args.gear, full_steps_per_rev=args.full_steps)
    detent_nm = 0.0 if args.detent_torque_nm is None else args.detent_torque_nm
    motor = Motor(
        holding_torque_nm=args.holding_torque_nm,
        detent_torque_nm=detent_nm,
        phase_a=args.phase_a,
        phase_ohm=args.phase_ohm,
        phase_mh=args.phase_mh,
        full_steps_per_rev=args.full_steps,
    )
    feed = _feed(args)
    driver_v = feed.driver_v(motor.phase_a)
    pulses = float(drive.full_step_pulses)
    return _Trial(
        motor=motor,
        driver_v=driver_v,
        cable_v=feed.cable_v(motor.phase_a),
        full_pps=args.pps / pulses,
        pulses=pulses,
        pps=args.pps,
        result=size(lifting, motor, full_pps=args.pps / pulses, supply_v=driver_v),
        detent_known=args.detent_torque_nm is not None,
        holds=holding_percents(lifting, detent_torque_nm=detent_nm),
    )


def _feed(args: argparse.Namespace) -> Feed:
    """Return the supply and the cable, which is reckoned to carry the peak phase current.

    Sinusoidal phases draw at most that from the supply, and a cable between driver and motor carries
    just that: an upper bound for either place.
    """
    checked("supply_v", args.supply_v, above=0, unit="V")
    if given(args, _CABLE):
        need(args, *_CABLE)
        checked("cable_m", args.cable_m, above=0, unit="m")
    return Feed(supply_v=args.supply_v, standstill_a=args.phase_a, cable_awg=args.awg, cable_m=args.cable_m)


def _motor_part(trial: _Trial) -> dict[str, Any]:
    motor, result = trial.motor, trial.result
    return {
        "top_speed_lr_full_pps": motor.top_speed_lr_full_pps(trial.driver_v),
        "top_speed_emf_full_pps": motor.top_speed_emf_full_pps(trial.driver_v),
        "speed_full_pps": trial.full_pps,
        "driver_v": trial.driver_v,
        "cable_drop_v": trial.cable_v,
        "torque_at_speed_nm": result.torque_at_speed_nm,
        "margin": result.margin,
        "usual_margin": USUAL_MARGIN,
        "fastest_pps_with_usual_margin": result.fastest_full_pps * trial.pulses,
        "holds_asleep": [list(stretch) for stretch in trial.holds],
        "standstill_w": motor.standstill_w,
        "standstill_kwh_a_year": motor.standstill_w * HOURS_A_YEAR / 1000,
        "verdict": result.verdict,
    }


def _motor_rows(trial: _Trial) -> list[Row]:
    motor, result = trial.motor, trial.result
    lr, emf = motor.top_speed_lr_full_pps(trial.driver_v), motor.top_speed_emf_full_pps(trial.driver_v)
    stretches = ", ".join(f"{low:.1f} to {high:.1f} %" for low, high in trial.holds) or "nowhere"
    fastest = result.fastest_full_pps * trial.pulses
    return [
        ("driver", f"{trial.driver_v:.2f} V", f"the cable takes {trial.cable_v:.2f} V"),
        ("speed", f"{trial.full_pps:.0f} full steps/s", f"{trial.pps:g} steps/s"),
        ("L/R limit", f"{lr:.0f} full steps/s", "the current can just be reversed"),
        ("back-EMF limit", f"{emf:.0f} full steps/s", "up to here the full current flows"),
        ("torque", f"{result.torque_at_speed_nm:.4f} N m", "that the motor gives at this speed"),
        ("margin", f"{result.margin:.2f}", f"over the peak; {USUAL_MARGIN:g} is common practice"),
        ("fastest", f"{fastest:.0f} steps/s" if fastest else "none", "with that margin"),
        ("holds asleep", stretches, f"open, with a margin of {USUAL_MARGIN:g}"),
        ("standstill", f"{motor.standstill_w:.2f} W", "at full current"),
        ("", f"{motor.standstill_w * HOURS_A_YEAR / 1000:.0f} kWh", "a year, if never asleep"),
        ("verdict", result.verdict, ""),
    ]


def _trial_cautions(trial: _Trial) -> list[str]:
    motor, result = trial.motor, trial.result
    resistive_v = motor.phase_ohm * motor.phase_a
    emf = motor.top_speed_emf_full_pps(trial.driver_v)
    facts = [
        (result.margin < USUAL_MARGIN, f"The motor gives {result.margin:.2f} times the torque asked for."),
        (
            result.margin < USUAL_MARGIN,
            "Slower, a higher supply, more gear, a lighter hem bar or a thicker cable would help.",
        ),
        (
            trial.driver_v <= resistive_v,
            f"The full {motor.phase_a:g} A takes {resistive_v:.2f} V, more than the driver's.",
        ),
        (
            trial.driver_v > resistive_v and trial.full_pps > emf,
            f"{trial.full_pps:.0f} full steps/s are past the back-EMF limit of {emf:.0f}; the torque falls.",
        ),
        (not trial.detent_known, "No detent torque is given: the motor is taken to hold nothing asleep."),
        (
            trial.detent_known and trial.holds != [(0.0, 100.0)],
            "The motor does not hold the cloth everywhere asleep: keep it awake there, or it may fall.",
        ),
        (True, "The motor is a model without resonance, not a data sheet: try it with the shade, attended."),
    ]
    return [text for applies, text in facts if applies]
