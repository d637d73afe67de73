"""How a run begins: what was known stands, and what was heard has to be heard again."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from bridge.core import out_of_service
from bridge.core.changing import carried, counts_alike
from bridge.core.command.requests import Fate, ended
from bridge.core.events import Started
from bridge.core.hearing import out_of_hearing
from bridge.core.kept import Kept
from bridge.core.outcome import Level
from bridge.core.overhearing import carried_over
from bridge.core.position.evidence import nothing_known
from bridge.core.recalling import outdated, renumbered
from bridge.core.reckoning import Reckoning
from bridge.core.replacing import replace
from bridge.core.spec import HouseSpec, OneWayLink, ShadeSpec
from bridge.core.state import House, Shade
from bridge.core.turn import Turn
from bridge.core.values import GroupId


def built(event: Started) -> House:
    """Return the house before its first run: nothing in it but its name."""
    return House(
        spec=event.spec,
        now=event.at,
        term=0,
        broker_up=False,
        next_request=1,
        shades=Kept({}),
        boards={},
    )


def started(turn: Turn, event: Started) -> House:
    """Return the house at the start of a run: what was known stands, what was heard has to be heard again."""
    turn.term += 1
    old = turn.house.shades
    known = {} if event.memory_lost else old
    shades = {spec.id: _carried_over(turn, spec, known.get(spec.id)) for spec in event.spec.shades}
    if turn.house.stood_down:
        why = "another bridge has been in charge since this one stood down"
        shades = {name: outdated(turn, shade, why) for name, shade in shades.items()}
    house = replace(
        turn.house,
        spec=event.spec,
        shades=Kept(shades),
        boards={},
        broker_up=False,
        stood_down=False,
        reached_before=False,
        started_at_s=None,
        returned_at_s=None,
        group_targets=_still_grouped(turn.house.group_targets, event.spec),
    )
    turn.look(house)
    turn.note("house.run.started", Level.INFO, term=turn.term, shades=len(shades))
    return house


def _still_grouped(targets: Mapping[GroupId, int], spec: HouseSpec) -> Mapping[GroupId, int]:
    """Return the targets of the groups that the settings still name."""
    return {group.id: targets[group.id] for group in spec.groups if group.id in targets}


def _carried_over(turn: Turn, spec: ShadeSpec, old: Shade | None) -> Shade:
    if old is None:
        return Shade(spec=spec, knowledge=nothing_known(spec))
    if not (old.spec.in_service and spec.in_service):
        fresh = out_of_service.anew(ended(turn, old, Fate.EXPIRED, out_of_service.WHY), spec)
        return carried_over(turn, fresh) if isinstance(spec.link, OneWayLink) else renumbered(fresh)
    known = old.knowledge
    channel = replace(old.channel, heard_at_s=turn.now_s)
    if not counts_alike(old.spec, spec):
        known, channel = replace(known, base=None, boot=None, mark=None), type(channel)()
        old = replace(old, outstanding=None, reckoning=Reckoning())
    known = carried(turn, old.spec, spec, known)
    shade = replace(old, spec=spec, knowledge=known, channel=channel)
    shade = _by_itself(replace(shade, ordered_at_s=None, attended_until_s=None))
    if isinstance(spec.link, OneWayLink):
        return _still_wanted(turn, carried_over(turn, shade))
    shade = renumbered(shade)
    if shade.outstanding is not None:
        shade = replace(shade, outstanding=replace(shade.outstanding, sent_at_s=turn.now_s))
    return _still_wanted(turn, out_of_hearing(turn, shade))


def _by_itself(shade: Shade) -> Shade:
    """Return the shade without the level group that it moved along with: that front is long past."""
    request, pending = shade.request, shade.outstanding
    return replace(
        shade,
        request=None if request is None else replace(request, level=None),
        outstanding=None if pending is None else replace(pending, pace=None),
    )


def _still_wanted(turn: Turn, shade: Shade) -> Shade:
    """Return the shade with its request kept if it is young enough by the wall clock to be obeyed."""
    request = shade.request
    if request is None:
        return shade
    wait_s = turn.house.spec.board_wait_s
    age = turn.utc - request.asked_at.utc
    pending = shade.outstanding
    run = shade.reckoning.run
    begun = pending is not None and pending.heard and pending.request == request.id
    begun = begun or (run is not None and run.request == request.id)
    if timedelta(0) <= age <= timedelta(seconds=wait_s):
        left_s = wait_s - age.total_seconds()
        return replace(shade, request=replace(request, deadline_s=turn.now_s + left_s))
    if begun:
        return replace(shade, request=replace(request, deadline_s=turn.now_s + wait_s))
    return ended(turn, shade, Fate.EXPIRED, "the bridge was not running when it was due")
