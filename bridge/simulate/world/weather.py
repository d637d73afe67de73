"""Wind and a door outside a simulated house, their sensors, and what these may never lead to.

A sensor may fall silent, repeat itself or tell nonsense. Whatever it does, no order lowers a shade while the
last good reading says wind or an open door, nor on a wind sensor that is lost.
"""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

from bridge.core.contract import Do
from bridge.core.events import ReadingHeard
from bridge.core.outcome import SendOrder
from bridge.core.state import Shade
from bridge.core.surroundings import SensorId
from bridge.simulate.world.escape import Escape

if TYPE_CHECKING:
    from bridge.simulate.world.world import World

SPEAKS_S = 1800.0
STALE_S = 4000
GUST, DOOR = SensorId("roof-gust"), SensorId("porch-door")
GUST_LIMIT_MPS = 8.0
CALM_MIN = 40.0
# Within so much of the drop a guard lets be: it reckons in whole percent.
ROUNDED = 0.025


def draw_sensors(rng: Random) -> dict[str, object]:
    """Return the settings of a house with sensors and the rules that go by them; mostly none."""
    if rng.random() >= 0.015:
        return {}
    wind = {"rule": "wind", "shades": "all", "gust_limit_mps": GUST_LIMIT_MPS, "calm_min": CALM_MIN}
    return {
        "sensors": {
            str(GUST): {"kind": "gust", "topic": "roof/gust", "unit": "m/s", "stale_s": STALE_S},
            str(DOOR): {"kind": "contact", "topic": "porch/door", "unit": "0/1", "stale_s": STALE_S},
        },
        "rule": [wind, {"rule": "doorway", "shades": "all"}],
        "restraint": {"look_every_min": 60},
    }


class Weather:
    """What the sensors of one world say."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.rng = Random(f"weather of seed {world.options.seed}")
        self.fitted = [each.id for each in world.plan.spec.sensors if each.id in (GUST, DOOR)]
        self.true = dict.fromkeys(self.fitted, 0.0)
        self.broken: dict[SensorId, str] = {}
        # The last good reading of this session and when it came.
        self.good: dict[SensorId, tuple[float, float]] = {}
        self.since_s = 0.0
        self.calm = False

    def begin(self) -> None:
        """Let the sensors speak."""
        for number, sensor in enumerate(self.fitted):
            self.world.at(self.world.now + 10.0 + 300.0 * number, self._speak, sensor)

    def connected(self) -> None:
        """What was heard in an earlier session is of unknown age."""
        self.good.clear()
        self.since_s = self.world.now

    def break_one(self) -> None:
        """A sensor falls silent, sticks or lies; after a while it is mended."""
        if not self.fitted:
            return
        sensor = self.rng.choice(self.fitted)
        self.broken[sensor] = self.rng.choice(("silent", "stuck", "lies"))
        self.world.note("sensor", sensor, self.broken[sensor])
        self.world.at(self.world.now + self.rng.uniform(1800, 20000), self._mend, sensor)

    def calm_down(self) -> float:
        """Everything works and all is calm; return how long it takes until the rules believe that."""
        self.calm = True
        self.broken.clear()
        return 2 * SPEAKS_S + 60 * CALM_MIN if self.fitted else 0.0

    def _mend(self, sensor: SensorId) -> None:
        self.broken.pop(sensor, None)

    def _speak(self, sensor: SensorId) -> None:
        world = self.world
        world.at(world.now + SPEAKS_S * self.rng.uniform(0.9, 1.1), self._speak, sensor)
        how = self.broken.get(sensor)
        if how != "stuck":
            self.true[sensor] = self._drawn(sensor)
        server = world.server
        if how == "silent" or not (server.running and server.connected) or server.deaf:
            return
        value = self.true[sensor]
        if how == "lies":
            value = self.rng.choice((float("nan"), -40.0, 1e9))
        else:
            self.good[sensor] = (world.now, value)
        server.deliver(ReadingHeard(at=server.moment(), sensor=sensor, value=value))

    def _drawn(self, sensor: SensorId) -> float:
        if self.calm:
            return 0.0 if sensor == DOOR else round(self.rng.uniform(0, 3), 1)
        if sensor == DOOR:
            return float(self.rng.random() < 0.15)
        return round(self.rng.uniform(8.5, 20) if self.rng.random() < 0.1 else self.rng.uniform(0, 7.5), 1)

    def leaving(self, shade: Shade, sent: SendOrder) -> None:
        """No order lowers a shade in the wind, in ignorance of the wind, or on an open door."""
        if not self.fitted or sent.order.do is not Do.GO:
            return
        if shade.outstanding is not None and shade.outstanding.order.do is Do.STOP:
            return  # The same event takes it back.
        side, channel = self.world.where[sent.shade]
        motor = side.board.channels[channel]
        assert sent.order.to is not None
        slack = ROUNDED * shade.spec.travel.lower_steps
        if motor.count is None or side.board.boot != sent.order.boot or side.dirty[channel] is not None:
            return
        known = shade.knowledge
        assert known.base is not None
        # Back to the upper limit from a switch above it is no lowering.
        if sent.order.to <= motor.count + slack or known.base.middle + sent.order.to <= slack:
            return
        why = self._forbidden()
        if why:
            raise Escape("I11", f"{sent.shade} is lowered though {why}")

    def _forbidden(self) -> str:
        now = self.world.now
        at_s, gust = self.good.get(GUST, (self.since_s, 0.0))
        if now - at_s > STALE_S + 1:
            return f"nothing good has been heard of the wind for {now - at_s:.0f} s"
        if gust >= GUST_LIMIT_MPS:
            return f"a gust of {gust} m/s was heard {now - at_s:.0f} s ago"
        at_s, is_open = self.good.get(DOOR, (now, 0.0))
        if is_open and now - at_s < STALE_S - 1:
            return f"its door was heard to be open {now - at_s:.0f} s ago"
        return ""
