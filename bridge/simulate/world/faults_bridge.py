"""What goes wrong at the bridge itself: its disk, its clock, its settings, and what strangers send it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from bridge.adapters.broker.messages import Incoming
from bridge.adapters.broker.tree import Refused
from bridge.adapters.links.contract import decode
from bridge.core.errors import LinkError
from bridge.core.events import Percent
from bridge.simulate.board import DEFAULT_ROOT
from bridge.simulate.world.escape import Escape
from bridge.simulate.world.plan import changed_settings, redrawn_settings
from bridge.simulate.world.server import EPOCH

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

# A clock without a battery, the ends of 32 and 16 bits of time, the changes of the house's own summer time.
INSTANTS = (
    datetime(1970, 1, 1, 0, 0, 5, tzinfo=UTC),
    datetime(2038, 1, 19, 3, 13, 50, tzinfo=UTC),
    datetime(2106, 2, 7, 6, 28, 5, tzinfo=UTC),
    datetime(2026, 3, 29, 0, 59, 30, tzinfo=UTC),
    datetime(2026, 10, 25, 0, 59, 30, tzinfo=UTC),
)
# Payloads that no honest board sends.
HOSTILE = (
    b"", b"null", b"[]", b"\xff\xfe\x00", b'{"v":1}', b'{"v":2,"boot":1}', b'{"link":"up","boot":1e999}',
    b'{"link":"up","boot":-3}', b'{"link":"up","boot":NaN}', b'{"link":"gone","boot":4}', b"[" * 5000,
    b'{"link":"up","boot":"4"}', b'{"v":1,"boot":1,"n":1,"count":' + b"9" * 400 + b"}", b"x" * 300_000,
    b'{"v":1,"boot":true,"n":1}', b'{"v":1,"boot":1,"n":1,"count":1.5,"kept":true,"moving":false}',
)  # fmt: skip
WISHES = (
    b"",
    b"NaN",
    b"1e9",
    b"-500",
    b"101",
    b"50.5",
    b"\xc3\xa4",
    b"up ",
    b"9" * 5000,
    b"0x10",
    b"true",
    b"+7",
)
FLOOD = 150


def _torn(world: World) -> None:
    """Power fails in the middle of a write, and rows that had been flushed can't be read any more."""
    server = world.server
    if server.running:
        server.die(power=True)
        server.tear()
        world.at(world.now + world.rng.uniform(20, 120), server.start)


def _disk_refuses(world: World) -> None:
    """The disk is full, or has become read-only, for a while."""
    world.server.disk_ok = False
    world.note("disk refuses")
    world.at(world.now + world.rng.choice((3.0, 30.0, 600.0)), _disk_is_back, world)


def _disk_is_back(world: World) -> None:
    world.server.disk_ok = True


def _calendar(world: World) -> None:
    """The wall clock stands at an odd instant, perhaps from a start on, and is set right later."""
    world.checks.limits.forgiven()
    server, before = world.server, world.server.wall
    server.wall = (world.rng.choice(INSTANTS) - EPOCH).total_seconds() - world.now
    world.note("clock", server.wall)
    if server.running and world.rng.random() < 0.5:
        server.die(power=False)
        server.start()
    world.at(world.now + world.rng.choice((20.0, 600.0, 20000.0)), _set_right, world, before)


def _set_right(world: World, wall: float) -> None:
    world.checks.limits.forgiven()
    world.server.wall = wall


def _edit(world: World) -> None:
    """The owner edits settings while the bridge runs, drives included, whatever moves."""
    server = world.server
    if world.rng.random() < 0.6:
        server.spec = redrawn_settings(world.rng, server.spec, world.plan)
    else:
        server.spec = changed_settings(world.rng, server.spec)
    server.settings_changed()


def _any_effect(world: World) -> None:
    """The process dies between any two effects of an event to come: writes, publishes, memories."""
    world.server.dies_anywhere = world.rng.random() < 0.5


def _hostile(world: World) -> None:
    """Somebody sends what no board and no person would: it is refused, and nothing comes of it."""
    boards = [*world.sides, "ghost", "x" * 70]
    for _ in range(5):
        board, payload = world.rng.choice(boards), world.rng.choice(HOSTILE)
        topic = f"{DEFAULT_ROOT}/{board}/" + world.rng.choice(
            ("link", "0/report", "99/report", "report", "0/0")
        )
        _refused(world, topic, payload)
    shade = world.rng.choice(sorted(world.where))
    for levels in ("opening/position/set", "opening/button/set", "opening/nudge/set"):
        tree = world.checks.limits.tree
        topic = tree.topic(shade, levels)
        read = tree.read_set(Incoming(topic=topic, payload=world.rng.choice(WISHES), retained=False))
        if not isinstance(read, Refused):
            raise Escape("I2", f"{topic}: rubbish is read as {read}")


def _refused(world: World, topic: str, payload: bytes) -> None:
    server = world.server
    try:
        event = decode(DEFAULT_ROOT, topic, payload, retained=False, at=server.moment())
    except LinkError:
        return
    if event is not None:
        raise Escape("I2", f"{topic}: {payload[:60]!r} is read as {event}")


def _flood(world: World) -> None:
    """A script asks as fast as it can, or the broker hands out the same message again and again."""
    server = world.server
    kept = list(world.broker.retained.values())
    if kept and server.connected and world.rng.random() < 0.5:
        message = world.rng.choice(kept)
        for _ in range(FLOOD):
            server.receive(message)
        return
    name, at = world.rng.choice(sorted(world.where)), world.now
    for _ in range(FLOOD):
        at += world.rng.uniform(0.0, 0.02)
        world.at(at, world.people.ask, name, Percent(open_pct=world.rng.randint(0, 100)))


def _sensor(world: World) -> None:
    world.weather.break_one()


KINDS: Mapping[str, Callable[[World], None]] = {
    "torn": _torn,
    "disk-refuses": _disk_refuses,
    "calendar": _calendar,
    "edit": _edit,
    "any-effect": _any_effect,
    "hostile": _hostile,
    "flood": _flood,
    "sensor": _sensor,
}
