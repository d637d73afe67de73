"""I3 and I10 in figures: how soon a house serves again once everybody can hear everybody.

From the moment at which every board and the bridge have their sessions, each shade is in conversation within
`ANSWER_S`, or its trouble says what is the matter. A request then takes `ANSWER_S`, a reference run over all
that the hem bar may have to rise, and a move, for each shade that it may have to wait for; one that fails
says what a person has to do.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from bridge.core.position.allowance import physical_range
from bridge.core.spec import ShadeSpec
from bridge.core.values import ShadeId
from bridge.simulate.motion import run
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.reckoned import serves

if TYPE_CHECKING:
    from bridge.simulate.world.asked import Asking
    from bridge.simulate.world.world import World

ANSWER_S = 60.0
# A server that is down when faults end comes back by itself within this.
BACK_S = 300.0
# A braking distance, a turn round, messages.
GRACE_S = 10.0
# What a person is told to do begins with one of these.
REMEDIES = ("ask", "check", "confirm", "correct", "look", "lower", "raise", "take")


def in_conversation(world: World) -> None:
    """Live until everybody can hear everybody and for `ANSWER_S` on: by then every shade is in conversation.

    Raises:
        Escape: one is not, and nobody is told.
    """
    until_s = world.now + BACK_S
    while not connected(world) and world.now < until_s:
        world.live_until(world.now + 1.0)
    world.live_until(world.now + ANSWER_S)
    house = world.server.house
    if house is None or house.stood_down or not connected(world):
        return
    for shade in house.shades.values():
        if not serves(shade) and not shade.trouble:
            raise Escape("I10", f"{shade.id}: not in conversation though everybody can hear everybody")


def connected(world: World) -> bool:
    """Say whether everybody can hear everybody."""
    server = world.server
    here = server.running and server.connected and not server.deaf
    return here and all(side.reachable for side in world.sides.values())


def in_time(world: World, asking: Asking, asked_s: float) -> None:
    """Check how a request that was asked in calm has ended.

    Raises:
        Escape: it took too long, or failed without telling anybody what to do.
    """
    took_s = asking.ended_s - asked_s
    if took_s > serving_s(world, asking.shade):
        raise Escape("I10", f"{asking.shade}: {asking.fate} after {took_s:.0f} s in calm")
    if asking.fate in ("failed", "refused") and not any(verb in asking.why for verb in REMEDIES):
        raise Escape("I10", f"{asking.shade}: nobody is told what to do about this: {asking.why}")


def serving_s(world: World, name: ShadeId) -> float:
    """Return the longest that a request for a shade may take in calm, its turn on a supply included."""
    spec = world.specs[name]
    if spec.supply is None:
        return ANSWER_S + _alone_s(spec)
    return ANSWER_S + sum(_alone_s(each) for each in world.specs.values() if each.supply == spec.supply)


def _alone_s(spec: ShadeSpec) -> float:
    span = physical_range(spec).width
    seek = run(now_s=0.0, origin=0, end=span, top=max(1, spec.top_pps // 2), ramp=spec.ramp_pps2)
    move = run(now_s=0.0, origin=0, end=span, top=spec.top_pps, ramp=spec.ramp_pps2)
    return seek.end_s + move.end_s + GRACE_S
