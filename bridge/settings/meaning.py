"""What the settings mean in turns, steps, seconds and millimetres, and what their owner should beware of.

Pure arithmetic on the core's own mechanics; `hembar check` prints it.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import pi
from pathlib import Path

from bridge.core.shade.profile import move_profile
from bridge.core.spec import ContractLink, Mounting, PowerUp, ShadeSpec
from bridge.settings.faults import listed, number
from bridge.settings.plain import Settings

SAFETY = (
    "Hobby control software: not a safety device, not certified.",
    "Shades can move unattended at any time, also when power returns.",
    "Remove or make inaccessible every cord and loop, and keep the hem path clear.",
    "Never use a shade as a guard, a lock or on an escape route.",
    "Limit force by mechanics: software and stall sensing are no protection.",
    "Have a local way to stop and isolate; support the cloth when you work on it.",
    "Local codes, the landlord's rules and licensed electricians prevail.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShadeMeaning:
    """What one shade's settings mean.

    Attributes:
        spec: The shade.
        total_turns: Tube turns between the limits.
        pulses_per_turn: Steps for one tube turn, exact.
        full_travel_steps: Steps between the limits, rounded once.
        full_travel_s: Time from limit to limit.
        fastest_mmps: Greatest speed of the hem bar, near the upper limit, in mm/s.
        motor_rpm: Top speed of the motor shaft.
        mm_per_percent: Drop of one percent.
        largest_linear_error_mm: How far too low the hem bar would hang if turns were proportional to drop.
        spare_turns: Turns that an order may go beyond the lower limit at the very most.
        spare_mm: The same in mm.
        full_move_width_mm: Width that one move over the whole drop adds to a position.
        cautions: What the owner should beware of, in plain words.
    """

    spec: ShadeSpec
    total_turns: float
    pulses_per_turn: Fraction
    full_travel_steps: int
    full_travel_s: float
    fastest_mmps: float
    motor_rpm: float
    mm_per_percent: float
    largest_linear_error_mm: float
    spare_turns: float
    spare_mm: float
    full_move_width_mm: float
    cautions: tuple[str, ...]


def shade_meaning(spec: ShadeSpec, *, wind_contact: bool) -> ShadeMeaning:
    """Return what the settings of one shade mean."""
    travel, roll, drive = spec.travel, spec.travel.roll, spec.travel.drive
    move = move_profile(steps=travel.lower_steps, top_pps=spec.top_pps, ramp_pps2=spec.ramp_pps2)
    return ShadeMeaning(
        spec=spec,
        total_turns=roll.total_turns,
        pulses_per_turn=drive.pulses_per_turn,
        full_travel_steps=travel.lower_steps,
        full_travel_s=move.duration_s,
        fastest_mmps=move.peak_pps / float(drive.pulses_per_turn) * pi * roll.rolled_diameter_mm,
        motor_rpm=move.peak_pps / drive.pulses_per_rev * 60,
        mm_per_percent=roll.drop_mm / 100,
        largest_linear_error_mm=roll.largest_linear_error_mm,
        spare_turns=roll.wraps_left - 0.5,
        spare_mm=travel.drop_at_steps(travel.deepest_steps) - roll.drop_mm,
        full_move_width_mm=_full_move_width_mm(spec),
        cautions=tuple(
            _service_cautions(spec)
            + _one_way_cautions(spec)
            + _placement_cautions(spec, wind_contact)
            + _unpowered_cautions(spec)
            + _knowledge_cautions(spec)
        ),
    )


def holds_in_words(spec: ShadeSpec) -> str:
    """Return where the unpowered motor holds the cloth, for people."""
    if not spec.unpowered_holds:
        return "nowhere"
    if spec.unpowered_holds == ((0.0, 100.0),):
        return "everywhere"
    return f"at {listed([f'{number(low)} to {number(high)} %' for low, high in spec.unpowered_holds])} open"


def link_in_words(spec: ShadeSpec) -> str:
    """Return how the bridge talks to the shade's channel, for people."""
    link = spec.link
    if isinstance(link, ContractLink):
        return f"board {link.board}, channel {link.channel}"
    kept = "retained" if link.retained else "not retained"
    believes = "its retained target" if link.power_up is PowerUp.RETAINED_TARGET else "zero"
    alive = "nobody tells when it is gone" if link.alive is None else f"alive by {link.alive.topic}"
    stop = "halts by a target" if link.stop is None else f"halts by {link.stop.topic}"
    return (
        f"one-way: {link.unit} to {link.topic}, {kept}; after power-up it believes {believes}; late by up to "
        f"{number(link.latency_s)} s; {alive}; {stop}"
    )


def house_cautions(settings: Settings) -> tuple[str, ...]:
    """Return what concerns the whole house; looks whether the files that the settings name are there."""
    broker = settings.broker
    found = []
    near = broker.host in {"localhost", "::1"} or broker.host.startswith("127.")
    if not broker.tls and not near:
        secret = "the password and every request cross" if broker.username else "every request crosses"
        found.append(
            f"{secret} the network to {broker.host} unencrypted, and whoever listens there can "
            "move the shades: use tls = true and a broker that asks for passwords"
        )
    secret_files = ("password_file", "key_file")
    for key in ("password_file", "ca_file", "cert_file", "key_file"):
        path: Path | None = getattr(broker, key)
        if path is not None and not path.is_file():
            found.append(
                f"{key} {path} isn't there now, or can't be seen by you; the service needs it to connect"
            )
        elif key in secret_files and path is not None and path.stat().st_mode & 0o007:
            found.append(f"{key} {path} can be read by every user of this machine: chmod 600")
    return tuple(found)


def _full_move_width_mm(spec: ShadeSpec) -> float:
    scale = spec.scale_allowance if spec.drive_confirmed else spec.unconfirmed_scale_allowance
    roll = spec.travel.roll
    slip = spec.slip_per_move_mm + spec.slip_per_turn_mm * roll.total_turns
    return 2 * (slip + scale * roll.drop_mm)


def _service_cautions(spec: ShadeSpec) -> list[str]:
    if spec.in_service:
        return []
    return [f"it is out of service: nothing moves it until `hembar commission {spec.id}` has handed it over"]


def _one_way_cautions(spec: ShadeSpec) -> list[str]:
    link = spec.link
    if isinstance(link, ContractLink):
        return []
    found = [
        (
            "its board never reports: whether it has obeyed, stalled or been pulled shows only at the "
            "window; confirm it at a limit now and then"
        )
    ]
    if link.alive is None:
        found.append(
            "nobody tells when its board has no power: a cut on the way goes unnoticed, and every later move "
            "is out by what was left of it, downward too, to the end of the cloth and beyond; use alive_topic"
        )
    elif link.alive.gone is None:
        found.append(
            f"a power cut shorter than alive_within_s = {number(link.alive.within_s)} goes unnoticed; a will "
            "on its alive topic, told by alive_gone, would show it"
        )
    if not link.rest_current and spec.unpowered_holds != ((0.0, 100.0),):
        found.append(
            "its motor is taken to be without current at rest, and holds the cloth only partly: elsewhere "
            "its position is lost after every move; set rest_current = true if the board leaves it on"
        )
    return found


def _placement_cautions(spec: ShadeSpec, wind_contact: bool) -> list[str]:
    if spec.mounting is not Mounting.EXTERIOR:
        return []
    if not wind_contact:
        return [
            (
                "it hangs outside without wind protection at its board, and a rule on a server dies with the "
                "Wi-Fi: wire a wind contact to the board and set wind_contact = true"
            )
        ]
    return [
        "it hangs outside: try its wired wind contact, and again every year; nobody else raises it in a gale"
    ]


def _unpowered_cautions(spec: ShadeSpec) -> list[str]:
    if spec.unpowered_holds == ((0.0, 100.0),):
        return []
    where = "nothing holds the cloth" if not spec.unpowered_holds else "only part of the travel is held"
    return [
        (
            f"without motor current {where}: the hem bar may fall at a power cut or a failed driver; keep "
            "the path clear, support the cloth when you work on it, and expect current in the motor at rest"
        )
    ]


def _knowledge_cautions(spec: ShadeSpec) -> list[str]:
    found = []
    drive, width = spec.travel.drive, _full_move_width_mm(spec)
    if not spec.drive_confirmed and drive.gear == 5:
        found.append(
            "the gear is exactly 5: planetary gears sold as 5:1 are commonly 57/11, which would put the hem "
            "bar out by 3.5 % of the drop; count the teeth"
        )
    if width > spec.doubtful_mm:
        allowance = "confirmed drive" if spec.drive_confirmed else "drive that is not confirmed"
        found.append(
            f"with a {allowance} a full move adds {width:.0f} mm to what is uncertain, more than "
            f"doubtful_mm = {number(spec.doubtful_mm)}: a reference will be wanted after it"
        )
    narrowest = min(2 * each for each in _half_widths(spec))
    if narrowest > spec.tolerance_mm:
        found.append(
            f"its best reference leaves {number(narrowest)} mm, more than tolerance_mm = "
            f"{number(spec.tolerance_mm)}: it can never count as referenced"
        )
    cycle_mm = float(drive.cycle_pulses / drive.pulses_per_turn) * pi * spec.travel.roll.rolled_diameter_mm
    if spec.unpowered_holds and cycle_mm > spec.tolerance_mm:
        found.append(
            f"four full steps move the hem bar {cycle_mm:.1f} mm, more than tolerance_mm = "
            f"{number(spec.tolerance_mm)}: after a power cut it can't count as referenced"
        )
    return found


def _half_widths(spec: ShadeSpec) -> list[float]:
    fixed = (spec.upper_switch, spec.lower_switch, spec.upper_stall)
    return [each.repeatability_mm for each in fixed if each] + [spec.hand_repeatability_mm]
