"""Sensors, a window and rules for houses in tests: an exterior shade in a wall that looks south-west."""

from __future__ import annotations

from dataclasses import dataclass, replace

from bridge.adapters.sensors.catalogue import kinds
from bridge.core.events import ReadingHeard
from bridge.core.outcome import Decisions, Note
from bridge.core.rules.catalogue import rules
from bridge.core.sun.sky import Place
from bridge.core.sun.window import Facade, Opening
from bridge.core.surroundings import RuleChoice, Sensor, SensorId, Site, Window
from bridge.core.values import ShadeId
from tests.scene import Scene

AZORES = Site(place=Place(latitude_deg=38.5, longitude_deg=-28.5), timezone="Atlantic/Azores")
WINDOW = Window(
    facade=Facade(azimuth_deg=215.0), opening=Opening(sill_m=0.8, head_m=2.3, plane_m=0.75), upper_m=2.3
)


def sensor(kind: str, **more: object) -> Sensor:
    """Return a sensor of a kind with what is usual for it; its id is the kind."""
    usual = kinds()[kind].usual
    made = Sensor(
        id=SensorId(kind),
        kind=kind,
        shades=(),
        stale_s=usual.stale_s,
        low=usual.low,
        high=usual.high,
        rate_per_min=usual.rate_per_min,
        stuck_s=None if usual.stuck_h is None else usual.stuck_h * 3600,
        rests_at=usual.rests_at,
        grain=usual.grain,
    )
    return replace(made, **more)  # type: ignore[arg-type]  # fields by name


def choice(rule: str, **params: object) -> RuleChoice:
    """Return a rule with its parameters."""
    return RuleChoice(rule=rule, params=rules()[rule].params(**params))


@dataclass
class Weather(Scene):
    """A scene in which sensors speak."""

    def say(self, kind: str, value: float | None, problem: str = "") -> Decisions:
        return self.event(ReadingHeard(at=self.at, sensor=SensorId(kind), value=value, problem=problem))

    def hold_at(self, kind: str, value: float, for_s: float, every_s: float = 30.0) -> None:
        """Let a sensor say about the same for a while."""
        for step in range(round(for_s / every_s)):
            self.say(kind, value + 0.01 * (step % 2))
            self.run(every_s)

    def told(self, name: str) -> list[Note]:
        return [note for note in self.notes if note.name == name]

    def open_pct(self, name: str) -> int:
        board = self.boards[name]
        return round(board.spec.travel.percent_at_steps(board.at - self.boards_zero(name)))

    def boards_zero(self, name: str) -> int:
        """Return the count of a board at the upper limit, as the house has found it."""
        known = self.shade(name).knowledge.base
        assert known is not None
        return -known.middle

    def reason(self, name: str) -> str:
        return self.shade(name).reason

    @property
    def landing(self) -> ShadeId:
        return ShadeId("landing")
