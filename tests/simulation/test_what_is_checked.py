"""The checks themselves: what they catch, and what they take to be unknowable and count apart."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from bridge.core.events import Button, ClaimHeard, Percent, Press
from bridge.core.outcome import Level, Note
from bridge.core.state import House
from bridge.core.values import Rank, ShadeId
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.world import Options, World

NAME = ShadeId("shade-0")


def lived() -> tuple[World, House]:
    """A careful owner's world without faults: raised to its switch, and then asked for a place."""
    world = World(Options(seed=2, faults=(), shades=1, careful=True))
    world.switch_on()
    world.live_until(60.0)
    world.people.ask(NAME, Press(button=Button.UP))
    world.live_until(600.0)
    world.people.ask(NAME, Percent(open_pct=50))
    house = world.server.house
    assert house is not None
    return world, house


def accepted() -> Note:
    return Note(name="request.accepted", level=Level.INFO, shade=NAME, fields=())


def test_a_rule_that_moves_a_shade_in_a_hold_is_caught() -> None:
    world, house = lived()
    shade = house.shades[NAME]
    assert shade.request is not None
    until = house.now.utc + timedelta(hours=1)
    by_rule = replace(shade, request=replace(shade.request, rank=Rank.RULE), hold_until=until)
    held = replace(house, shades={NAME: by_rule})
    free = replace(house, shades={NAME: replace(by_rule, hold_until=None)})
    heard = ClaimHeard(at=world.server.moment(), term=0, retained=True)
    world.checks.stops.decided(heard, free, (accepted(),))
    with pytest.raises(Escape, match="while a person's request holds it"):
        world.checks.stops.decided(heard, held, (accepted(),))


def test_what_a_rival_does_is_unknowable_until_the_first_word_of_it_and_counted_once() -> None:
    world, house = lived()
    unheard = world.checks.unheard
    deaf = replace(house.shades[NAME], channel=replace(house.shades[NAME].channel, answered=False))
    assert not unheard.hides(deaf)
    unheard.rival(NAME, 9)
    assert house.shades[NAME].channel.answered
    assert not unheard.hides(house.shades[NAME])
    assert unheard.hides(deaf)
    assert unheard.hides(deaf)
    assert world.figures.undetectable == 1
    unheard.evidence(NAME, world.now - 1.0)
    assert unheard.hides(deaf)
    unheard.evidence(NAME, world.now)
    assert not unheard.hides(deaf)


@pytest.mark.parametrize(
    ("term", "stood_down", "hides"), [(8, True, True), (9, False, True), (9, True, False)]
)
def test_a_claim_as_high_as_the_rivals_ends_not_knowing(term: int, stood_down: bool, hides: bool) -> None:
    world, house = lived()
    deaf = replace(house.shades[NAME], channel=replace(house.shades[NAME].channel, answered=False))
    world.checks.unheard.rival(NAME, 9)
    event = ClaimHeard(at=world.server.moment(), term=term, retained=False)
    world.checks.unheard.decided(event, replace(house, stood_down=stood_down))
    assert world.checks.unheard.hides(deaf) is hides


def test_a_pull_is_exempt_until_a_reference_and_again_for_a_journal_that_does_not_know_it() -> None:
    world, house = lived()
    unfelt, shade = world.checks.unfelt, house.shades[NAME]
    assert shade.knowledge.meetings
    unfelt.happened(NAME)
    unfelt.met(shade, world.now + 1.0)
    assert NAME in unfelt, "that reference may have been met before the pull"
    unfelt.met(shade, world.now + 10.0)
    assert NAME not in unfelt
    unfelt.put_back(house)
    assert NAME not in unfelt
    before = replace(shade, knowledge=replace(shade.knowledge, meetings=()))
    unfelt.put_back(replace(house, shades={NAME: before}))
    assert NAME in unfelt
