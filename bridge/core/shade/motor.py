"""What a stepper motor has to give: torque at speed, and the speeds that supply and winding allow.

The model is the phasor diagram of a two-phase machine with a permanent-magnet rotor: sinusoidal phase
currents in phase with the back-EMF, a driver that applies at most its supply voltage, and

    (R*i + w*psi)^2 + (w*L*i)^2 <= V^2,    torque = teeth*psi*i,    i <= I,    teeth = full steps/4.

Holding torque is measured with both phases at I, so psi = Th/(sqrt(2)*teeth*I); micro-stepping with
peak current I therefore gives Th/sqrt(2) at standstill. The model is from memory of machine theory; no
published worked example was seen. Iron loss, detent torque and resonance are left out, and so is the
little more that a driver gets by letting the current lead: hence the factor of two on the result.
"""

import math
from dataclasses import dataclass

from bridge.core.shade.bounds import checked
from bridge.core.shade.lifting import Lifting

# Common practice in choosing steppers: twice the torque that the load asks for.
USUAL_MARGIN = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """The figures of a two-phase stepper motor's data sheet.

    Args:
        holding_torque_nm: With both phases at `phase_a`, > 0.
        detent_torque_nm: Without current, >= 0.
        phase_a: Peak current of a phase, as the driver is set, > 0.
        phase_ohm: Resistance of a phase, > 0.
        phase_mh: Inductance of a phase in mH, > 0.
        full_steps_per_rev: Full steps for one turn of the shaft, > 0.

    Raises:
        RequestError: an argument out of its range.
    """

    holding_torque_nm: float
    detent_torque_nm: float
    phase_a: float
    phase_ohm: float
    phase_mh: float
    full_steps_per_rev: int = 200

    def __post_init__(self) -> None:
        """Refuse impossible figures."""
        checked("holding_torque_nm", self.holding_torque_nm, above=0, unit="N m")
        checked("detent_torque_nm", self.detent_torque_nm, least=0, unit="N m")
        checked("phase_a", self.phase_a, above=0, unit="A")
        checked("phase_ohm", self.phase_ohm, above=0, unit="ohm")
        checked("phase_mh", self.phase_mh, above=0, unit="mH")
        checked("full_steps_per_rev", self.full_steps_per_rev, least=4)

    @property
    def rotor_teeth(self) -> float:
        """Electrical cycles in one turn of the shaft: a cycle is 4 full steps."""
        return self.full_steps_per_rev / 4

    @property
    def flux_linkage_wb(self) -> float:
        """Peak flux linkage of a phase, which makes the back-EMF."""
        return self.holding_torque_nm / (math.sqrt(2) * self.rotor_teeth * self.phase_a)

    @property
    def standstill_w(self) -> float:
        """Heat of both windings at full standstill current: I^2*R, the phases being sine and cosine."""
        return self.phase_a * self.phase_a * self.phase_ohm

    def top_speed_lr_full_pps(self, supply_v: float) -> float:
        """Return the full steps a second at which the current of a phase can just be reversed.

        Source:
            Integral of L di/V from -I to I: 2*L*I/V for one full step; the rule of thumb of the trade.
        """
        checked("supply_v", supply_v, above=0, unit="V")
        return supply_v / (2 * self.phase_mh / 1000 * self.phase_a)

    def top_speed_emf_full_pps(self, supply_v: float) -> float:
        """Return the full steps a second up to which the full current still flows; 0 if it never does.

        Source:
            (R*I + w*psi)^2 + (w*L*I)^2 = V^2 solved for w; a full step is a quarter of a cycle.
        """
        checked("supply_v", supply_v, above=0, unit="V")
        resistive_v = self.phase_ohm * self.phase_a
        if supply_v <= resistive_v:
            return 0.0
        psi, reactance = self.flux_linkage_wb, self.phase_mh / 1000 * self.phase_a
        half = resistive_v * psi
        square = psi * psi + reactance * reactance
        missing = supply_v * supply_v - resistive_v * resistive_v
        electrical_radps = missing / (half + math.sqrt(half * half + square * missing))
        return electrical_radps * 2 / math.pi

    def current_at_speed_a(self, full_pps: float, *, supply_v: float) -> float:
        """Return the peak phase current at a speed, 0 where the back-EMF meets the supply.

        Source:
            (R*i + w*psi)^2 + (w*L*i)^2 = V^2 solved for i, and never more than I.
        """
        checked("full_pps", full_pps, least=0, unit="full steps/s")
        checked("supply_v", supply_v, above=0, unit="V")
        electrical_radps = full_pps * math.pi / 2
        emf_v = electrical_radps * self.flux_linkage_wb
        missing = supply_v * supply_v - emf_v * emf_v
        if missing <= 0:
            return 0.0
        reactance = electrical_radps * self.phase_mh / 1000
        square = self.phase_ohm * self.phase_ohm + reactance * reactance
        half = self.phase_ohm * emf_v
        return min(self.phase_a, missing / (half + math.sqrt(half * half + square * missing)))

    def torque_at_speed_nm(self, full_pps: float, *, supply_v: float) -> float:
        """Return the torque at a steady speed with micro-stepping; never rises with the speed."""
        return self.rotor_teeth * self.flux_linkage_wb * self.current_at_speed_a(full_pps, supply_v=supply_v)

    def fastest_full_pps(self, torque_nm: float, *, supply_v: float) -> float:
        """Return the highest speed in full steps/s that still gives `torque_nm` (> 0); 0 if none does."""
        checked("torque_nm", torque_nm, above=0, unit="N m")
        if self.torque_at_speed_nm(0, supply_v=supply_v) < torque_nm:
            return 0.0
        low, high = 0.0, supply_v / self.flux_linkage_wb
        for _ in range(80):
            middle = (low + high) / 2
            enough = self.torque_at_speed_nm(middle, supply_v=supply_v) >= torque_nm
            low, high = (middle, high) if enough else (low, middle)
        return low


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizing:
    """Whether a motor lifts a shade at a speed.

    Attributes:
        torque_at_speed_nm: What the motor gives.
        peak_motor_torque_nm: What the worst place of the travel asks of it.
        margin: The first over the second.
        verdict: `lifts`, `lifts without the usual margin` or `does not lift`.
        fastest_full_pps: Highest speed with the usual margin, in full steps/s; 0 if there is none.
    """

    torque_at_speed_nm: float
    peak_motor_torque_nm: float
    margin: float
    verdict: str
    fastest_full_pps: float


def size(lifting: Lifting, motor: Motor, *, full_pps: float, supply_v: float) -> Sizing:
    """Return how a motor at a steady speed meets the worst place of the travel.

    Args:
        lifting: The weight, the roll and the gear.
        motor: Its data sheet.
        full_pps: Speed in full steps/s, >= 0.
        supply_v: Voltage that is left at the driver, > 0.

    Raises:
        RequestError: an argument out of its range.
    """
    gives_nm = motor.torque_at_speed_nm(full_pps, supply_v=supply_v)
    asks_nm = lifting.peak_motor_torque_nm()
    margin = gives_nm / asks_nm
    return Sizing(
        torque_at_speed_nm=gives_nm,
        peak_motor_torque_nm=asks_nm,
        margin=margin,
        verdict=_verdict(margin),
        fastest_full_pps=motor.fastest_full_pps(asks_nm * USUAL_MARGIN, supply_v=supply_v),
    )


def _verdict(margin: float) -> str:
    if margin >= USUAL_MARGIN:
        return "lifts"
    return "lifts without the usual margin" if margin > 1 else "does not lift"
