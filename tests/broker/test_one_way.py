"""A board that never reports: real broker and daemon, and a simulated board that can lose its power."""

from __future__ import annotations

import json
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from bridge.core.spec import PowerUp, Unit
from bridge.simulate.build import Build
from bridge.simulate.fitting import Fitting, HousePlan, OneWayPlan
from bridge.simulate.house_file import write_house
from bridge.simulate.state_file import read_truth
from tests.mosquitto import Mosquitto
from tests.running import HEMBAR, SITE, Bridge, Ear, begun, opened

DROP_MM = 600.0
TOPIC = "porch/target"
SETTINGS = (
    SITE
    + """\
[shades.porch]
mounting = "interior"
tube_mm = 38.0
cloth_mm = 0.5
drop_mm = 600
wraps_left = 1.5
[shades.porch.drive]
pulses_per_rev = 800
gear = "57/11"
top_pps = 4000
ramp_pps2 = 8000
confirmed = true
[shades.porch.unpowered]
holds = "everywhere"
[shades.porch.trust]
local_button = false
tolerance_mm = 8.0
overrun_mm = 26.0
slip_per_move_mm = 0.1
[shades.porch.link]
kind = "one-way"
topic = "porch/target"
latency_s = 0.5
rest_current = true
{link}
"""
)
RETAINED = 'retained = true\nafter_power_up = "retained-target"\n'
ZERO = 'retained = false\nafter_power_up = "zero"\n'
ALIVE = 'alive_topic = "porch/alive"\nalive_up = "here"\nalive_gone = "gone"\nalive_within_s = 2\n'
STOP = 'stop_topic = "porch/halt"\nstop_payload = "halt"\n'


@dataclass
class Porch:
    """Everything that runs, and the questions that a test asks of it."""

    ear: Ear
    bridge: Bridge
    house: Path
    truth: Path
    port: int
    board: subprocess.Popen[bytes] | None = None

    def power_up(self) -> None:
        where = ("--broker", f"127.0.0.1:{self.port}", "--house", str(self.house))
        self.board = begun(
            "simulate-boards", *where, "--state", str(self.truth), log=self.house.with_suffix(".log")
        )

    def power_cut(self) -> None:
        assert self.board is not None
        self.board.send_signal(signal.SIGKILL)
        self.board.wait(5)

    def value(self, levels: str) -> str:
        payload = self.ear.latest(f"homie/5/hembar-porch/{levels}")
        return "" if payload is None else payload.decode()

    def set(self, levels: str, payload: str) -> None:
        self.ear.say(f"homie/5/hembar-porch/{levels}/set", payload)

    @property
    def true_mm(self) -> float:
        return read_truth(self.truth)["porch-board", 0].drop_mm

    @property
    def true_pct(self) -> float:
        return 100 * (1 - self.true_mm / DROP_MM)

    def check_claim(self) -> None:
        """The band on the broker holds the truth; what is in between on its way is allowed its moment."""
        until = time.monotonic() + 1.0
        while not self.claim_holds():
            assert time.monotonic() < until, (
                f"{self.true_pct:.2f} % is not within {self.value('knowledge/low')} to "
                f"{self.value('knowledge/high')}"
            )
            time.sleep(0.02)

    def claim_holds(self) -> bool:
        return float(self.value("knowledge/low")) <= self.true_pct <= float(self.value("knowledge/high"))

    def go(self, percent: int) -> None:
        """Ask, and hold the claim against the truth all the way."""
        before = len(self.ended())
        self.set("opening/position", str(percent))
        until = time.monotonic() + 20
        while len(self.ended()) == before:
            assert time.monotonic() < until, "it has not ended"
            self.check_claim()
            time.sleep(0.05)
        self.ear.wait(lambda: self.value("opening/motion") == "still", "the tree follows")

    def ended(self) -> list[str]:
        return [str(line["fate"]) for line in self.bridge.logged("request.ended")]

    def targets(self) -> list[bytes]:
        return [each.payload for each in self.ear.messages if each.topic == TOPIC]

    def confirm_top(self) -> None:
        self.ear.wait(lambda: self.value("$state") == "ready", "the shade is there")
        self.set("knowledge/confirm", "upper")
        self.ear.wait(lambda: self.value("knowledge/grade") in ("reckoned", "referenced"), "it is confirmed")


@contextmanager
def running(
    mosquitto: Mosquitto,
    folder: Path,
    link: str,
    *,
    unit: Unit = Unit.PERCENT_CLOSED,
    decimals: int = 1,
) -> Iterator[Porch]:
    text = SETTINGS.format(port=mosquitto.port, link=f'{link}unit = "{unit}"\ndecimals = {decimals}\n')
    (folder / "house.toml").write_text(text)
    build = Build(
        tube_mm=38.0, cloth_mm=0.5003, drop_mm=DROP_MM, wraps_left=1.51, width_mm=900.0, cloth_kgpm2=0.19,
        hem_bar_kg=0.2, stop_mm=-25.0, slip_move_mm=0.05, slip_turn_mm=0.03,
    )  # fmt: skip
    plan = OneWayPlan(
        id="porch-board",
        channels=(Fitting(shade="porch", build=build),),
        topic=TOPIC,
        unit=unit,
        full_steps=full_steps(folder / "house.toml"),
        power_up=PowerUp.RETAINED_TARGET if link.startswith(RETAINED) else PowerUp.ZERO,
        pps=4000,
        ramp=8000,
        delay_s=0.1,
        rest_current=True,
        alive_topic="porch/alive" if ALIVE in link else None,
        alive_up="here" if ALIVE in link else None,
        alive_gone="gone" if ALIVE in link else None,
        stop_topic="porch/halt" if STOP in link else None,
        stop_payload="halt" if STOP in link else None,
    )
    write_house(folder / "house.json", HousePlan(boards=(), one_way=(plan,)))
    bridge = Bridge(folder / "house.toml", folder / "state", folder / "bridge.log")
    with opened(mosquitto.host, mosquitto.port) as ear:
        porch = Porch(ear, bridge, folder / "house.json", folder / "truth", mosquitto.port)
        try:
            porch.power_up()
            ear.wait(
                lambda: bool(read_truth(porch.truth)) if porch.truth.is_dir() else False, "the board runs"
            )
            bridge.start()
            porch.confirm_top()
            yield porch
        finally:
            if porch.board is not None and porch.board.poll() is None:
                porch.power_cut()
            if bridge.process is not None:
                bridge.stop()


def full_steps(settings: Path) -> int:
    """What an owner gives the board as the steps of its whole travel: the bridge's own figure."""
    said = subprocess.run(
        [str(HEMBAR), "check", "--json", str(settings)], check=True, capture_output=True, timeout=20
    )
    steps: int = json.loads(said.stdout)["shades"][0]["full_travel_steps"]
    return steps


@pytest.mark.parametrize(
    ("unit", "decimals"),
    [
        (Unit.STEPS, 0),
        (Unit.TURNS, 3),
        (Unit.PERCENT_CLOSED, 1),
        (Unit.PERCENT_OPEN, 1),
    ],
)
def test_percent_moves_reach_their_place_in_every_unit(
    mosquitto: Mosquitto, tmp_path: Path, unit: Unit, decimals: int
) -> None:
    with running(mosquitto, tmp_path, RETAINED, unit=unit, decimals=decimals) as porch:
        for percent in (70, 30, 45):
            porch.go(percent)
            assert abs(porch.true_pct - percent) < 1.0
            assert porch.value("opening/position") == str(percent)
        assert porch.ended()[-3:] == ["reached"] * 3
        assert porch.value("knowledge/grade") == "reckoned"


def test_a_stranger_s_target_moves_the_claim_and_begins_a_hold(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running(mosquitto, tmp_path, RETAINED) as porch:
        porch.go(80)
        porch.ear.say(TOPIC, b"60.0", retain=True)
        porch.ear.wait(lambda: porch.value("opening/motion") == "lowering", "it follows")
        assert "another sender" in porch.value("reason/text")
        assert porch.value("reason/until")
        until = time.monotonic() + 20
        while porch.value("opening/motion") != "still":
            assert time.monotonic() < until, "it moves on and on"
            porch.check_claim()
            time.sleep(0.05)
        porch.check_claim()
        assert abs(porch.true_pct - 40) < 2.0  # 60 % of its steps, which is nearly 60 % of the drop


def test_a_board_cut_on_its_way_is_never_believed_to_have_arrived(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with running(mosquitto, tmp_path, RETAINED + ALIVE) as porch:
        porch.ear.wait(lambda: porch.ear.latest("porch/alive") == b"here", "the board greets")
        porch.set("opening/position", "10")
        porch.ear.wait(lambda: porch.true_pct < 70, "it is on its way")
        porch.power_cut()
        porch.ear.wait(lambda: porch.value("$state") == "lost", "the board is missed")
        stands = porch.true_pct
        porch.check_claim()
        porch.power_up()
        porch.ear.wait(lambda: porch.value("$state") == "ready", "the board is back")
        time.sleep(4.0)
        porch.check_claim()
        assert abs(porch.true_pct - stands) < 1.0
        assert float(porch.value("knowledge/high")) - float(porch.value("knowledge/low")) > 50
        assert "failed" in porch.ended()
        # Up is always possible, and then a person at the mark puts it right.
        porch.go(100)
        porch.check_claim()


def test_the_alive_topic_alone_makes_a_position_referenced(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running(mosquitto, tmp_path, RETAINED + ALIVE) as porch:
        porch.ear.wait(lambda: porch.ear.latest("porch/alive") == b"here", "the board greets")
        porch.confirm_top()
        porch.ear.wait(lambda: porch.value("knowledge/grade") == "referenced", "it is referenced")


def test_a_request_to_a_board_that_is_gone_is_not_sent(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running(mosquitto, tmp_path, RETAINED + ALIVE) as porch:
        porch.ear.wait(lambda: porch.ear.latest("porch/alive") == b"here", "the board greets")
        porch.power_cut()
        porch.ear.wait(lambda: porch.value("$state") == "lost", "the board is missed")
        porch.set("opening/position", "50")
        porch.ear.wait(lambda: porch.value("opening/position/$target") == "50", "it is accepted")
        time.sleep(1.0)
        assert porch.targets() == []
        porch.power_up()
        porch.ear.wait(lambda: bool(porch.targets()), "it is sent once the board is there")


@pytest.mark.parametrize("link", [RETAINED, ZERO, RETAINED + STOP])
def test_stop_halts_on_the_way(mosquitto: Mosquitto, tmp_path: Path, link: str) -> None:
    with running(mosquitto, tmp_path, link) as porch:
        porch.set("opening/position", "0")
        porch.ear.wait(lambda: porch.true_pct < 70, "it is on its way")
        porch.set("opening/button", "stop")
        porch.ear.wait(lambda: porch.value("opening/motion") == "still", "it stands", within_s=20)
        porch.check_claim()
        stands = porch.true_pct
        assert stands > 35
        time.sleep(1.0)
        assert porch.true_pct == stands


def test_a_bridge_killed_on_the_way_still_knows_where_it_ends(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running(mosquitto, tmp_path, RETAINED) as porch:
        porch.set("opening/position", "20")
        porch.ear.wait(lambda: porch.true_pct < 80, "it is on its way")
        porch.bridge.kill()
        sent = len(porch.targets())
        porch.bridge.start()
        porch.ear.wait(lambda: "reached" in porch.ended(), "it is reckoned to be there", within_s=20)
        porch.check_claim()
        assert abs(porch.true_pct - 20) < 1.0
        assert len(porch.targets()) == sent
