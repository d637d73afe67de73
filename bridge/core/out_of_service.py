"""A shade that is being commissioned or repaired: the bridge sends it nothing but a stop, and claims nothing.

Whoever works on it moves it by other ways, so all that was known of it ends, and so does all that was heard.
"""

from __future__ import annotations

from bridge.core.command import one_way
from bridge.core.command.pursue import order_stop
from bridge.core.command.requests import Fate, ended, refused, taken_up
from bridge.core.events import Asked, Button, Press
from bridge.core.position.evidence import nothing_known
from bridge.core.position.one_way import only
from bridge.core.reckoning import Reckoning
from bridge.core.replacing import replace
from bridge.core.shade.units import count_of
from bridge.core.spec import OneWayLink, ShadeSpec
from bridge.core.state import Channel, Shade
from bridge.core.turn import Turn

WHY = "it is out of service while somebody works on it (in_service = false in the settings)"


def asked(turn: Turn, shade: Shade, event: Asked) -> Shade:
    """Return the shade after a request: a stop is sent, whoever moves it; everything else is refused."""
    if not (isinstance(event.want, Press) and event.want.button is Button.STOP):
        return refused(turn, shade, event, WHY)
    shade = taken_up(turn, shade, event, None)
    if not turn.house.broker_up:
        return ended(turn, shade, Fate.FAILED, "there is no broker to send the stop to")
    if isinstance(shade.spec.link, OneWayLink):
        shade = one_way.halt(turn, replace(shade, reckoning=replace(shade.reckoning, run=None)))
    else:
        shade = replace(order_stop(turn, shade), outstanding=None)
    return shade if shade.request is None else ended(turn, shade, Fate.REACHED, "a stop was sent")


def anew(shade: Shade, spec: ShadeSpec) -> Shade:
    """Return the shade as it goes out of service or comes back: nothing is known, its numbers go on."""
    same = shade.spec.link == spec.link
    channel = replace(shade.channel, answered=False, asked_seq=None, asks=0, report=None, bounds=None)
    return Shade(
        spec=spec,
        knowledge=nothing_known(spec),
        seq=shade.seq,
        began_seq=shade.began_seq,
        channel=channel if same else Channel(),
        reckoning=_reckoned_anew(spec, shade.reckoning) if same else Reckoning(),
    )


def _reckoned_anew(spec: ShadeSpec, old: Reckoning) -> Reckoning:
    """Return where a one-way board is by the last target that was heard; who waits for it sees it arrive."""
    if old.value is None:
        return replace(old, run=None, echoes=(), watched=False)
    target = count_of(spec, old.value)
    return Reckoning(
        counts=only(target), target=target, value=old.value, alive=old.alive, alive_s=old.alive_s
    )
