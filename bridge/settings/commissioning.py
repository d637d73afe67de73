"""From the settings of a shade to what its commissioning begins with."""

from __future__ import annotations

from bridge.core.commissioning.state import Facts, Weight
from bridge.core.shade.units import reach
from bridge.core.spec import ContractLink, ShadeSpec
from bridge.settings.plain import Settings


def facts_of(settings: Settings, spec: ShadeSpec) -> Facts:
    """Return what the settings say of a shade, as a commissioning takes it."""
    roll, drive = spec.travel.roll, spec.travel.drive
    two_way = isinstance(spec.link, ContractLink)
    ends = None if two_way else reach(spec)
    return Facts(
        tube_mm=roll.tube_mm,
        cloth_mm=roll.cloth_mm,
        drop_mm=roll.drop_mm,
        wraps_left=roll.wraps_left,
        pulses_per_rev=drive.pulses_per_rev,
        gear=drive.gear,
        full_steps_per_rev=drive.full_steps_per_rev,
        top_pps=spec.top_pps,
        ramp_pps2=spec.ramp_pps2,
        holds=spec.unpowered_holds,
        overrun_mm=spec.overrun_mm,
        upper_switch_mm=None if spec.upper_switch is None else spec.upper_switch.at_mm,
        two_way=two_way,
        sleeps=two_way or not spec.one_way.rest_current,
        weight=_weight(settings, spec),
        reach=None if ends is None else (ends.low, ends.high),
    )


def _weight(settings: Settings, spec: ShadeSpec) -> Weight | None:
    told = settings.lifts.get(spec.id)
    if told is None or told.lifting is None or told.motor is None:
        return None
    return Weight(
        width_mm=told.lifting.width_mm,
        cloth_kgpm2=told.lifting.cloth_kgpm2,
        hem_bar_kg=told.lifting.hem_bar_kg,
        detent_nm=told.motor.detent_torque_nm,
    )
