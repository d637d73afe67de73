"""Whole hours of a one-way shade in virtual time: whatever happens, the claim holds the hem bar.

A fault that such a board can't tell of is left out where nobody could know of it: power cuts without an alive
topic, and those shorter than signs of life can show.
"""

from __future__ import annotations

import pytest

from bridge.adapters.links import one_way
from bridge.core.events import Button, Nudge, Percent, Place, Press, Want
from bridge.core.shade.units import value_for
from bridge.core.spec import OneWayLink, Unit
from tests.one_way_world import ALIVE, BEATS, STOP, World, given_link, settled_world

LINKS: dict[str, OneWayLink] = {
    "steps, retained": given_link(),
    "steps, retained, a will": given_link(alive=ALIVE),
    "steps, retained, a will, a stop": given_link(alive=ALIVE, stop=STOP),
    "turns, asleep at rest, a will": given_link(unit=Unit.TURNS, rest_current=False, alive=ALIVE),
    "percent closed, a will": given_link(unit=Unit.PERCENT_CLOSED, alive=ALIVE),
    "percent open, from zero, signs of life": given_link(
        unit=Unit.PERCENT_OPEN, retained=False, alive=BEATS, stop=STOP
    ),
    "percent open to a tenth, from zero": given_link(unit=Unit.PERCENT_OPEN, decimals=1, retained=False),
    "steps, from zero, a will, asleep at rest": given_link(retained=False, alive=ALIVE, rest_current=False),
}


def ask(world: World) -> None:
    rng = world.rng
    wants: list[Want] = [
        Percent(open_pct=rng.randint(0, 100)),
        Percent(open_pct=rng.choice([0, 100])),
        Nudge(by_pct=rng.randint(-30, 30)),
        Press(button=rng.choice([Button.UP, Button.DOWN])),
        Press(button=Button.STOP),
    ]
    world.ask(rng.choice(wants))


def speak(world: World) -> None:
    """A stranger publishes a target within the limits as the board believes them."""
    base = world.shade.knowledge.base
    if base is None or base.width > 2000:
        return
    at = round(world.rng.uniform(0.0, 0.9) * world.spec.travel.lower_steps) - base.middle
    link = world.spec.one_way
    topic, payload, retain = one_way.encode(link, value_for(world.spec, at))
    world.publish(topic, payload, retain=retain)


def halt(world: World) -> None:
    stop = world.spec.one_way.stop
    if stop is not None:
        world.publish(stop.topic, stop.payload.encode())


def restart(world: World) -> None:
    world.kill()
    world.run(world.rng.uniform(0.1, 3.0))
    world.start()


def cut(world: World) -> None:
    """Power goes and comes back; told at once, or late."""
    alive = world.spec.one_way.alive
    if alive is None:
        return
    if alive.gone is None:
        world.power_cut()
        world.run(alive.within_s + 5.0)
    else:
        world.power_cut(told_after_s=world.rng.choice([0.0, 0.0, 8.0]))
        world.run(9.0)
    world.run(world.rng.uniform(0.0, 5.0))
    world.power_up()


def lose_network(world: World) -> None:
    alive = world.spec.one_way.alive
    if alive is None or alive.gone is None or not world.spec.one_way.retained:
        return
    world.cut_off()
    world.run(world.rng.uniform(0.1, 5.0))
    world.connect()


def drag(world: World) -> None:
    for _ in range(world.rng.randint(2, 12)):
        world.ask(Percent(open_pct=world.rng.randint(20, 100)))
        world.run(0.1)


def walk_up_and_confirm(world: World) -> None:
    """A person brings the hem bar to the upper limit by hand of the truth, then says so."""
    world.run(60.0)
    if world.shade.reckoning.run is not None or world.board.moving or world.shade.reckoning.counts is None:
        return
    if abs(world.true_mm) < 1.5:
        world.confirm(Place.UPPER)


@pytest.mark.parametrize("name", list(LINKS))
@pytest.mark.parametrize("seed", range(8))
def test_the_claim_holds_the_hem_bar_whatever_happens(name: str, seed: int) -> None:
    world = settled_world(LINKS[name], seed=seed, lag_s=0.3)
    acts = [ask, ask, ask, speak, halt, restart, cut, lose_network, drag, walk_up_and_confirm]
    for _ in range(25):
        world.rng.choice(acts)(world)
        world.run(world.rng.choice([0.2, 1.0, 4.0, 15.0, 45.0]))
    world.run(120.0)
    assert world.shade.request is None
    assert world.shade.reckoning.run is None
