"""`hembar size`: whether a shade's motor, supply and cable suit it, and what would; moves nothing."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.cli.build_options import SUPPLY_CAUTION, cautions_note
from bridge.cli.naming import named
from bridge.cli.parser import HelpFormatter
from bridge.cli.pictures import DARK, LIGHT, add_picture
from bridge.core.errors import RequestError

if TYPE_CHECKING:
    from bridge.cli.answers import Answer, Row, Subparsers
    from bridge.core.shade.sizing import Remedy, Setup
    from bridge.core.spec import ShadeSpec
    from bridge.settings.plain import Settings

EXAMPLE = "Example:\n  hembar size study --settings hembar.toml --picture study.svg"
PLACES = 5
CAUTIONS = (
    "Hobby control software, not a safety device. Limit the force by mechanics.",
    "Remove or make inaccessible every cord and loop, and keep the hem path clear.",
    "Support the cloth when you work on it: an unpowered motor may let it fall.",
    SUPPLY_CAUTION,
    "The motor is a model without resonance, not a data sheet: try it with the shade, attended.",
)


def add_command(subparsers: Subparsers) -> None:
    """Add `size` to the commands."""
    parser = subparsers.add_parser(
        "size",
        help="whether a shade's motor, supply and cable suit it, and what would",
        description="Holds the motor of a shade in the settings against its weight along the whole travel: "
        "torque, margin, speed, where it holds unpowered, supply, fuse and cable, and what would mend a "
        "fail. Nothing moves. It needs the tables [shades.SHADE.lift] and [shades.SHADE.motor].",
        epilog=EXAMPLE,
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shade", metavar="SHADE", help="its id in the settings")
    parser.add_argument("--settings", metavar="FILE", type=Path, required=True, help="the settings")
    add_picture(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the sizing of one shade; 1 when the motor does not lift it."""
    from bridge.cli.answers import table  # noqa: PLC0415
    from bridge.settings.load import load  # noqa: PLC0415  pydantic

    settings = load(args.settings)
    spec = named(args.shade, {each.id: each for each in settings.house.shades}, among="these settings")
    setup = setup_of(settings, spec)
    if args.picture is not None:
        from bridge.cli.size_picture import draw  # noqa: PLC0415  matplotlib

        draw(args.picture, setup, name=spec.name, shades=DARK if args.dark else LIGHT)
    answer = sized(spec, setup)
    print(json.dumps(answer.document, allow_nan=False) if args.json else table(answer))
    return 0 if setup.result.margin > 1 else 1


def setup_of(settings: Settings, spec: ShadeSpec) -> Setup:
    """Return a shade with its motor, for the sizing.

    Raises:
        RequestError: its weight or its motor is not told.
    """
    from bridge.core.shade.sizing import Setup  # noqa: PLC0415

    lift = settings.lifts[spec.id]
    missing = [key for key, value in (("lift", lift.lifting), ("motor", lift.motor)) if value is None]
    if lift.lifting is None or lift.motor is None or lift.feed is None:
        tables = " and ".join(f"[shades.{spec.id}.{key}]" for key in missing)
        raise RequestError(
            where=f"{settings.origin} {tables}",
            problem="nothing is told there, so nothing can be reckoned",
            remedy="add what hangs on the tube and the motor's data sheet; config/hembar.toml shows both",
        )
    return Setup(
        travel=spec.travel,
        lifting=lift.lifting,
        motor=lift.motor,
        feed=lift.feed,
        top_pps=spec.top_pps,
        ramp_pps2=spec.ramp_pps2,
    )


def sized(spec: ShadeSpec, setup: Setup) -> Answer:
    """Return all figures of a sizing, for people and for programs."""
    from bridge.cli.answers import Answer  # noqa: PLC0415
    from bridge.core.shade.sizing import has_margin, remedies  # noqa: PLC0415

    help_wanted = [] if has_margin(setup) else remedies(setup)
    sections = [
        (f"{spec.name}: {setup.result.verdict}", _verdict_rows(setup)),
        ("Along the travel, lifting, at the motor", _travel_rows(setup)),
        ("Without current", _rest_rows(spec, setup)),
        ("Speed", _speed_rows(setup)),
        ("Supply and cable", _supply_rows(spec, setup)),
    ]
    if help_wanted:
        sections.append(
            ("Each of these alone would give the margin", [_remedy_row(each) for each in help_wanted])
        )
    document = _document(spec, setup, help_wanted)
    return Answer(sections=sections, document=document, notes=[cautions_note(document["cautions"])])


def _cautions(spec: ShadeSpec, setup: Setup) -> list[str]:
    """Return what to beware of; the settings may let the motor sleep where this reckoning would not."""
    from bridge.core.shade.holding import held_percents  # noqa: PLC0415

    held = held_percents(setup.lifting, detent_torque_nm=setup.motor.detent_torque_nm)
    beyond = [
        each
        for each in spec.unpowered_holds
        if not any(low <= each[0] and each[1] <= high for low, high in held)
    ]
    if not beyond:
        return list(CAUTIONS)
    told = f"The settings let the motor sleep at {_stretches(beyond)} open, beyond what is reckoned here"
    return [f'{told}: try it with the cloth supported, or set holds = "computed".', *CAUTIONS]


def _verdict_rows(setup: Setup) -> list[Row]:
    from bridge.core.shade.motor import USUAL_MARGIN  # noqa: PLC0415

    result, peak = setup.result, setup.lifting.peak()
    return [
        (
            "asked",
            f"{result.peak_motor_torque_nm:.4f} N m",
            f"of the motor, {peak.at_lowered_mm:.0f} mm down",
        ),
        ("given", f"{result.torque_at_speed_nm:.4f} N m", f"at {setup.top_pps:g} steps/s"),
        ("margin", f"{result.margin:.2f}", f"a factor of {USUAL_MARGIN:g} is common practice"),
    ]


def _travel_rows(setup: Setup) -> list[Row]:
    from bridge.core.shade.sizing import along_travel  # noqa: PLC0415

    percent = setup.travel.roll.percent_at_drop
    return [
        (
            f"{percent(each.drop_mm):.0f} % open",
            f"{each.needed_nm:.4f} N m",
            f"asked, {each.available_nm:.4f} given, {each.weight_nm:.4f} of weight",
        )
        for each in along_travel(setup, places=PLACES)
    ]


def _rest_rows(spec: ShadeSpec, setup: Setup) -> list[Row]:
    from bridge.core.shade.holding import held_percents  # noqa: PLC0415
    from bridge.core.shade.motor import USUAL_MARGIN  # noqa: PLC0415
    from bridge.core.shade.sizing import HOURS_A_YEAR  # noqa: PLC0415

    held = held_percents(setup.lifting, detent_torque_nm=setup.motor.detent_torque_nm)
    rows = [
        ("may sleep", _stretches(held), f"open: it holds {USUAL_MARGIN:g} times the weight, common practice"),
        ("settings say", _stretches(spec.unpowered_holds), "open, which the service follows"),
        *_fall_rows(setup),
        (
            "awake",
            f"{setup.standstill_w:.2f} W",
            f"{setup.feed.standstill_a:g} A at rest where it may not sleep",
        ),
        ("", f"{setup.standstill_w * HOURS_A_YEAR / 1000:.0f} kWh", "a year, if it rests there all year"),
    ]
    return [*rows, *_holding_gear_row(setup, held)]


def _fall_rows(setup: Setup) -> list[Row]:
    falls = _falls(setup)
    if not falls:
        return [("falls", "nowhere", "even with no margin")]
    return [
        (
            "falls" if number == 0 else "",
            f"from {each['from_percent']:.0f} %",
            f"down to {each['rests_mm']:.0f} mm" + (", the end of the cloth" if each["end_of_cloth"] else ""),
        )
        for number, each in enumerate(falls)
    ]


def _falls(setup: Setup) -> list[dict[str, Any]]:
    """Return from where the cloth would fall, and how far down, at even places of the travel."""
    from bridge.core.shade.sizing import resting_drop_mm  # noqa: PLC0415

    roll = setup.travel.roll
    found = []
    for percent in (100, 75, 50, 25, 0):
        drop_mm = roll.drop_at_percent(percent)
        rests_mm = resting_drop_mm(setup, drop_mm)
        if rests_mm > drop_mm:
            end = rests_mm >= roll.end_drop_mm
            found.append({"from_percent": percent, "rests_mm": rests_mm, "end_of_cloth": end})
    return found


def _holding_gear_row(setup: Setup, held: list[tuple[float, float]]) -> list[Row]:
    from bridge.core.shade.sizing import gear_that_holds  # noqa: PLC0415

    gear = gear_that_holds(setup)
    if held == [(0.0, 100.0)] or gear is None:
        return []
    return [("would hold", f"gear of {gear:.2f}", "motor turns a tube turn: asleep everywhere")]


def _speed_rows(setup: Setup) -> list[Row]:
    motor, volts, pulses = setup.motor, setup.driver_v, setup.step_pulses
    fastest = setup.result.fastest_full_pps * pulses
    lr, emf = motor.top_speed_lr_full_pps(volts) * pulses, motor.top_speed_emf_full_pps(volts) * pulses
    return [
        ("full travel", f"{setup.move.duration_s:.1f} s", f"at {setup.top_pps:g} steps/s, ramps included"),
        ("fastest", f"{fastest:.0f} steps/s" if fastest else "none", "with that margin"),
        ("L/R limit", f"{lr:.0f} steps/s", "the current of a phase can just be reversed"),
        ("back-EMF limit", f"{emf:.0f} steps/s", "up to here the full current flows"),
    ]


def _supply_rows(spec: ShadeSpec, setup: Setup) -> list[Row]:
    amps, told = branch_a(spec, setup)
    fuses = _fuses(amps)
    cable_v = setup.feed.cable_v(setup.motor.phase_a)
    return [
        (
            "branch",
            f"{amps:g} A",
            "moving_a of the settings" if told else "the phase current, an upper bound",
        ),
        (
            "supply",
            f"{amps * setup.feed.supply_v:.0f} W",
            f"at {setup.feed.supply_v:g} V, for this branch alone",
        ),
        (
            "fuse",
            _amps(fuses["iec_60127_a"]),
            "next rating of IEC 60127 miniature fuses, slow; 1.25 times the",
        ),
        ("or", _amps(fuses["blade_a"]), "of ISO 8820-3 blade fuses; branch, common practice"),
        (
            "cable",
            f"{cable_v:.2f} V",
            f"taken at {setup.motor.phase_a:g} A; {setup.driver_v:.2f} V at the driver",
        ),
    ]


def branch_a(spec: ShadeSpec, setup: Setup) -> tuple[float, bool]:
    """Return the amps of the shade's branch, and whether its owner has told them."""
    return (spec.moving_a, True) if spec.moving_a else (setup.motor.phase_a, False)


def _fuses(amps: float) -> dict[str, float | None]:
    from bridge.core.shade.sizing import BLADE_FUSES_A, MINIATURE_FUSES_A, next_fuse_a  # noqa: PLC0415

    return {
        "iec_60127_a": next_fuse_a(amps, MINIATURE_FUSES_A),
        "blade_a": next_fuse_a(amps, BLADE_FUSES_A),
    }


def _amps(rating: float | None) -> str:
    return "none" if rating is None else f"{rating:g} A"


def _remedy_row(remedy: Remedy) -> Row:
    if remedy.setup is None or remedy.value is None:
        return (remedy.what, "none", "of this kind is enough by itself")
    value = f"{remedy.value:.0f}" if remedy.unit in ("steps/s", "AWG") else f"{remedy.value:.2f}"
    return (
        remedy.what,
        value,
        f"{remedy.unit}; a full travel then takes {remedy.setup.move.duration_s:.1f} s",
    )


def _stretches(held: Any) -> str:
    return ", ".join(f"{low:.0f} to {high:.0f} %" for low, high in held) or "nowhere"


def _document(spec: ShadeSpec, setup: Setup, help_wanted: list[Remedy]) -> dict[str, Any]:
    from dataclasses import asdict  # noqa: PLC0415

    from bridge.core.shade.holding import held_percents  # noqa: PLC0415
    from bridge.core.shade.motor import USUAL_MARGIN  # noqa: PLC0415
    from bridge.core.shade.sizing import HOURS_A_YEAR, along_travel, gear_that_holds  # noqa: PLC0415

    result, motor, volts, peak = setup.result, setup.motor, setup.driver_v, setup.lifting.peak()
    amps, told = branch_a(spec, setup)
    held = held_percents(setup.lifting, detent_torque_nm=motor.detent_torque_nm)
    return {
        "shade": spec.id,
        "verdict": result.verdict,
        "margin": result.margin,
        "usual_margin": USUAL_MARGIN,
        "peak_motor_torque_nm": result.peak_motor_torque_nm,
        "peak": {"tube_torque_nm": peak.tube_torque_nm, "at_lowered_mm": peak.at_lowered_mm},
        "torque_at_speed_nm": result.torque_at_speed_nm,
        "travel": [asdict(each) for each in along_travel(setup)],
        "holds_asleep": [list(each) for each in held],
        "holds_in_settings": [list(each) for each in spec.unpowered_holds],
        "falls": _falls(setup),
        "gear_that_holds": gear_that_holds(setup),
        "standstill_a": setup.feed.standstill_a,
        "standstill_w": setup.standstill_w,
        "standstill_kwh_a_year": setup.standstill_w * HOURS_A_YEAR / 1000,
        "pps": setup.top_pps,
        "full_travel_s": setup.move.duration_s,
        "fastest_pps_with_usual_margin": result.fastest_full_pps * setup.step_pulses,
        "top_speed_lr_full_pps": motor.top_speed_lr_full_pps(volts),
        "top_speed_emf_full_pps": motor.top_speed_emf_full_pps(volts),
        "branch_a": amps,
        "branch_a_from": "moving_a" if told else "phase_a, an upper bound",
        "supply_v": setup.feed.supply_v,
        "supply_w": amps * setup.feed.supply_v,
        "fuse": _fuses(amps),
        "cable_drop_v": setup.feed.cable_v(motor.phase_a),
        "driver_v": volts,
        "remedies": [_remedy_json(each) for each in help_wanted],
        "cautions": _cautions(spec, setup),
    }


def _remedy_json(remedy: Remedy) -> dict[str, Any]:
    travel_s = None if remedy.setup is None else remedy.setup.move.duration_s
    return {"what": remedy.what, "value": remedy.value, "unit": remedy.unit, "full_travel_s": travel_s}
