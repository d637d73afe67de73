"""The settings change while the bridge runs: no shade moves for it, and no conversation that still fits ends.

Steps belong to the drive that counted them. Another drive or roll takes over what was claimed in mm, never
the steps; a request in the old steps ends, and what moves for it is halted.
"""

from __future__ import annotations

from bridge.core import out_of_service
from bridge.core.command.pursue import order_stop
from bridge.core.command.requests import Fate, ended
from bridge.core.kept import Kept
from bridge.core.outcome import Level
from bridge.core.position.allowance import physical_range
from bridge.core.position.estimate import Knowledge
from bridge.core.position.evidence import nothing_known, rebased, redrawn
from bridge.core.reckoning import Reckoning
from bridge.core.replacing import replace
from bridge.core.spec import HouseSpec, OneWayLink, ShadeSpec
from bridge.core.state import Channel, House, Shade
from bridge.core.turn import Turn

_CHANGED = "its settings were changed"
_REMOVED = "it was taken out of the settings"


def changed(turn: Turn, spec: HouseSpec) -> House:
    """Return the house with the new settings in force."""
    house = turn.house
    kept = {each.id for each in spec.shades}
    for name, shade in house.shades.items():
        if name not in kept:
            _halted(turn, shade, _REMOVED)
            turn.note("shade.settings.removed", Level.INFO, shade=name, text=_REMOVED)
    shades = {each.id: _changed_shade(turn, each, house.shades.get(each.id)) for each in spec.shades}
    turn.note("house.settings.changed", Level.INFO, shades=len(shades))
    return replace(house, spec=spec, shades=Kept(shades))


def _changed_shade(turn: Turn, spec: ShadeSpec, old: Shade | None) -> Shade:
    if old is None:
        turn.note("shade.settings.added", Level.INFO, shade=spec.id)
        return Shade(spec=spec, knowledge=nothing_known(spec))
    if old.spec == spec:
        return old
    turn.note("shade.settings.changed", Level.INFO, shade=spec.id)
    if not (old.spec.in_service and spec.in_service):
        return out_of_service.anew(_halted(turn, old, _CHANGED), spec)
    same_drive, same_channel = old.spec.travel.version == spec.travel.version, counts_alike(old.spec, spec)
    shade = old if same_drive and same_channel else _halted(turn, old, _CHANGED)
    shade = replace(shade, spec=spec, knowledge=carried(turn, old.spec, spec, shade.knowledge))
    if not same_channel:
        unlinked = replace(shade.knowledge, base=None, boot=None, mark=None)
        return replace(
            shade,
            knowledge=unlinked,
            channel=Channel(),
            outstanding=None,
            memory=None,
            reckoning=Reckoning(),
        )
    return shade if same_drive else _relinked(shade)


def carried(turn: Turn, old: ShadeSpec, new: ShadeSpec, known: Knowledge) -> Knowledge:
    """Return knowledge taken over to changed settings: the same mm, and no less unknown than before."""
    was_unknown = known.hull.contains(physical_range(old))
    if known.drive != new.travel.version:
        known = redrawn(old, new, known)
        turn.note("shade.drive.changed", Level.WARNING, shade=new.id, drive=new.travel.version)
    if was_unknown:
        # The mechanical range may have grown: what was unknown stays unknown all over it.
        return replace(known, hull=known.hull.joined(physical_range(new)))
    return known


def counts_alike(old: ShadeSpec, new: ShadeSpec) -> bool:
    """Say whether counts under the new settings are those of the same channel under the old ones."""
    a, b = old.link, new.link
    if isinstance(a, OneWayLink) and isinstance(b, OneWayLink):
        return (a.topic, a.unit, a.full_steps, a.power_up) == (b.topic, b.unit, b.full_steps, b.power_up)
    return a == b


def _halted(turn: Turn, shade: Shade, why: str) -> Shade:
    """Return the shade with its request ended, and a stop sent after whatever moves for it."""
    report = shade.channel.report
    moving = shade.outstanding is not None or (report is not None and report.moving)
    # A one-way board's halt would be spelt by the link that is going.
    if moving and turn.may_order and not isinstance(shade.spec.link, OneWayLink):
        shade = order_stop(turn, shade)
    return ended(turn, shade, Fate.FAILED, why)


def _relinked(shade: Shade) -> Shade:
    """Return the shade with the count of a board at rest linked to the positions of the new drive."""
    report = shade.channel.report
    if not shade.channel.answered or report is None or report.moving or report.count is None:
        return shade
    if shade.outstanding is not None:
        return shade
    known = rebased(shade.spec, shade.knowledge, shade.knowledge.hull, count=report.count, boot=report.boot)
    return replace(shade, knowledge=known)
