"""A simulated board: one boot counter, one link, one or more channels.

Pure and deterministic: messages and time in, messages out. It knows neither sockets nor files; whoever runs
it keeps `flash` over a loss of power, and writes it down before the next call.
"""

from __future__ import annotations

import json
from random import Random
from typing import Any

from bridge.core.contract import Link, Why
from bridge.simulate.channel import Channel
from bridge.simulate.fitting import BoardPlan
from bridge.simulate.truth import Tube
from bridge.simulate.wire import Publish, read_json, read_order, write

DEFAULT_ROOT = "shade-boards"


class Board:
    """One board, unpowered until `power_up`.

    Args:
        plan: As built.
        rng: Draws the slip of its shades.
        root: The first level of its topics.
        tubes: Its shades as they are; new ones when None.
        flash: What an earlier life left; a new board's when None.
    """

    def __init__(
        self,
        plan: BoardPlan,
        rng: Random,
        *,
        root: str = DEFAULT_ROOT,
        tubes: list[Tube] | None = None,
        flash: dict[str, Any] | None = None,
    ) -> None:
        self.plan, self.root = plan, root
        self.flash = new_flash(plan) if flash is None else _mended(flash, plan)
        self.powered = False
        self._greeted = False
        shades = tubes or [Tube.new(each.build, rng) for each in plan.channels]
        self.channels = [
            Channel(fitting, tube, self.flash["channels"][str(number)])
            for number, (fitting, tube) in enumerate(zip(plan.channels, shades, strict=True))
        ]

    @property
    def boot(self) -> int:
        boot: int = self.flash["boot"]
        return boot

    @property
    def link_topic(self) -> str:
        return f"{self.root}/{self.plan.id}/link"

    @property
    def topics(self) -> list[str]:
        """What it subscribes to."""
        orders = [f"{self.root}/{self.plan.id}/{number}/order" for number in range(len(self.channels))]
        return [self.link_topic, *orders]

    @property
    def moving(self) -> bool:
        for channel in self.channels:  # noqa: SIM110 - asked for at every event, and half as long as `any`
            if channel.motion is not None:
                return True
        return False

    @property
    def next_event_s(self) -> float | None:
        """When `advance` has something to do at the latest; None while all is at rest."""
        due = [at_s for channel in self.channels if (at_s := channel.next_event_s) is not None]
        return min(due, default=None)

    def power_up(self, now_s: float) -> None:
        """Begin a boot."""
        assert not self.powered, now_s
        self.powered, self._greeted = True, False
        self.flash["boot"] += 1
        for channel in self.channels:
            channel.wake_up(boot=self.boot)

    def power_cut(self, now_s: float) -> None:
        """Lose power: RAM and current are gone, cloth may fall."""
        if self.powered:
            self.powered = False
            for channel in self.channels:
                channel.cut(now_s)

    def link(self, link: Link) -> Publish:
        """What its link topic is to say: `up` on connecting, `off` on a clean stop; `lost` is its will."""
        return Publish(topic=self.link_topic, payload=write({"link": str(link), "boot": self.boot}))

    def connected(self, now_s: float) -> list[Publish]:
        """Greet the broker: the link, then each channel's report."""
        sent = [self.link(Link.UP), *self.advance(now_s)]
        for channel in self.channels:
            channel.say(Why.TOLD if self._greeted else Why.BOOT)
        self._greeted = True
        return [*sent, *self._collect()]

    def on_message(self, topic: str, payload: bytes, retained: bool, now_s: float) -> list[Publish]:
        """Take one message from the broker."""
        if not self.powered:
            return []
        sent = self.advance(now_s)
        if topic == self.link_topic:
            data = read_json(payload) or {}
            return [*sent, self.link(Link.UP)] if data.get("link") == Link.LOST else sent
        if topic in self.topics and not retained:
            number = int(topic.split("/")[-2])
            self.channels[number].obey(read_order(payload), now_s)
        return [*sent, *self._collect()]

    def advance(self, now_s: float) -> list[Publish]:
        """Let time pass."""
        if not self.powered:
            return []
        for channel in self.channels:
            channel.advance(now_s)
        return self._collect()

    def press(self, channel: int, button: str, now_s: float) -> list[Publish]:
        """A finger on a channel's `up`, `stop` or `down`."""
        if self.powered:
            self.channels[channel].press(button, now_s)
        return self._collect()

    def release(self, channel: int, now_s: float) -> list[Publish]:
        """The finger is gone."""
        if self.powered:
            self.channels[channel].release(now_s)
        return self._collect()

    def wind(self, now_s: float) -> list[Publish]:
        """The wired wind contact closes: every channel goes up."""
        if self.powered:
            for channel in self.channels:
                channel.wind(now_s)
        return self._collect()

    def dump(self) -> str:
        """The flash as text."""
        return json.dumps(self.flash, indent=1)

    def _collect(self) -> list[Publish]:
        sent = []
        for number, channel in enumerate(self.channels):
            topic = f"{self.root}/{self.plan.id}/{number}/report"
            sent += [Publish(topic=topic, payload=write(report)) for report in channel.said]
            channel.said.clear()
        return sent


def new_flash(plan: BoardPlan) -> dict[str, Any]:
    """The flash of a board whose counts were set on a bench, or that never had any."""
    return {
        "boot": 0,
        "channels": {
            str(number): {} if each.record is None else {"count": each.record, "clean": True, "kept_since": 1}
            for number, each in enumerate(plan.channels)
        },
    }


def load_flash(text: str) -> dict[str, Any]:
    """The flash in `text`; a blank one when it is damaged."""
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}


def _mended(flash: dict[str, Any], plan: BoardPlan) -> dict[str, Any]:
    """The flash with every part that the board relies on; what is damaged reads as blank."""
    boot, channels = flash.get("boot"), flash.get("channels")
    whole = isinstance(boot, int) and not isinstance(boot, bool) and boot >= 0
    parts = channels if isinstance(channels, dict) else {}
    named = {str(number): parts.get(str(number)) for number in range(len(plan.channels))}
    kept = {name: part if isinstance(part, dict) else {} for name, part in named.items()}
    return {"boot": boot if whole else 0, "channels": kept}
