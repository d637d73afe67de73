"""Force on cloth and motor that a board may not feel: hands that pull, hold and unroll, a weight too much."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.contract import Why
from bridge.simulate.motor import Motor
from bridge.simulate.world.network import BoardSide

if TYPE_CHECKING:
    from bridge.simulate.world.network import Line
    from bridge.simulate.world.world import World

# A stall is felt once so much is lost.
FELT_CYCLES = 6


def any_side(world: World) -> Line:
    """Return a board's side of the house, by chance."""
    return world.sides[world.rng.choice(sorted(world.sides))]


def pull(world: World) -> None:
    """Somebody pulls at the hem bar; nothing here can feel that."""
    side = any_side(world)
    side.catch_up()
    number = world.rng.randrange(len(side.board.channels))
    motor = side.board.channels[number]
    world.checks.unfelt.happened(world.shade_at_side(side, number))
    motor.tube.pull(world.rng.uniform(10, 150))
    world.note("pull", side.board.plan.id, number)


def _feels(motor: Motor) -> bool:
    """Say whether a board feels that its motor is held back: not near the end of a way, nor near its stop."""
    motion, count = motor.motion, motor.count
    # A stall on the way to the stop can't be told from the stop.
    if motion is None or count is None or not motor.fitting.stall or motion.why is Why.NOT_FOUND:
        return False
    # On its short way back to where a sense has ended its motion a board minds no other.
    if motion.tripped:
        return False
    return abs(motion.leg.end - count) > FELT_CYCLES * motor.fitting.build.cycle


def hold(world: World) -> None:
    """Somebody holds the hem bar while it rises; a board that feels a stall tells, another one can't."""
    for side in world.sides.values():
        side.catch_up()
        for number, motor in enumerate(side.board.channels):
            if motor.motion is None or motor.motion.leg.sign > 0 or motor.tube.state.hand_mm is not None:
                continue
            if not _feels(motor):
                world.checks.unfelt.happened(world.shade_at_side(side, number))
            motor.tube.hold()
            world.note("hold", side.board.plan.id, number)
            wait = world.rng.uniform(0.5, 3.0)
            world.at(world.now + wait, _let_go, world, side, number, motor.tube.state.lost, motor.stalls)
            return


def _let_go(world: World, side: Line, number: int, lost: int, stalls: int) -> None:
    side.catch_up()
    motor = side.board.channels[number]
    unnoticed = motor.tube.state.lost > lost and motor.stalls == stalls
    if unnoticed or (motor.motion is not None and motor.motion.leg.sign > 0):
        # Cloth was paid out while the hem bar was held: nothing feels that.
        world.checks.unfelt.happened(world.shade_at_side(side, number))
    motor.tube.let_go()


def overload(world: World) -> None:
    """A rising shade rubs against something: the motor loses steps, and only a stall sense feels that."""
    for side in world.sides.values():
        side.catch_up()
        for number, motor in enumerate(side.board.channels):
            if motor.motion is None or motor.motion.leg.sign > 0 or motor.tube.state.rub_nm:
                continue
            if not _feels(motor):
                world.checks.unfelt.happened(world.shade_at_side(side, number))
            motor.tube.state.rub_nm = 1000.0
            world.note("overload", side.board.plan.id, number)
            wait = world.rng.uniform(0.3, 3.0)
            world.at(world.now + wait, _freed, world, side, number, motor.tube.state.lost, motor.stalls)
            return


def _freed(world: World, side: Line, number: int, lost: int, stalls: int) -> None:
    side.catch_up()
    state = side.board.channels[number].tube.state
    state.rub_nm = 0.0
    if state.lost > lost and side.board.channels[number].stalls == stalls:
        world.checks.unfelt.happened(world.shade_at_side(side, number))


def unroll(world: World) -> None:
    """A finger stays on `down` at a board without bounds until the cloth winds up the wrong way."""
    side = any_side(world)
    side.catch_up()
    number = world.rng.randrange(len(side.board.channels))
    motor, spec = side.board.channels[number], world.spec_at(side, number)
    if not isinstance(side, BoardSide) or not spec.local_button or not side.board.powered or motor.moving:
        return
    if motor.bounds is None and motor.count is not None:
        world.checks.unfelt.happened(spec.id)
        world.people.unroll(side, number, world.rng.uniform(0.1, 0.4))
