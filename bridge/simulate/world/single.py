"""I10 in figures: one fault in a house that else works, and how soon that house serves again.

Each house is lived twice from one seed. The first life tells when everybody can hear everybody again, and how
long after that every shade is in conversation, or says what is the matter. In the second one every shade is
asked to go up at that moment, by way of its switch if it has one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import product

from bridge.core.events import Button, Percent, Press
from bridge.core.values import ShadeId
from bridge.simulate.world.asked import Asking
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.reckoned import is_lost, serves
from bridge.simulate.world.recovery import ANSWER_S, connected, in_time
from bridge.simulate.world.world import Options, World

# By then everything is up, or what a person has begun is done; a shade that is lost is helped so often.
SETTLED_S = 900.0
HELPED = 3
# The longest that any fault lasts of itself, and then some.
LONGEST_S = 1500.0
LOOK_S = 0.5
# In most houses the fault comes while a motor runs.
ON_THE_WAY_S = (0.5, 6.0)


@dataclass(slots=True, kw_only=True)
class Recovery:
    """How houses have come back from one kind of fault.

    Attributes:
        kind: The fault.
        houses: How many.
        moving: Of these, those in which a motor ran as it came.
        heard_s: Until every shade was in conversation or told what is the matter, from connectivity on.
        served_s: Until a shade asked for at connectivity was up, by way of its switch if it has one.
        told: Shades that did not go up and said what a person must do.
        late: What took longer than it may, or ended without telling anybody what to do.
    """

    kind: str
    houses: int = 0
    moving: int = 0
    heard_s: list[float] = field(default_factory=list)
    served_s: list[float] = field(default_factory=list)
    told: int = 0
    late: list[str] = field(default_factory=list)

    def add(self, other: Recovery) -> None:
        """Take in other houses."""
        self.houses += other.houses
        self.moving += other.moving
        self.heard_s += other.heard_s
        self.served_s += other.served_s
        self.told += other.told
        self.late += other.late


def recoveries(seeds: Iterable[int], kinds: Iterable[str], *, jobs: int) -> Iterator[Recovery]:
    """Yield how houses of these seeds come back from each kind of fault, in the order of the kinds."""
    pairs = list(product(kinds, seeds))
    sums: dict[str, Recovery] = {}
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        for each in pool.map(recovered, *zip(*pairs, strict=True), chunksize=8):
            if each.kind not in sums:
                yield from sums.values()
                sums = {each.kind: Recovery(kind=each.kind)}
            sums[each.kind].add(each)
    yield from sums.values()


def recovered(kind: str, seed: int) -> Recovery:
    """Return how one house comes back from one fault; an invariant that breaks on the way is in `late`."""
    found = Recovery(kind=kind, houses=1)
    try:
        world = _struck(kind, seed, found)
        heard_s, again_s = _heard_again(world)
        found.heard_s.append(heard_s)
        if heard_s > ANSWER_S:
            found.late.append(f"seed {seed}: out of conversation {heard_s:.0f} s after connectivity")
        world = _struck(kind, seed, Recovery(kind=kind))
        world.live_until(again_s)
        _asked_up(world, found)
    except Escape as escape:
        found.late.append(f"seed {seed}: {escape.invariant}: {escape.story}")
    return found


def _struck(kind: str, seed: int, found: Recovery) -> World:
    """Return a house at the moment at which the fault has just come."""
    # No fault comes of itself; a house that is to lose a sensor has some.
    world = World(Options(seed=seed, faults=(kind,), mishaps=0.0, one_way=seed % 2))
    world.switch_on()
    world.weather.begin()
    for _ in range(HELPED):
        world.live_until(world.now + SETTLED_S)
        house = world.server.house
        assert house is not None
        for name in [name for name, shade in house.shades.items() if is_lost(shade)]:
            world.people.wish(name)
    world.live_until(world.now + SETTLED_S)
    for name in world.where:
        world.people.ask(name, Percent(open_pct=world.rng.randint(5, 80)))
    world.live_until(world.now + world.rng.uniform(*ON_THE_WAY_S))
    found.moving += world.any_moving()
    world.inject(kind)
    return world


def _heard_again(world: World) -> tuple[float, float]:
    """Return how long it took from connectivity until all shades were in conversation; and when that was.

    Connectivity is when the fault came, or the last moment at which somebody could not be heard, or at which
    nothing could be written down.
    """
    apart_s = silent_s = began_s = world.now
    while world.now < began_s + LONGEST_S:
        world.live_until(world.now + LOOK_S)
        house = world.server.house
        if not connected(world) or not world.server.disk_ok or house is None or house.stood_down:
            apart_s = world.now + LOOK_S
        elif not all(serves(shade) or shade.trouble for shade in house.shades.values()):
            silent_s = world.now
    return max(0.0, silent_s - apart_s), apart_s


def _asked_up(world: World, found: Recovery) -> None:
    """Ask every shade to go up, and look how each of these requests ends."""
    mine = {name: _taken(world, name) for name in world.where}
    world.live_until(world.now + max(world.patience_s.values()))
    for name, (asking, asked_s) in mine.items():
        if asking is None or asking.fate is None:
            found.late.append(f"seed {world.options.seed}: {name}: up has no end")
            continue
        try:
            in_time(world, asking, asked_s)
        except Escape as escape:
            found.late.append(f"seed {world.options.seed}: {escape.story}")
        if asking.fate == "reached":
            found.served_s.append(asking.ended_s - asked_s)
        else:
            found.told += 1


def _taken(world: World, name: ShadeId) -> tuple[Asking | None, float]:
    """Ask a shade to go up, once more if the fault strikes only now; return what was taken up, and when."""
    for _ in range(2):
        before, asked_s = set(world.checks.asked), world.now
        world.people.ask(name, Press(button=Button.UP))
        new = [each for number, each in world.checks.asked.items() if number not in before]
        mine = next((each for each in new if each.shade == name), None)
        if mine is not None:
            return mine, asked_s
        while not connected(world) and world.now < asked_s + LONGEST_S:
            world.live_until(world.now + LOOK_S)
    return None, world.now
