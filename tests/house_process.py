"""The demo house as processes: a real daemon and real boards on a real broker, and what is true of them."""

from __future__ import annotations

import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from bridge.simulate.demo_house import NOMINAL
from bridge.simulate.state_file import read_truth
from tests.mosquitto import Mosquitto
from tests.running import Bridge, Ear, begun, opened, settings_for


@dataclass
class Boards:
    """`hembar simulate-boards` for one board, as a process that can be killed like a power cut."""

    port: int
    state: Path
    board: str
    log: Path
    process: subprocess.Popen[bytes] | None = field(default=None, init=False)

    def start(self) -> None:
        assert self.process is None or self.process.poll() is not None
        where = ("--broker", f"127.0.0.1:{self.port}", "--state", str(self.state))
        self.process = begun("simulate-boards", *where, "--board", self.board, log=self.log)

    def kill(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(5)

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(5)


@dataclass
class House:
    """Everything that runs, and the questions that a test asks of it."""

    mosquitto: Mosquitto
    bridge: Bridge
    boards: dict[str, Boards]
    ear: Ear
    state: Path

    def value(self, shade: str, levels: str) -> str:
        payload = self.ear.latest(f"homie/5/hembar-{shade}/{levels}")
        return "" if payload is None else payload.decode()

    def motion(self, shade: str) -> str:
        return self.value(shade, "opening/motion")

    def ask(self, shade: str, percent: str) -> None:
        """Ask for a percent and wait until it is accepted."""
        seen = len(self.bridge.logged("request.accepted"))
        self.ear.say(f"homie/5/hembar-{shade}/opening/position/set", percent)
        self.ear.wait(lambda: len(self.bridge.logged("request.accepted")) > seen, f"{percent} is accepted")
        self.ear.wait(lambda: self.value(shade, "opening/position/$target") == percent, "the target is told")

    def ask_group(self, group: str, percent: str) -> None:
        """Ask a group for a percent and wait until that is accepted."""
        self.ear.say(f"homie/5/hembar-{group}/opening/position/set", percent)
        self.ear.wait(lambda: self.value(group, "opening/position/$target") == percent, "the target is told")

    def press(self, shade: str, button: str) -> None:
        self.ear.say(f"homie/5/hembar-{shade}/opening/button/set", button)

    def wait_answered_anew(self, shade: str, since: int) -> None:
        """Wait until the board has answered a question put after message `since`, and the tree follows."""
        nominal = NOMINAL[shade]
        topic = f"shade-boards/{nominal.board}/{nominal.channel}/report"

        def answered() -> bool:
            later = [each for each in self.ear.messages[since:] if each.topic == topic and not each.retained]
            return any(each.said["answers"] is not None for each in later)

        self.ear.wait(answered, f"{shade} answers the new run", within_s=30)
        time.sleep(0.5)

    def wait_at_rest(self, shade: str, percent: str) -> None:
        self.ear.wait(
            lambda: self.motion(shade) == "still" and self.value(shade, "opening/position") == percent,
            f"{shade} stands at {percent} %",
            within_s=40,
        )

    def answered(self, shade: str) -> bool:
        """Whether the shade's board has answered a question of the bridge since the ear was opened."""
        topic = f"shade-boards/{NOMINAL[shade].board}/{NOMINAL[shade].channel}/report"
        reports = [each for each in self.ear.messages if each.topic == topic]
        return any(each.said["answers"] is not None and not each.retained for each in reports)

    def find_top(self, shade: str) -> None:
        """Let it find its upper switch, from unknown."""
        self.ear.wait(lambda: self.answered(shade), f"{shade} answers", within_s=20)
        self.press(shade, "up")
        self.wait_at_rest(shade, "100")

    def true_drop_mm(self, shade: str) -> float:
        nominal = NOMINAL[shade]
        return read_truth(self.state)[nominal.board, nominal.channel].drop_mm

    def true_percent(self, shade: str) -> float:
        return 100 * (1 - self.true_drop_mm(shade) / NOMINAL[shade].drop_mm)

    def claim_holds(self, shade: str) -> bool:
        """Whether the band that the broker shows contains where the hem bar really is."""
        low = float(self.value(shade, "knowledge/low"))
        high = float(self.value(shade, "knowledge/high"))
        return low <= self.true_percent(shade) <= high


@contextmanager
def running_house(
    mosquitto: Mosquitto,
    folder: Path,
    *,
    local_button: bool | None = None,
    more: str = "",
    longitude_deg: float | None = None,
) -> Iterator[House]:
    settings = settings_for(
        mosquitto.port,
        folder / "house.toml",
        local_button=local_button,
        more=more,
        longitude_deg=longitude_deg,
    )
    truth = folder / "truth"
    truth.mkdir()
    bridge = Bridge(settings, folder / "state", folder / "bridge.log")
    boards = {
        name: Boards(mosquitto.port, truth, name, folder / f"{name}.log")
        for name in ("attic-board", "stair-board")
    }
    with opened(mosquitto.host, mosquitto.port) as ear:
        house = House(mosquitto, bridge, boards, ear, truth)
        try:
            bridge.start()
            for board in boards.values():
                board.start()
            yield house
        finally:
            for board in boards.values():
                board.stop()
            if bridge.process is not None:
                bridge.stop()
