"""A house on a broker that is not there: what a command's visit reads, asks and hears."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

from bridge.adapters.broker.messages import Incoming
from bridge.adapters.broker.oneshot import Answer

Device = dict[str, bytes]
SHADE_DESCRIPTION = b'{"homie":"5.0","type":"shade"}'


def shade(position: str = "40", **values: str) -> Device:
    """Return a shade's device; a keyword such as `reason__text` overrides a value, "" leaves it out."""
    said = {
        "$state": "ready",
        "$description": SHADE_DESCRIPTION.decode(),
        "opening/position": position,
        "opening/position/$target": position,
        "opening/motion": "still",
        "knowledge/grade": "referenced",
        "knowledge/low": "39.8",
        "knowledge/high": "40.2",
        "knowledge/width": "7.4",
        "reason/text": "40 % asked by the kitchen panel",
        **{name.replace("__", "/"): value for name, value in values.items()},
    }
    return {levels: value.encode() for levels, value in said.items() if value}


def root(state: str = "ready", **values: str) -> Device:
    said = {"$state": state, **{name.replace("__", "/"): value for name, value in values.items()}}
    return {levels: value.encode() for levels, value in said.items()}


@dataclass
class FakeVisit:
    """What `Visit` offers, without a broker.

    Attributes:
        devices: The tree, the root's device first.
        answers: What comes of a request: by default it is taken.
        steps: What changes while it is watched: a device and its new values.
        overheard: What is published while a topic is overheard.
        asked: What has been asked for.
    """

    devices: dict[str, Device] = field(default_factory=dict)
    answers: Answer = field(default_factory=lambda: Answer(taken=True))
    steps: list[tuple[str, Device]] = field(default_factory=list)
    overheard: list[Incoming] = field(default_factory=list)
    asked: list[tuple[str, str, bytes]] = field(default_factory=list)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return None

    def tree(self) -> dict[str, Device]:
        return {name: dict(device) for name, device in self.devices.items()}

    def device(self, device: str) -> Device:
        return dict(self.devices.get(device, {}))

    def ask(self, device: str, levels: str, payload: bytes, *, within_s: float) -> Answer:
        self.asked.append((device, levels, payload))
        return self.answers

    def follow(
        self, device: str, done: Callable[[Mapping[str, bytes]], bool], *, within_s: float
    ) -> tuple[Device, bool]:
        values = self.device(device)
        while not done(values):
            if not self.steps:
                return values, False
            self._step()
            values = self.device(device)
        return values, True

    def changes(self, *, within_s: float | None = None) -> Iterator[str]:
        while self.steps:
            yield self._step()

    def overhear(self, topic: str, *, within_s: float) -> Iterator[Incoming]:
        yield from self.overheard

    def _step(self) -> str:
        name, values = self.steps.pop(0)
        self.devices[name] = {**self.devices.get(name, {}), **values}
        return name
