"""The calculators of cloth and wind: `hembar calc cloth|wind`."""

import argparse
from typing import TYPE_CHECKING

from bridge.cli.answers import Answer, Row, command, need, number
from bridge.core.errors import RequestError
from bridge.core.sun import gain
from bridge.core.wind import beaufort, resistance_class, velocity_pressure_npm2

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers


def add_commands(subparsers: "Subparsers") -> None:
    """Register both under `calc`."""
    _add_cloth(subparsers)
    _add_wind(subparsers)


def _add_cloth(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "cloth",
        _cloth,
        what="how much of the sun's heat passes glass with a cloth (ISO 52022-1, simplified method)",
        example="--mounting external --glass-g 0.59 --glass-u 1.2 --tau 0.05 --rho 0.3",
    )
    mountings = ("external", "internal", "integrated")
    parser.add_argument(
        "--mounting", choices=mountings, help="where the cloth hangs; integrated is between panes"
    )
    parser.add_argument(
        "--glass-g", type=number, metavar="G", help="solar transmittance of the glass, 0 to 1"
    )
    parser.add_argument("--glass-u", type=number, metavar="U", help="thermal transmittance, W/(m2 K)")
    parser.add_argument("--tau", type=number, metavar="SHARE", help="solar transmittance of the cloth")
    parser.add_argument("--rho", type=number, metavar="SHARE", help="solar reflectance of its sunny side")


def _cloth(args: argparse.Namespace) -> Answer:
    need(args, "mounting", "glass_g", "glass_u", "tau", "rho")
    glass = gain.Glass(g=args.glass_g, u_wpm2k=args.glass_u)
    cloth = gain.Cloth(tau=args.tau, rho=args.rho)
    both = gain.shaded(glass, cloth, args.mounting)
    rows: list[Row] = [
        ("g_tot", f"{both.g_tot:.3f}", "glass with cloth"),
        ("g", f"{glass.g:.3f}", "glass alone"),
        ("shading factor", f"{both.shading_factor:.3f}", "g_tot over g"),
        ("absorbed", f"{cloth.alpha:.3f}", "by the cloth"),
    ]
    document = {
        "g_tot": both.g_tot,
        "shading_factor": both.shading_factor,
        "in_validity_range": both.in_validity_range,
        "alpha": cloth.alpha,
        "warnings": list(both.warnings),
    }
    notes = [f"Warning: {warning}." for warning in both.warnings]
    return Answer(sections=[(f"Cloth, {args.mounting}", rows)], document=document, notes=notes)


def _add_wind(subparsers: "Subparsers") -> None:
    parser = command(
        subparsers,
        "wind",
        _wind,
        what="Beaufort force, pressure and resistance class of a wind",
        example="--kmh 40",
    )
    parser.add_argument("--mps", type=number, metavar="SPEED", help="metres per second")
    parser.add_argument("--kmh", type=number, metavar="SPEED", help="kilometres per hour")


_WIND_CAUTION = (
    "Not a safety device: an exterior shade needs wind protection in its board or wired, "
    "and the maker's limits and local codes prevail."
)


def _wind(args: argparse.Namespace) -> Answer:
    if (args.mps is None) == (args.kmh is None):
        raise RequestError(
            where="--mps and --kmh",
            problem="neither is given" if args.mps is None else "both are given",
            remedy="give the wind in one of them",
        )
    wind_mps: float = args.kmh / 3.6 if args.mps is None else args.mps
    force, pressure = beaufort(wind_mps), velocity_pressure_npm2(wind_mps)
    rows: list[Row] = [
        ("force", f"{force.force}", f"{force.name}, for a ten-minute mean"),
        ("pressure", f"{pressure:.1f} N/m2", "0.625 times the speed squared"),
        ("class", f"{resistance_class(pressure)}", "fabric in side rails; 0 is below the first class"),
    ]
    document = {
        "beaufort": force.force,
        "name": force.name,
        "pressure_npm2": pressure,
        "class": resistance_class(pressure),
        "cautions": [_WIND_CAUTION],
    }
    title = f"Wind of {wind_mps:.1f} m/s"
    return Answer(sections=[(title, rows)], document=document, notes=[_WIND_CAUTION])
