"""Where the hem bar really is: cloth on a tube, a geared stepper motor, gravity, a stop, a person's hand.

Quasi-static: an unpowered shade falls at once to where its detent holds it. The load angle of an energised
rotor (under one full step) is neglected. Angles of the rotor are in pulses, growing as cloth is lowered;
turns of the tube are 0 at the upper limit. Knows nothing of counts or of what a board believes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields
from math import ceil, pi
from random import Random

from bridge.simulate.build import Build
from bridge.simulate.spiral import radius_mm, turns_for, wound_on

GRAVITY_MPS2 = 9.80665
# The grid on which a fall is followed, in tube turns: about 2 mm of cloth.
FALL_TURNS = 1 / 64
# More than any slip of one stretch of a motion, in tube turns.
SURE_TURNS = 0.1
# So far from a bound, rounding plays no part.
SURELY = 0.999


@dataclass(slots=True, kw_only=True)
class State:
    """All that changes of one shade; what its file holds.

    Attributes:
        rotor: The rotor's equilibrium while energised, its place otherwise, in pulses.
        phase: The driver's place within the electrical cycle, in pulses.
        energised: The motor carries current.
        seat_turns: Tube turns at rotor 0; slip moves it.
        slope_mm: Slip of the present move per tube turn.
        moves: Motions begun, which also numbers the draws of slip.
        lost: Pulses that the rotor did not follow, ever.
        hand_mm: Drop at which a person holds the hem bar; None when nobody does.
        rub_nm: Friction at the tube of a cloth that rubs against something, beside that of the build.
        upper_stuck: What a broken upper switch says; None while it works.
        lower_stuck: The same of the lower one.
    """

    rotor: float = 0.0
    phase: int = 0
    energised: bool = False
    seat_turns: float = 0.0
    slope_mm: float = 0.0
    moves: int = 0
    lost: int = 0
    hand_mm: float | None = None
    rub_nm: float = 0.0
    upper_stuck: bool | None = None
    lower_stuck: bool | None = None


@dataclass(slots=True, kw_only=True)
class Tube:
    """One shade as it really is; `rng` draws its slip."""

    build: Build
    rng: Random
    state: State = field(default_factory=State)
    _all_turns: float = field(init=False)
    _a_turn: float = field(init=False)
    _gear: float = field(init=False)
    _all_mm: float = field(init=False)
    _stop_turns: float = field(init=False)
    _most_nm: float = field(init=False)
    _cycle: int = field(init=False)
    _cloth_kgpm: float = field(init=False)
    _wound: Callable[[float], float] = field(init=False)

    def __post_init__(self) -> None:
        self._all_turns = self.build.all_turns
        self._a_turn = self.build.pulses_per_turn
        self._gear = float(self.build.gear)
        self._cycle = self.build.cycle
        self._cloth_kgpm = self.build.cloth_kgpm2 * self.build.width_mm / 1000
        self._wound = wound_on(self.build.tube_mm, self.build.cloth_mm)
        self._all_mm = self.build.wound(self._all_turns)
        stop = self.build.stop_mm
        self._stop_turns = float("-inf") if stop is None else self._turns_at(stop)
        self._most_nm = self._weight_bound_nm()

    @classmethod
    def new(cls, build: Build, rng: Random) -> Tube:
        """A shade at the start of its life, unpowered: what its motor can't hold falls."""
        tube = cls(build=build, rng=rng)
        tube.state.seat_turns = tube._turns_at(build.start_mm)
        tube.cut()
        return tube

    def twin(self) -> Tube:
        """The same shade with a state of its own, for asking what would happen."""
        twin = object.__new__(Tube)
        for name in _TUBE:
            setattr(twin, name, getattr(self, name))
        state = twin.state = object.__new__(State)
        for name in _STATE:
            setattr(state, name, getattr(self.state, name))
        return twin

    # What is so.

    @property
    def turns(self) -> float:
        """Tube turns from the upper limit."""
        state = self.state
        return state.seat_turns + self._rotor() / self._a_turn

    @property
    def end_turns(self) -> float:
        """Tube turns at which the cloth has come to its end."""
        return self._all_turns

    @property
    def cloth_drop_mm(self) -> float:
        """Cloth paid out below the upper limit, hanging or held in slack."""
        return self._drop_at(self.turns)

    @property
    def drop_mm(self) -> float:
        """Where the hem bar is: below the upper limit, growing downward."""
        hand = self.state.hand_mm
        return self.cloth_drop_mm if hand is None else min(hand, self.cloth_drop_mm)

    @property
    def wrong_way(self) -> bool:
        """The cloth has come to its end and is being taken up the other way round."""
        return self.turns > self._all_turns

    @property
    def upper_closed(self) -> bool:
        place, stuck = self.build.upper_switch_mm, self.state.upper_stuck
        return stuck if stuck is not None else place is not None and self.drop_mm <= place

    @property
    def lower_closed(self) -> bool:
        place, stuck = self.build.lower_switch_mm, self.state.lower_stuck
        return stuck if stuck is not None else place is not None and self.drop_mm >= place

    def surely_open_after(self, pulses: int) -> bool:
        """Whether, slip and snaps taken in, no switch can have closed after `pulses`; False is no answer."""
        build, turns = self.build, self.turns + pulses / self._a_turn
        upper, lower = build.upper_switch_mm, build.lower_switch_mm
        high = upper is None or self._drop_at(turns - SURE_TURNS) > upper
        return high and (lower is None or self._drop_at(min(turns + SURE_TURNS, self._all_turns)) < lower)

    # What the board does to it.

    def power_up(self) -> None:
        """The driver comes alive with its outputs off, at the start of its cycle."""
        self.state.phase = 0
        self.state.energised = False

    def energise(self) -> None:
        """The rotor snaps to the nearest place that fits the driver's phase."""
        state, cycle = self.state, self._cycle
        if not state.energised:
            state.rotor += (state.phase - state.rotor + cycle / 2) % cycle - cycle / 2
            state.energised = True
        self._settle()

    def cut(self) -> None:
        """Current off: the rotor snaps to a full step, and what the detent can't hold falls."""
        self.state.rotor = self._rotor()
        self.state.energised = False
        self._snap()
        self._settle()

    def begin_move(self) -> None:
        """Draw what this move will slip."""
        build, state = self.build, self.state
        state.moves += 1
        state.slope_mm = self.rng.uniform(-build.slip_turn_mm, build.slip_turn_mm)
        self._slip(self.rng.uniform(-build.slip_move_mm, build.slip_move_mm))

    def drive(self, pulses: int, pps: float) -> None:
        """Send pulses, positive to lower, at `pps`; those that the rotor can't follow are lost."""
        state, before = self.state, self._rotor()
        assert state.energised, "pulses to a motor without current"
        state.phase = (state.phase + pulses) % self._cycle
        state.rotor += pulses
        if pulses < 0:
            self._lose(before, pps)
        travelled = abs(self._rotor() - before) / self._a_turn
        self._slip(state.slope_mm * travelled)
        self._settle()

    # What the world does to it.

    def pull(self, mm: float) -> None:
        """A person forces the hem bar down by `mm` > 0; it stays where the motor holds it then."""
        target = min(self._turns_at(self.cloth_drop_mm + mm), self._all_turns)
        shift = (target - self.turns) * self._a_turn
        if self.state.energised:
            shift = round(shift / self._cycle) * self._cycle
        self.state.rotor += shift
        if not self.state.energised:
            self._snap()
        self._settle()

    def put(self, drop_mm: float) -> None:
        """A person turns the tube by hand until the hem bar hangs there, as well as the motor allows."""
        shift = (self._turns_at(drop_mm) - self.turns) * self._a_turn
        if self.state.energised:
            shift = round(shift / self._cycle) * self._cycle
        self.state.rotor = self._rotor() + shift
        if not self.state.energised:
            self._snap()
        self._settle()

    def hold(self) -> None:
        """A person holds the hem bar: it does not rise, and does not sink with cloth paid out."""
        self.state.hand_mm = self.drop_mm

    def let_go(self) -> None:
        self.state.hand_mm = None
        self._settle()

    # How.

    def _rotor_at(self, turns: float) -> float:
        return (turns - self.state.seat_turns) * self._a_turn

    def _drop_at(self, turns: float) -> float:
        return self._all_mm - self._wound(abs(self._all_turns - turns))

    def _turns_at(self, drop_mm: float) -> float:
        """Turns, the cloth being wound the right way round; its end for more drop than there is cloth."""
        length = max(0.0, self._all_mm - drop_mm)
        return self._all_turns - turns_for(length, tube_mm=self.build.tube_mm, cloth_mm=self.build.cloth_mm)

    def _rotor(self) -> float:
        """Where the rotor is: held off its equilibrium by less than half a cycle at the stop."""
        state = self.state
        highest = (self._stop_turns - state.seat_turns) * self._a_turn
        return max(highest, state.rotor)

    def _highest(self) -> float:
        return (self._stop_turns - self.state.seat_turns) * self._a_turn

    def _lose(self, before: float, pps: float) -> None:
        """Give up whole cycles until the equilibrium is within half a cycle of what blocks the rotor."""
        state, cycle = self.state, self._cycle
        limit = self._highest()
        if state.hand_mm is not None or self._overloaded(pps):
            limit = max(limit, before)
        behind = limit - state.rotor
        if behind > cycle / 2:
            cycles = ceil((behind - cycle / 2) / cycle)
            state.rotor += cycles * cycle
            state.lost += cycles * cycle

    def _overloaded(self, pps: float) -> bool:
        torque = self._torque_at(pps)
        # Seldom so near that the weight has to be reckoned.
        return not self._lifts_any(torque) and self._lifting_nm() > torque

    def _lifts_any(self, torque_nm: float) -> bool:
        hindered = self._most_nm + self.build.friction_nm + self.state.rub_nm
        return hindered <= torque_nm * self._gear * self.build.gear_efficiency * SURELY

    def _weight_bound_nm(self) -> float:
        """Return more than any weight of this cloth can be at the tube."""
        build = self.build
        kg = build.hem_bar_kg + build.cloth_kgpm2 * build.width_mm / 1000 * max(self._all_mm, 0.0) / 1000
        most = max(abs(self._all_turns), abs(self._all_turns - max(self._stop_turns, -self._all_turns)))
        radius = radius_mm(most + 1.0, tube_mm=build.tube_mm, cloth_mm=build.cloth_mm)
        return kg * GRAVITY_MPS2 * radius / 1000

    def _torque_at(self, pps: float) -> float:
        build = self.build
        return build.holding_nm * min(1.0, build.corner_pps / max(pps, 1e-9))

    def _weight_nm(self, turns: float) -> float:
        """Torque of the hanging cloth and hem bar at the tube."""
        build = self.build
        wound = abs(self._all_turns - turns)
        drop_m = max(0.0, self._all_mm - self._wound(wound)) / 1000
        kg = build.hem_bar_kg + self._cloth_kgpm * drop_m
        return kg * GRAVITY_MPS2 * (build.tube_mm / 2 + build.cloth_mm * wound) / 1000

    def _lifting_nm(self) -> float:
        """Torque that lifting asks of the motor now."""
        build = self.build
        return (self._weight_nm(self.turns) + build.friction_nm + self.state.rub_nm) / (
            self._gear * build.gear_efficiency
        )

    def _held_by(self, holds_nm: float, turns: float) -> bool:
        """Whether so much at the motor's shaft holds the cloth there, the gear's losses not counted."""
        return (self._weight_nm(turns) - self.build.friction_nm) / self._gear <= holds_nm

    def _settle(self) -> None:
        """Let it fall until it is held, or the cloth has come to its end."""
        holds_nm = self.build.holding_nm if self.state.energised else self.build.detent_nm
        if self._most_nm <= holds_nm * self._gear * SURELY:
            return
        if self.state.hand_mm is not None or self._held_by(holds_nm, self.turns):
            return
        shift = self._rotor_at(self._falls_to(holds_nm)) - self.state.rotor
        if self.state.energised:
            self.state.rotor += round(shift / self._cycle) * self._cycle
        else:
            self.state.rotor += shift
            self._snap()

    def _falls_to(self, holds_nm: float) -> float:
        """Return the tube turns at which a shade that is not held now comes to be held, or its cloth's end.

        Along the fall the weight's torque rises, then sinks: cloth paid out grows with the turns, the radius
        shrinks, and their product is concave. So the first place at which it is held is found by halving.
        """
        start, end = self.turns, self._all_turns
        step = FALL_TURNS if start <= end else -FALL_TURNS
        # Above the upper limit no cloth hangs, and the torque jumps in slope where it begins to.
        low, high = 0, max(0, ceil(abs(end - start) / FALL_TURNS - 1))
        while low < high and self._drop_at(start + low * step) < 0:
            low += 1
            if self._held_by(holds_nm, start + low * step):
                return start + low * step
        if low == high or not self._held_by(holds_nm, start + high * step):
            return end
        while high - low > 1:
            middle = (low + high) // 2
            if self._held_by(holds_nm, start + middle * step):
                high = middle
            else:
                low = middle
        return start + high * step

    def _snap(self) -> None:
        full = self.build.full_step
        self.state.rotor = round(self.state.rotor / full) * full

    def _slip(self, mm: float) -> None:
        wound = self._all_turns - self.turns
        radius = radius_mm(wound, tube_mm=self.build.tube_mm, cloth_mm=self.build.cloth_mm)
        self.state.seat_turns += mm / (2 * pi * radius)


# A search for the step at which a switch trips asks many twins what would happen.
_TUBE = tuple(each.name for each in fields(Tube))
_STATE = tuple(each.name for each in fields(State))
