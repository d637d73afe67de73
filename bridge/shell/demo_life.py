"""What goes on around the demo house while it runs: its roof station speaks, and a person asks for things."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from itertools import cycle

import aiomqtt

from bridge.shell.clock import now
from bridge.simulate.demo_weather import at_the_desk, roof_at

ROOF, DESK = "gull-house/roof", "gull-house/study/desk"
SPEAKS_EVERY_S = 2.0
ASKS_EVERY_S = 240.0
# A person's day: which shade, what percent, and why.
WISHES = (
    ("kitchen", "60", "the low sun is on the breakfast table"),
    ("study", "85", "a glance at the harbour"),
    ("kitchen", "100", "breakfast is over"),
)


@dataclass
class Life:
    """Weather and a person, over a client of their own."""

    client: aiomqtt.Client
    squall_mps: float = 0.0

    async def weather(self) -> None:
        """Speak for the roof station and the mat under the desk, for ever."""
        while True:
            await self.speak()
            await asyncio.sleep(SPEAKS_EVERY_S)

    async def speak(self) -> None:
        """Say once what they read."""
        at = now().utc
        roof = roof_at(at, squall_mps=self.squall_mps)
        said = {"gust": roof.gust_mps, "sun": roof.sun_wpm2, "rain": roof.rain_mmph, "air": roof.air_c}
        await self.client.publish(ROOF, json.dumps(said))
        await self.client.publish(DESK, "taken" if at_the_desk(at) else "free")

    async def person(self, say: Callable[[str], None], ask: Callable[[str, str], Awaitable[None]]) -> None:
        """Ask for something now and then, for ever.

        Args:
            say: Shows one line.
            ask: Publishes a percent for a shade.
        """
        for shade, pct, why in cycle(WISHES):
            await asyncio.sleep(ASKS_EVERY_S)
            say(f"  {now().utc:%H:%M} UTC: Ida asks the {shade} for {pct} %: {why}.")
            await ask(shade, pct)
