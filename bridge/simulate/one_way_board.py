"""A simulated board that obeys one topic and never reports, in the ways such boards are commonly made.

Pure and deterministic like `board.py`. It remembers nothing: with its power comes the count 0, or the first
retained target that it finds, wherever the cloth hangs. What it says of itself is its alive topic, if any.
"""

from __future__ import annotations

import json
from fractions import Fraction
from math import isfinite
from random import Random
from typing import Any

from bridge.core.contract import Link, Then, Why
from bridge.core.spec import PowerUp, Unit
from bridge.simulate.fitting import OneWayPlan
from bridge.simulate.motor import Motor
from bridge.simulate.truth import Tube
from bridge.simulate.wire import PAYLOAD_MAX, Publish


class OneWayBoard:
    """One board with one motor, unpowered until `power_up`.

    Args:
        plan: As built.
        rng: Draws the slip of its shade.
        tubes: Its shade as it is; a new one when None.
        flash: What an earlier life left: how often it was powered up.
    """

    def __init__(
        self,
        plan: OneWayPlan,
        rng: Random,
        *,
        tubes: list[Tube] | None = None,
        flash: dict[str, Any] | None = None,
    ) -> None:
        self.plan = plan
        boot = None if flash is None else flash.get("boot")
        self.boot: int = boot if isinstance(boot, int) else 0
        self.powered = False
        tube = tubes[0] if tubes else Tube.new(plan.channels[0].build, rng)
        self.channels = [Motor(plan.channels[0], tube, {})]
        self._found = False
        self._beat_s: float | None = None
        self._pending: list[tuple[float, int | None, object]] = []
        # What came with the message that is being obeyed.
        self.obeying: object = None

    @property
    def motor(self) -> Motor:
        return self.channels[0]

    @property
    def topics(self) -> list[str]:
        """What it subscribes to."""
        stop = [] if self.plan.stop_topic is None else [self.plan.stop_topic]
        return list(dict.fromkeys([self.plan.topic, *stop]))

    @property
    def moving(self) -> bool:
        return self.motor.moving or bool(self._pending)

    @property
    def next_event_s(self) -> float | None:
        """When `advance` has something to do at the latest; None while all is at rest."""
        due = [self.motor.next_event_s, self._beat_s, self._pending[0][0] if self._pending else None]
        return min((at_s for at_s in due if at_s is not None), default=None)

    def power_up(self, now_s: float) -> None:
        """Begin a boot: it takes itself to be at 0 until a retained target says otherwise."""
        assert not self.powered, now_s
        self.powered, self._found = True, False
        self.boot += 1
        self.motor.wake_up(boot=self.boot)
        self.motor.count = 0
        if self.plan.rest_current:
            self.motor.energise()

    def power_cut(self, now_s: float) -> None:
        """Lose power: RAM and current are gone, cloth may fall."""
        if self.powered:
            self.advance(now_s)
            self.powered, self._beat_s = False, None
            self._pending.clear()
            self.motor.cut(now_s)

    def link(self, link: Link) -> Publish | None:
        """What its alive topic is to say; None when it has nothing to say to that."""
        topic, up, gone = self.plan.alive_topic, self.plan.alive_up, self.plan.alive_gone
        word = up if link is Link.UP else gone
        if topic is None or word is None:
            return None
        return Publish(topic=topic, payload=word.encode("ascii"), retain=gone is not None)

    def connected(self, now_s: float) -> list[Publish]:
        """Greet the broker."""
        self._beat_s = None if self.plan.beat_s is None else now_s + self.plan.beat_s
        return self._alive()

    def on_message(
        self, topic: str, payload: bytes, retained: bool, now_s: float, tag: object = None
    ) -> list[Publish]:
        """Take one message from the broker; `tag` is in `obeying` when it is obeyed."""
        if not self.powered:
            return []
        sent = self.advance(now_s)
        stop = self.plan.stop_payload
        if topic == self.plan.stop_topic and stop is not None and payload == stop.encode("utf-8"):
            if not retained:
                self._pending.append((now_s + self.plan.delay_s, None, tag))
        elif topic == self.plan.topic and (count := self.count_of(payload)) is not None:
            self._told(count, retained=retained, now_s=now_s, tag=tag)
        return [*sent, *self.advance(now_s)]

    def _told(self, count: int, *, retained: bool, now_s: float, tag: object) -> None:
        first, self._found = not self._found, True
        if first and retained and self.plan.power_up is PowerUp.RETAINED_TARGET and not self.moving:
            self.motor.count = count
            return
        self._pending.append((now_s + self.plan.delay_s, count, tag))

    def count_of(self, payload: bytes) -> int | None:
        """What it makes of a number: its own lenient reading, as boards have it."""
        try:
            value = float(payload[:PAYLOAD_MAX])
        except ValueError:
            return None
        if not isfinite(value) or abs(value) > 1e9:
            return None
        exact, full = Fraction(value), self.plan.full_steps
        turn = Fraction(self.plan.channels[0].build.pulses_per_rev * self.plan.channels[0].build.gear)
        match self.plan.unit:
            case Unit.STEPS:
                return round(exact)
            case Unit.TURNS:
                return round(exact * turn)
            case Unit.PERCENT_CLOSED:
                return round(exact * full / 100)
            case Unit.PERCENT_OPEN:
                return round((100 - exact) * full / 100)

    def advance(self, now_s: float) -> list[Publish]:
        """Let time pass."""
        if not self.powered:
            return []
        while self._pending and self._pending[0][0] <= now_s:
            at_s, count, self.obeying = self._pending.pop(0)
            self.motor.advance(at_s)
            self._obey(count, at_s)
        self.motor.advance(now_s)
        self.motor.said.clear()
        return self._beaten(now_s)

    def _obey(self, count: int | None, now_s: float) -> None:
        then = Then.STAY if self.plan.rest_current else Then.SLEEP
        if count is None:
            if self.motor.moving:
                self.motor.stop(now_s, why=Why.STOPPED, then=then)
        elif self.motor.moving or count != self.motor.count:
            self.motor.set_off(
                count, now_s, top=self.plan.pps, ramp=self.plan.ramp, why=Why.ARRIVED, then=then
            )

    def _beaten(self, now_s: float) -> list[Publish]:
        if self._beat_s is None or now_s < self._beat_s or self.plan.beat_s is None:
            return []
        self._beat_s = now_s + self.plan.beat_s
        return self._alive()

    def _alive(self) -> list[Publish]:
        word = self.link(Link.UP)
        return [] if word is None else [word]

    def press(self, _channel: int, _button: str, now_s: float) -> list[Publish]:
        """It has no button."""
        return self.advance(now_s)

    def release(self, _channel: int, now_s: float) -> list[Publish]:
        """It has no button."""
        return self.advance(now_s)

    def wind(self, now_s: float) -> list[Publish]:
        """It has no wind contact."""
        return self.advance(now_s)

    def dump(self) -> str:
        """The flash as text."""
        return json.dumps({"boot": self.boot})
