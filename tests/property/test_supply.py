"""Amps are never overdrawn, whatever is asked, stopped, lost, rebooted or switched, in any sequence.

The boards draw their amps by what they do, not by what the core believes of them.
"""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.core.contract import Link
from bridge.core.events import BrokerLost, BrokerReached, Button, ClaimHeard, Press, Started, Switch
from bridge.core.values import Rank
from tests.scene import Scene, house_spec, on_supply

NAMES = ("one", "two", "three", "four")
WANTS = st.one_of(st.integers(0, 100), st.sampled_from([Press(button=button) for button in Button]))
RANKS = st.sampled_from([Rank.BASE, Rank.RULE, Rank.HAND, Rank.WIND])
NAME = st.sampled_from(NAMES)
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("ask"), NAME, WANTS, RANKS),
        st.tuples(st.just("ask all"), WANTS),
        st.tuples(st.just("run"), st.floats(0.05, 20)),
        st.tuples(st.just("lose"), NAME),
        st.tuples(st.just("find"), NAME),
        st.tuples(st.just("mute"), NAME),
        st.tuples(st.just("reboot"), NAME),
        st.tuples(st.just("pace"), NAME, st.floats(1.0, 1.4)),
        st.tuples(st.just("switch"), st.sampled_from(Switch), st.booleans()),
        st.tuples(st.just("broker"), st.booleans()),
        st.tuples(st.just("restart")),
        st.tuples(st.just("claim")),
    ),
    max_size=25,
)
DRAWS = st.lists(st.tuples(st.floats(0.5, 2.0), st.floats(0.0, 0.4), st.booleans()), min_size=4, max_size=4)


def house(draws: list[tuple[float, float, bool]], spare_a: float) -> Scene:
    shades = [
        replace(on_supply(name, moving_a, min(still_a, moving_a)), unpowered_holds=HELD if held else ())
        for name, (moving_a, still_a, held) in zip(NAMES, draws, strict=True)
    ]
    room = max(shade.moving_a - shade.standstill_a for shade in shades)
    amps = sum(shade.standstill_a for shade in shades) + room + spare_a
    return Scene(house_spec(*shades, amps=amps)).begin()


HELD = ((0.0, 100.0),)


def act(scene: Scene, step: tuple[object, ...]) -> None:
    match step:
        case "ask", str(name), want, Rank() as rank:
            scene.ask(name, want, rank)  # type: ignore[arg-type]  # one of WANTS
        case "ask all", want:
            scene.ask_all(want)  # type: ignore[arg-type]  # as above
        case "run", float(for_s):
            scene.run(for_s)
        case "lose", str(name):
            scene.link(name, Link.LOST)
        case "find", str(name):
            scene.link(name, Link.UP)
        case "mute", str(name):
            scene.boards[name].heard = False
        case "reboot", str(name):
            scene.tell(name, scene.boards[name].reboot())
        case "pace", str(name), float(pace):
            scene.boards[name].pace = pace
        case "switch", Switch() as switch, bool(on):
            scene.switch(switch, on=on)
        case _:
            act_on_the_whole(scene, step)


def act_on_the_whole(scene: Scene, step: tuple[object, ...]) -> None:
    assert scene.house is not None
    match step:
        case "broker", True:
            scene.reconnect()
        case "broker", False:
            scene.event(BrokerLost(at=scene.at))
        case ("restart",):
            scene.event(Started(at=scene.at, spec=scene.spec))
            scene.reconnect()
        case ("claim",):
            scene.event(ClaimHeard(at=scene.at, term=scene.house.term + 1, retained=False))


def whole_again(scene: Scene) -> None:
    """All faults end: a fresh run in charge, nothing locked, every board in hearing."""
    scene.switch(Switch.LOCK, on=False)
    scene.event(Started(at=scene.at, spec=scene.spec))
    scene.event(BrokerReached(at=scene.at))
    for name in scene.boards:
        scene.link(name, Link.UP)


@settings(max_examples=60)
@given(DRAWS, st.floats(0.0, 3.0), STEPS)
def test_no_supply_ever_gives_more_than_its_amps(
    draws: list[tuple[float, float, bool]], spare_a: float, steps: list[tuple[object, ...]]
) -> None:
    scene = house(draws, spare_a)
    for step in steps:
        act(scene, step)
        scene.weigh()
    assert scene.worst_a["attic"] <= scene.spec.supplies[0].amps + 1e-6


@settings(max_examples=40)
@given(DRAWS, st.floats(0.0, 3.0), STEPS, st.integers(0, 100))
def test_once_faults_end_everybody_gets_a_turn(
    draws: list[tuple[float, float, bool]], spare_a: float, steps: list[tuple[object, ...]], percent: int
) -> None:
    scene = house(draws, spare_a)
    for step in steps:
        act(scene, step)
    whole_again(scene)
    scene.run(120)
    for name in NAMES:
        scene.ask(name, Press(button=Button.UP), Rank.WIND)
    scene.run(300)
    scene.notes.clear()
    scene.ask_all(percent)
    scene.run(300)
    assert dict(scene.ends()) == dict.fromkeys(NAMES, "reached")
    assert scene.worst_a["attic"] <= scene.spec.supplies[0].amps + 1e-6
