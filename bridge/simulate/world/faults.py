"""What goes wrong in a simulated house, by kind; each seed draws its own menu and rates.

Undetectable events (a pull at the hem bar) are a kind of their own: they exempt the shade from I1 until its
next reference, and are counted apart.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random
from typing import TYPE_CHECKING

from bridge.core.contract import Do, Order, Then
from bridge.core.events import ClaimHeard
from bridge.core.outcome import SendOrder
from bridge.core.values import BoardId
from bridge.simulate.channel import Channel
from bridge.simulate.wire import Publish
from bridge.simulate.world import faults_bridge, faults_force
from bridge.simulate.world.faults_force import any_side
from bridge.simulate.world.network import BoardSide
from bridge.simulate.world.one_way_board import Sender
from bridge.simulate.world.one_way_side import OneWaySide
from bridge.simulate.world.plan import changed_settings

if TYPE_CHECKING:
    from bridge.simulate.world.world import World


def draw_menu(rng: Random, allowed: tuple[str, ...], *, aside: Random) -> dict[str, float]:
    """Return the kinds of this seed with their weights: few kinds or many.

    Kinds that came later are drawn aside, so that the seeds without them go on telling their stories.
    """
    first = [kind for kind in allowed if kind not in LATER]
    later = [kind for kind in allowed if kind in LATER]
    number = rng.choice((1, 2, 3, 5, len(first)))
    kinds = rng.sample(first, min(number, len(first)))
    menu = {kind: rng.uniform(0.2, 1.0) for kind in sorted(kinds)}
    if not first:
        return dict.fromkeys(later, 1.0)
    return menu | {kind: aside.uniform(0.1, 0.5) for kind in later if aside.random() < 0.25}


def _cut(world: World) -> None:
    side = any_side(world)
    side.power_cut()
    world.at(
        world.now + world.rng.choice((0.2, 2.0, 15.0, 200.0)) * world.rng.uniform(0.5, 1.5), side.power_up
    )


def _flap(world: World) -> None:
    side, at_s = any_side(world), world.now
    for _ in range(world.rng.randint(2, 5)):
        world.at(at_s, side.power_cut)
        at_s += world.rng.uniform(0.1, 3.0)
        world.at(at_s, side.power_up)
        at_s += world.rng.uniform(0.1, 12.0)


def _mains(world: World) -> None:
    """Everything loses its power; boards and server come back in any order."""
    for side in world.sides.values():
        side.power_cut()
        world.at(world.now + world.rng.uniform(1, 20), side.power_up)
    world.broker.stop(world.rng.choice(("kept", "lost")))
    world.server.die(power=True)
    world.at(world.now + world.rng.uniform(1, 30), world.broker.start)
    world.at(world.now + world.rng.uniform(1, 30), world.server.start)


def _network(world: World) -> None:
    side = any_side(world)
    if side.wifi:
        side.wifi_lost()
        wait = world.rng.choice((2.0, 6.0, 60.0, 400.0)) * world.rng.uniform(0.5, 1.5)
        world.at(world.now + wait, side.wifi_back)


def _network_and_button(world: World) -> None:
    """The network goes, and people help themselves at the board meanwhile."""
    side = any_side(world)
    if not side.wifi:
        return
    side.wifi_lost()
    wait = world.rng.uniform(20, 200)
    for _ in range(world.rng.randint(1, 3)):
        channel = world.rng.randrange(len(side.board.channels))
        world.at(world.now + world.rng.uniform(0, wait), world.people.use_button, side, channel)
    world.at(world.now + wait, side.wifi_back)


def _button(world: World) -> None:
    side = any_side(world)
    world.people.use_button(side, world.rng.randrange(len(side.board.channels)))


def _wind(world: World) -> None:
    side = any_side(world)
    if not side.board.powered or not all(world.spec_at(side, n).local_button for n in range(len(side.dirty))):
        return
    side.catch_up()
    if any(
        motor.bounds is None and motor.tube.state.upper_stuck is not None for motor in side.board.channels
    ):
        return  # nothing would end that run
    assert isinstance(side, BoardSide)
    side.disturbed()
    world.note("wind", side.board.plan.id)
    side.after(side.board.messages(side.board.wind(world.now), world.now))


def _broker(world: World) -> None:
    world.broker.stop(world.rng.choice(("kept", "lost", "old")))
    world.at(world.now + world.rng.uniform(0.2, 40), world.broker.start)


def _process(world: World) -> None:
    if world.server.running:
        world.server.die(power=False)
        world.at(
            world.now + world.rng.choice((2.0, 10.0, 100.0)) * world.rng.uniform(0.5, 1.5), world.server.start
        )


def _server_power(world: World) -> None:
    if world.server.running:
        world.server.die(power=True)
        world.at(world.now + world.rng.uniform(20, 120), world.server.start)


def _between(world: World) -> None:
    world.server.dies = world.rng.random() < 0.5


def _hang(world: World) -> None:
    server = world.server
    if not server.connected or server.deaf:
        return
    server.hang()
    wait = world.rng.uniform(0.5, 9.0)
    if world.rng.random() < 0.5:
        world.at(world.now + wait, server.resume)
    else:
        world.at(world.now + wait, _cut_off, world, server.runs)


def _cut_off(world: World, run: int) -> None:
    if run == world.server.runs and world.server.deaf:
        world.server.disconnected(keep=True)


def _clock(world: World) -> None:
    world.checks.limits.forgiven()
    world.server.wall += world.rng.choice((-1, 1)) * world.rng.choice((0.5, 20.0, 3600.0, 4e7))


def _settings(world: World) -> None:
    world.server.spec = changed_settings(world.rng, world.server.spec)
    _process(world)


def _switch(world: World) -> None:
    """A switch at rest begins to stick, open or closed, or is mended."""
    side = any_side(world)
    side.catch_up()
    number = world.rng.randrange(len(side.board.channels))
    motor = side.board.channels[number]
    if motor.moving or motor.fitting.build.upper_switch_mm is None:
        return
    motor.tube.state.upper_stuck = world.rng.choice((None, None, True, False))
    world.note("switch", motor.tube.state.upper_stuck)


def _flash(world: World) -> None:
    """A board comes back with a blank flash; one that never reports has none to lose."""
    side = any_side(world)
    side.power_cut()
    if isinstance(side, BoardSide):
        world.blank(side)
    world.at(world.now + world.rng.uniform(1, 20), side.power_up)


def _slow(world: World) -> None:
    world.slow_until = world.now + world.rng.uniform(5, 120)


def _repeat(world: World) -> None:
    world.repeat_until = world.now + world.rng.uniform(30, 600)


def _rival(world: World) -> None:
    """A second bridge claims the house; its owner ends it and restarts ours."""
    server = world.server
    if not server.running or not server.connected or server.house is None:
        return
    term = server.house.term + world.rng.choice((-1, 0, 1, 3))
    world.broker.claim = max(world.broker.claim or 0, term)
    server.deliver(ClaimHeard(at=server.moment(), term=max(term, 0), retained=False))
    world.at(world.now + world.rng.uniform(10, 120), _process, world)


def _old_journal(world: World) -> None:
    """The bridge's machine dies, and its owner puts back a journal of some time ago."""
    server = world.server
    if server.running:
        server.die(power=False)
        server.put_back()
        world.at(world.now + world.rng.uniform(5, 120), server.start)


def _rival_orders(world: World) -> None:
    """A second bridge of a higher term moves a shade upward; its claim may never reach ours."""
    server, side = world.server, any_side(world)
    number = world.rng.randrange(len(side.board.channels))
    motor = side.board.channels[number]
    side.catch_up()
    if not isinstance(side, BoardSide) or not isinstance(motor, Channel):
        return
    if server.house is None or not side.reachable or motor.count is None or motor.moving or motor.to is None:
        return
    name = world.shade_at_side(side, number)
    term = max(server.house.term, motor.term) + 1
    order = Order(
        term=term,
        boot=side.board.boot,
        seq=motor.seq + 1,
        seen=motor.n,
        do=Do.GO,
        to=motor.count - world.rng.randint(1, 500),
        low=motor.count - 600,
        high=motor.count,
        pps=world.specs[name].top_pps,
        ramp=world.specs[name].ramp_pps2,
        then=Then.STAY,
    )
    side.disturbed(number)
    world.checks.unheard.rival(name, term)
    world.note("rival order", name, term)
    side.rivals(SendOrder(shade=name, board=BoardId(side.board.plan.id), channel=number, order=order))
    if world.rng.random() < 0.5:
        world.broker.claim = max(world.broker.claim or 0, term)
        if server.connected:
            server.deliver(ClaimHeard(at=server.moment(), term=term, retained=False))
    world.at(world.now + world.rng.uniform(10, 120), _process, world)


# What no bridge takes for a number, and boards read in their own ways.
NONSENSE = (b"", b"NaN", b"-inf", b"1e2", b"12 apples", b"\xff\xfe", b"9" * 400, b"{}")


def _stranger(world: World) -> None:
    """Somebody else publishes on the topics of a board that obeys anybody: a target, a halt, nonsense."""
    mute = [side for side in world.sides.values() if isinstance(side, OneWaySide)]
    if not mute or not world.broker.up:
        return
    side = world.rng.choice(mute)
    side.catch_up()
    link, motor = side.spec.one_way, side.board.motor
    draw = world.rng.random()
    topic, payload, retain = link.topic, b"", link.retained
    if draw < 0.15 and link.stop is not None:
        topic, payload, retain = link.stop.topic, link.stop.payload.encode("utf-8"), False
    elif draw < 0.25:
        payload = world.rng.choice(NONSENSE)
        if side.board.count_of(payload) is not None:
            world.checks.reckoned.unknowable(side.spec.id, "nonsense that its board obeys")
    else:
        # What leads its motor to a place within the limits, as a careful stranger would.
        turns = world.turns_at(side, 0, world.rng.uniform(0.05, 0.9) * side.spec.travel.roll.drop_mm)
        count = (motor.count or 0) + round((turns - motor.tube.turns) * motor.fitting.build.pulses_per_turn)
        payload = side.board.number_for(count, link.decimals)
        if abs((side.board.count_of(payload) or 0) - count) > side.spec.travel.lower_steps / 50:
            return
    published = Publish(topic=topic, payload=payload, retain=retain)
    world.note("stranger", side.spec.id, payload)
    message = side.said(published, Sender.STRANGER)
    world.checks.reckoned.spoken(message)
    world.broker.publish(message)


def _new_disk(world: World) -> None:
    """The server comes back without its journal; the broker may remember something."""
    server = world.server
    if server.running:
        world.figures.faults["new disk"] += 1
        server.die(power=True)
        server.lose_disk()
        world.at(world.now + world.rng.uniform(20, 120), server.start)


KINDS: Mapping[str, Callable[[World], None]] = {
    "cut": _cut,
    "flap": _flap,
    "mains": _mains,
    "network": _network,
    "network-button": _network_and_button,
    "button": _button,
    "wind": _wind,
    "broker": _broker,
    "process": _process,
    "server-power": _server_power,
    "between": _between,
    "hang": _hang,
    "clock": _clock,
    "settings": _settings,
    "switch": _switch,
    "flash": _flash,
    "slow": _slow,
    "repeat": _repeat,
    "rival": _rival,
    "pull": faults_force.pull,
    "hold": faults_force.hold,
    "old-journal": _old_journal,
    "rival-orders": _rival_orders,
    "new-disk": _new_disk,
    "stranger": _stranger,
    "overload": faults_force.overload,
    "unroll": faults_force.unroll,
    **faults_bridge.KINDS,
}
LATER = (
    "old-journal", "rival-orders", "new-disk", "stranger", "overload", "unroll", *faults_bridge.KINDS
)  # fmt: skip
