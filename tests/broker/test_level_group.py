"""A level group over a real broker: the daemon, and three boards that are processes of their own.

The bars are drawn from what the boards report, on the clock of a listener that is neither; how late a board
starts after its first neighbour is the skew that the bars may be apart for.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest

from bridge.core.spec import ShadeSpec
from bridge.simulate.fitting import HousePlan
from bridge.simulate.house_file import write_house
from bridge.simulate.state_file import read_truth
from tests.level_house import ROW
from tests.mosquitto import Mosquitto
from tests.running import SITE, Bridge, Ear, Heard, begun, opened

pytestmark = pytest.mark.broker

GROUP = """
[groups.front]
members = ["left", "middle", "right"]
level = true
"""
SHADE = """
[shades.{name}]
mounting = "interior"
tube_mm = {tube_mm}
cloth_mm = {cloth_mm}
drop_mm = {drop_mm}
wraps_left = 1.5
upper_limit_mm = 2100
drive = {{ pulses_per_rev = 800, gear = "57/11", top_pps = {pps}, ramp_pps2 = {ramp}, confirmed = true }}
link = {{ kind = "contract", board = "{name}-board" }}
unpowered = {{ holds = "everywhere" }}
references = {{ upper_switch_mm = -4.0 }}
trust = {{ overrun_mm = 20.0, slip_per_move_mm = 0.05, slip_per_turn_mm = 0.01 }}
"""


@dataclass
class Row:
    """The running row."""

    ear: Ear
    bridge: Bridge
    state: Path

    def shown(self, shade: str, what: str) -> str:
        payload = self.ear.latest(f"homie/5/hembar-{shade}/{what}")
        return "" if payload is None else payload.decode()

    def at_rest(self, percent: str) -> bool:
        return all(
            self.shown(bar.name, "opening/motion") == "still"
            and self.shown(bar.name, "opening/position") == percent
            for bar in ROW
        )

    def reports(self, shade: str, since: int) -> list[Heard]:
        topic = f"shade-boards/{shade}-board/0/report"
        return [each for each in self.ear.messages[since:] if each.topic == topic and not each.retained]

    def wait_answering(self, shade: str) -> None:
        def answered() -> bool:
            return any(each.said["answers"] is not None for each in self.reports(shade, 0))

        self.ear.wait(answered, f"{shade} answers", within_s=20)

    def true_drops_mm(self) -> list[float]:
        truth = read_truth(self.state)
        return [truth[f"{bar.name}-board", 0].drop_mm for bar in ROW]


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[Row]:
    settings, state, plan = tmp_path / "house.toml", tmp_path / "truth", tmp_path / "house.json"
    state.mkdir()
    write_house(plan, HousePlan(boards=tuple(bar.plan for bar in ROW), seed=3))
    parts = [
        SHADE.format(
            name=bar.name, tube_mm=bar.tube_mm, cloth_mm=bar.cloth_mm, drop_mm=bar.drop_mm, pps=bar.top_pps,
            ramp=bar.ramp_pps2,
        )
        for bar in ROW
    ]  # fmt: skip
    settings.write_text(SITE.format(port=mosquitto.port) + GROUP + "".join(parts))
    bridge = Bridge(settings, tmp_path / "state", tmp_path / "bridge.log")
    with opened(mosquitto.host, mosquitto.port) as ear:
        boards = [_board(mosquitto, plan, state, bar.name, tmp_path) for bar in ROW]
        bridge.start()
        try:
            yield Row(ear, bridge, state)
        finally:
            for board in boards:
                board.terminate()
                board.wait(5)
            bridge.stop()


def _board(mosquitto: Mosquitto, plan: Path, state: Path, name: str, folder: Path) -> subprocess.Popen[bytes]:
    where = ("--broker", f"127.0.0.1:{mosquitto.port}", "--house", str(plan), "--state", str(state))
    return begun("simulate-boards", *where, "--board", f"{name}-board", log=folder / f"{name}.log")


def test_the_bars_keep_level_over_a_real_broker_as_far_as_their_boards_start_together(house: Row) -> None:
    for bar in ROW:
        house.wait_answering(bar.name)
        house.ear.say(f"homie/5/hembar-{bar.name}/opening/button/set", "up")
    house.ear.wait(lambda: house.at_rest("100"), "all are up", within_s=30)

    since = len(house.ear.messages)
    house.ear.say("homie/5/hembar-front/opening/position/set", "0")
    house.ear.wait(lambda: house.at_rest("0"), "all are down", within_s=60)

    reports = {bar.name: house.reports(bar.name, since) for bar in ROW}
    starts = [next(each.at_s for each in said if each.said["moving"]) for said in reports.values()]
    skew_s = max(starts) - min(starts)
    bars = {bar.name: _course(bar.spec, reports[bar.name]) for bar in ROW}
    worst_mm, mmps = _worst(bars)
    told = f"start skew {1000 * skew_s:.1f} ms, {worst_mm:.1f} mm apart at {mmps:.0f} mm/s"
    print(told)
    assert worst_mm <= 5 + mmps * skew_s, told
    assert skew_s < 0.05, told
    drops = house.true_drops_mm()
    assert max(drops) - min(drops) <= 2, drops


def _course(spec: ShadeSpec, said: list[Heard]) -> list[tuple[float, float]]:
    """Return times and drops of one bar, which ended at its lower limit."""
    offset = spec.travel.lower_steps - said[-1].said["count"]
    moving = [each for each in said if each.said["moving"]]
    return [(each.at_s, spec.travel.drop_at_steps(each.said["count"] + offset)) for each in moving]


def _worst(bars: dict[str, list[tuple[float, float]]]) -> tuple[float, float]:
    """Return how far apart the bars were at worst, each taken as even between reports, and their speed."""
    begin = max(course[0][0] for course in bars.values())
    end = min(course[-1][0] for course in bars.values())
    times = [at for course in bars.values() for at, _ in course if begin <= at <= end]
    worst = max(
        max(drops) - min(drops) for at in times for drops in [[_at(each, at) for each in bars.values()]]
    )
    speeds = [
        (later - earlier) / (until - at)
        for course in bars.values()
        for (at, earlier), (until, later) in pairwise(course)
        if until - at > 0.1
    ]
    return worst, max(speeds)


def _at(course: list[tuple[float, float]], at_s: float) -> float:
    for (begin, earlier), (end, later) in pairwise(course):
        if begin <= at_s <= end:
            return earlier + (later - earlier) * (at_s - begin) / max(end - begin, 1e-9)
    raise AssertionError(at_s)
