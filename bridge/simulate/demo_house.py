"""The invented demo house: three shades on two boards, as they really are.

NOMINAL is what an owner would measure and write into settings. The truth beside it differs a little: cloth
thickness by some 0.3 % of itself (under 0.1 % of the drop), slip drawn afresh, the start anywhere.
Unpowered, `study` holds its cloth everywhere, `kitchen` only near the top, `landing` (thick cloth, a brake
spring) only near the bottom: there it comes to rest when power goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from bridge.simulate.build import Build
from bridge.simulate.fitting import BoardPlan, Fitting, HousePlan

GEAR = Fraction(57, 11)
PULSES_PER_REV = 800


@dataclass(frozen=True, slots=True, kw_only=True)
class Nominal:
    """What the owner believes of one shade.

    Attributes:
        board: Id of its board.
        channel: Its number there.
        tube_mm: Bare diameter.
        cloth_mm: One layer.
        drop_mm: From the upper to the lower limit.
        wraps_left: Turns still wound at the lower limit.
        top_pps: Speed that the motor bears, in steps a second.
        ramp_pps2: Acceleration.
        slip_move_mm: A fair allowance per move.
        slip_turn_mm: A fair allowance per tube turn.
        upper_switch_mm: Drop at which the upper switch closes; negative is above the upper limit.
        upper_stop_mm: Drop at which a hard stop ends the rise.
        holds: Percent open, from and to, in which the unpowered motor surely holds.
    """

    board: str
    channel: int
    tube_mm: float
    cloth_mm: float
    drop_mm: float
    wraps_left: float
    top_pps: int
    ramp_pps2: int
    slip_move_mm: float
    slip_turn_mm: float
    upper_switch_mm: float | None
    upper_stop_mm: float
    holds: tuple[tuple[float, float], ...]


NOMINAL = {
    "study": Nominal(
        board="attic-board",
        channel=0,
        tube_mm=38.0,
        cloth_mm=0.5,
        drop_mm=1800.0,
        wraps_left=1.5,
        top_pps=3200,
        ramp_pps2=4000,
        slip_move_mm=0.1,
        slip_turn_mm=0.05,
        upper_switch_mm=-4.0,
        upper_stop_mm=-25.0,
        holds=((0.0, 100.0),),
    ),
    "kitchen": Nominal(
        board="attic-board",
        channel=1,
        tube_mm=32.0,
        cloth_mm=0.42,
        drop_mm=1250.0,
        wraps_left=2.0,
        top_pps=2600,
        ramp_pps2=3200,
        slip_move_mm=0.1,
        slip_turn_mm=0.05,
        upper_switch_mm=-3.0,
        upper_stop_mm=-20.0,
        holds=((75.0, 100.0),),
    ),
    "landing": Nominal(
        board="stair-board",
        channel=0,
        tube_mm=50.0,
        cloth_mm=0.9,
        drop_mm=2300.0,
        wraps_left=1.25,
        top_pps=3000,
        ramp_pps2=3000,
        slip_move_mm=0.15,
        slip_turn_mm=0.06,
        upper_switch_mm=None,
        upper_stop_mm=-30.0,
        holds=((0.0, 15.0),),
    ),
}

STUDY = Build(
    tube_mm=38.0,
    cloth_mm=0.5015,
    drop_mm=1800.0,
    wraps_left=1.52,
    pulses_per_rev=PULSES_PER_REV,
    gear=GEAR,
    start_mm=612.0,
    width_mm=950.0,
    cloth_kgpm2=0.19,
    hem_bar_kg=0.22,
    detent_nm=0.031,
    stop_mm=-25.4,
    upper_switch_mm=-4.1,
    slip_move_mm=0.06,
    slip_turn_mm=0.03,
)

KITCHEN = Build(
    tube_mm=32.0,
    cloth_mm=0.419,
    drop_mm=1250.0,
    wraps_left=1.98,
    pulses_per_rev=PULSES_PER_REV,
    gear=GEAR,
    start_mm=207.0,
    width_mm=1300.0,
    cloth_kgpm2=0.38,
    hem_bar_kg=0.4,
    detent_nm=0.024,
    stop_mm=-19.8,
    upper_switch_mm=-2.9,
    slip_move_mm=0.06,
    slip_turn_mm=0.03,
)

LANDING = Build(
    tube_mm=50.0,
    cloth_mm=0.9018,
    drop_mm=2300.0,
    wraps_left=1.26,
    pulses_per_rev=PULSES_PER_REV,
    gear=GEAR,
    start_mm=2120.0,
    width_mm=1100.0,
    cloth_kgpm2=0.09,
    hem_bar_kg=1.1,
    friction_nm=0.24,
    detent_nm=0.024,
    stop_mm=-29.5,
    slip_move_mm=0.1,
    slip_turn_mm=0.04,
)


RATIO = PULSES_PER_REV * GEAR

DEMO_HOUSE = HousePlan(
    seed=20,
    boards=(
        BoardPlan(
            id="attic-board",
            channels=(
                Fitting(shade="study", build=STUDY, pulses_per_turn=RATIO, record=1216),
                Fitting(shade="kitchen", build=KITCHEN, pulses_per_turn=RATIO, record=-3648),
            ),
        ),
        BoardPlan(
            id="stair-board",
            channels=(Fitting(shade="landing", build=LANDING, pulses_per_turn=RATIO, record=20512),),
        ),
    ),
)
