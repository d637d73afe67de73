"""Commissioning in a real terminal against a real broker: the hem bars hang where the settings then say."""

from __future__ import annotations

import json
import signal
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest

from bridge.settings.commissioning import facts_of
from bridge.settings.load import load
from bridge.simulate.truth import Tube
from tests.commission_house import BOARDS, BUILDS, GEAR, PULSES, SETTINGS, Board, plan
from tests.mosquitto import Mosquitto
from tests.person_at_shade import Person
from tests.running import HEMBAR, Bridge, Ear, opened
from tests.terminal import Terminal
from tests.unit.core.commissioning.bench import Bench

pytestmark = pytest.mark.broker
A_SHADE_S = 240.0
HEIGHTS = (80, 50, 20, 0, 100)
WITHIN_MM = {"hall": 3.0, "den": 3.0, "porch": 10.0}


class House:
    """Boards, a bridge that reads its settings again when asked to, and a person at each shade."""

    def __init__(self, broker: Mosquitto, folder: Path) -> None:
        self.settings = folder / "house.toml"
        self.settings.write_text(SETTINGS.format(port=broker.port))
        self.boards = {shade: Board(shade, broker.port, folder) for shade in BOARDS}
        self.bridge = Bridge(self.settings, folder / "state", folder / "bridge.log")
        self.folder = folder

    def reload(self) -> None:
        assert self.bridge.process is not None
        self.bridge.process.send_signal(signal.SIGHUP)

    def person(self, shade: str) -> Person:
        board = self.boards[shade]
        return Person(
            build=BUILDS[shade],
            drop_mm=lambda: self._still(board),
            turns=lambda: board.truth.turns,
            rewire=lambda: board.mended(den_backwards=False),
            reprogram=lambda: board.mended(hall_ratio=PULSES * GEAR),
            fixed={"believes": "yes"},
        )

    @staticmethod
    def _still(board: Board) -> float:
        """Where it hangs, once it hangs still."""
        while (truth := board.truth).moving:
            time.sleep(0.05)
        return truth.drop_mm

    def commission(self, shade: str, *options: str) -> Terminal:
        command = [str(HEMBAR), "commission", shade, "--settings", str(self.settings), *options]
        return Terminal(command, folder=self.folder)

    def led(self, shade: str, *options: str) -> str:
        """Commission a shade from end to end; returns what the terminal has shown."""
        terminal, person = self.commission(shade, *options), self.person(shade)
        reloads = 0

        def meanwhile(_new: str) -> None:
            nonlocal reloads
            if terminal.shown.count("Let it read its settings again") > reloads:
                reloads += 1
                self.reload()

        try:
            while (key := terminal.question(within_s=60.0, meanwhile=meanwhile)) is not None:
                terminal.type(person.answer(key))
            assert terminal.process.returncode == 0, terminal.shown[-3000:]
            return terminal.shown
        finally:
            (self.folder / f"{shade}.transcript.txt").write_text(terminal.shown)
            terminal.close()


@contextmanager
def house_with(broker: Mosquitto, folder: Path, *shades: str) -> Iterator[tuple[House, Ear]]:
    house = House(broker, folder)
    with opened(broker.host, broker.port) as ear:
        try:
            house.bridge.start()
            for shade in shades:
                house.boards[shade].start()
            topic = "homie/5/hembar/$state"
            ear.wait(lambda: ear.latest(topic) == b"ready", "the bridge is ready")
            yield house, ear
        finally:
            house.bridge.stop()
            for board in house.boards.values():
                board.stop()


def value(ear: Ear, shade: str, levels: str) -> str:
    return (ear.latest(f"homie/5/hembar-{shade}/{levels}") or b"").decode()


def settled_mm(board: Board) -> float:
    """Where it hangs once it has hung there for a second: from its switch it comes back after a moment."""
    hung, since_s = board.truth.drop_mm, time.monotonic()
    while time.monotonic() < since_s + 1.0:
        time.sleep(0.05)
        if board.truth.drop_mm != hung:
            hung, since_s = board.truth.drop_mm, time.monotonic()
    return hung


def errors_mm(house: House, ear: Ear) -> dict[str, dict[int, float]]:
    """Let the bridge take every shade to several heights; how far off each really hangs there."""
    found: dict[str, dict[int, float]] = {shade: {} for shade in BOARDS}
    for height in HEIGHTS:
        for shade in BOARDS:
            ear.say(f"homie/5/hembar-{shade}/opening/position/set", str(height))
        for shade, board in house.boards.items():
            ear.wait(
                lambda shade=shade, board=board, height=height: (  # type: ignore[misc]  # bound early
                    value(ear, shade, "opening/motion") == "still"
                    and value(ear, shade, "opening/position") == str(height)
                    and not board.truth.moving
                ),
                f"{shade} stands at {height} %",
                within_s=40,
            )
            found[shade][height] = settled_mm(board) - BUILDS[shade].drop_mm * (1 - height / 100)
    return found


def test_three_shades_with_a_mistake_each_end_within_millimetres(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path, *BOARDS) as (house, ear):
        failed: dict[str, BaseException] = {}

        def lead(shade: str) -> None:
            try:
                house.led(shade)
            except BaseException as error:  # noqa: BLE001  a thread's failure is told below
                failed[shade] = error

        people = [threading.Thread(target=lead, args=(shade,)) for shade in BOARDS]
        for each in people:
            each.start()
        for each in people:
            each.join(A_SHADE_S)
        assert not failed, failed
        text = house.settings.read_text()
        assert "in_service" not in text
        for comment in (
            "These comments must survive.",
            "# calipers",
            "# a guess",
            "# counted",
            "# the label says 5:1",
            "# by eye",
        ):
            assert comment in text
        hall = next(each for each in load(house.settings).house.shades if each.id == "hall")
        assert hall.travel.drive.gear == Fraction(57, 11)
        assert hall.upper_switch is not None
        assert hall.upper_switch.at_mm == pytest.approx(BUILDS["hall"].upper_switch_mm, abs=1.0)
        for shade, off in errors_mm(house, ear).items():
            print(shade, {height: round(mm, 2) for height, mm in off.items()})
            assert max(map(abs, off.values())) <= WITHIN_MM[shade], (shade, off)
            assert value(ear, shade, "knowledge/grade") in ("referenced", "reckoned")
            assert (tmp_path / f"house.{shade}.html").exists()


class AtDen:
    """A person who commissions the den, run after run of the command."""

    def __init__(self, house: House) -> None:
        self.house, self.person = house, house.person("den")

    def begin(self) -> Terminal:
        return self.house.commission("den")

    def until(self, terminal: Terminal, wanted: str) -> None:
        """Answer until a question is asked."""
        reloads = 0

        def meanwhile(_new: str) -> None:
            nonlocal reloads
            if terminal.shown.count("Let it read its settings again") > reloads:
                reloads += 1
                self.house.reload()

        while (key := terminal.question(within_s=60.0, meanwhile=meanwhile)) != wanted:
            assert key is not None, terminal.shown[-2000:]
            terminal.type(self.person.answer(key))


def test_it_is_put_away_and_goes_on_and_the_bridge_keeps_its_hands_off(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path, "den") as (house, ear):
        at_den = AtDen(house)
        first = at_den.begin()
        at_den.until(first, "direction")
        first.type("quit")
        assert first.question(within_s=20.0) is None
        assert first.process.returncode == 1
        first.close()
        assert "in_service = false" in house.settings.read_text()
        ear.say("homie/5/hembar-den/opening/button/set", "up")
        refused = "homie/5/hembar-den/$log/warn"
        ear.wait(lambda: b"out of service" in (ear.latest(refused) or b""), "the bridge refuses")
        assert value(ear, "den", "service/active") == "false"
        assert ear.motion_orders("den-board", 0) == []
        second = at_den.begin()
        at_den.until(second, "direction")
        assert second.shown.count("(still-here)") == 1
        assert "(measures)" not in second.shown
        second.close()


def test_ctrl_c_halts_undo_goes_back_and_a_killed_run_is_taken_up_again(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path, "den") as (house, ear):
        board = house.boards["den"]
        board.mended(den_backwards=False)
        at_den = AtDen(house)
        first = at_den.begin()
        at_den.until(first, "upper")
        began_mm = board.truth.drop_mm
        first.type("up 200")
        ear.wait(lambda: board.truth.drop_mm < began_mm - 20, "it rises")
        first.press_ctrl_c()
        assert first.question(within_s=20.0) == "upper"
        assert "Halted." in first.shown
        assert not board.truth.moving
        assert board.truth.drop_mm > began_mm - 150
        at_den.until(first, "mark")
        first.type("undo")
        assert first.question(within_s=20.0) == "upper"
        first.process.kill()
        first.process.wait(5)
        first.close()
        second = at_den.begin()
        assert second.question(within_s=20.0) == "still-here"
        second.type("yes")
        assert second.question(within_s=20.0) == "upper"
        second.close()
        assert {each["term"] for each in ear.motion_orders("den-board", 0)} == {1}


def test_a_file_of_answers_commissions_without_anybody_at_a_terminal(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path, "porch") as (house, _):
        settings = load(house.settings)
        spec = next(each for each in settings.house.shades if each.id == "porch")
        rehearsal = Bench(build=BUILDS["porch"], facts=facts_of(settings, spec), count=0)
        said = rehearsal.rehearsed()
        answers = tmp_path / "porch.toml"
        lines = [f"{key} = {json.dumps(texts)}" for key, texts in {**said, "believes": ["yes"]}.items()]
        answers.write_text("\n".join([*lines, 'at-upper = "yes"', ""]))
        house.bridge.stop()
        command = [
            str(HEMBAR),
            "commission",
            "porch",
            "--settings",
            str(house.settings),
            "--answers",
            str(answers),
        ]
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=200, check=False
        )
        assert done.returncode == 0, done.stdout[-2000:] + done.stderr
        assert "No bridge is at work, so the shade stays out of service" in done.stdout
        assert "in_service = false" in house.settings.read_text()
        found = next(each for each in load(house.settings).house.shades if each.id == "porch").travel
        truth = house.boards["porch"].truth
        assert truth.drop_mm == pytest.approx(0.0, abs=2.0)
        for turns in (2.0, 4.0, 6.0):
            true = Tube(build=BUILDS["porch"], rng=Random(0))
            true.state.seat_turns = turns
            assert found.roll.drop_at_turns(turns) == pytest.approx(true.cloth_drop_mm, abs=3.0)


DEN = (
    ("cloth_mm = 0.5\ndrop_mm = 900\nwraps_left = 2.0", "cloth_mm = 0.52\ndrop_mm = 880\nwraps_left = 2.05"),
    ('gear = "57/11"\n', 'gear = "57/11"\nconfirmed = true\n'),
)
DEAD_BOARD = (*DEN, ('board = "den-board"', 'board = "dead-board"'))
# The same roll at a window where it went 100 mm further down: 0.93 turns.
TALLER_WINDOW = (*DEN, ("drop_mm = 880\nwraps_left = 2.05", "drop_mm = 980\nwraps_left = 1.12"))
# As it was measured with its old motor; the label of the new one says 5:1.
HALL = (
    (
        "tube_mm = 38.0        # calipers\ncloth_mm = 0.5 ",
        "tube_mm = 38.1        # calipers\ncloth_mm = 0.44 ",
    ),
    ("drop_mm = 1000 ", "drop_mm = 1015 "),
    ("wraps_left = 1.6 ", "wraps_left = 1.62 "),
    ("upper_switch_mm = -4 ", "upper_switch_mm = -6.2 "),
)


def described(house: House, *changes: tuple[str, str]) -> None:
    """Write other settings, and let the bridge read them."""
    text = house.settings.read_text()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    house.settings.write_text(text)
    house.reload()


def up(ear: Ear, house: House, shade: str) -> None:
    house.boards[shade].start()
    topic = f"shade-boards/{BOARDS[shade]}/link"
    ear.wait(lambda: b"up" in (ear.latest(topic) or b""), "its board is up")


def half_open_mm(ear: Ear, house: House, shade: str) -> float:
    """Let the bridge take a shade to 50 %; where it really hangs then."""
    ear.say(f"homie/5/hembar-{shade}/opening/position/set", "50")
    ear.wait(lambda: value(ear, shade, "opening/position") == "50", "it stands at 50 %", within_s=40)
    return settled_mm(house.boards[shade])


def asked_in(shown: str) -> set[str]:
    return {word.strip("()") for word in shown.split() if word.startswith("(") and word.endswith(")")}


def test_a_dead_board_is_replaced_without_measuring_anything_again(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path) as (house, ear):
        described(house, *DEAD_BOARD)
        house.boards["den"].plan = plan(den_backwards=False)
        up(ear, house, "den")
        shown = house.led("den", "--new-board", "--answer", "board=den-board/0")
        assert not {"drop", "part", "mark", "lower"} & asked_in(shown)
        assert 'board = "den-board"' in house.settings.read_text()
        assert "drop_mm = 880" in house.settings.read_text()
        assert "Den is in service, and referenced." in shown
        assert half_open_mm(ear, house, "den") == pytest.approx(440, abs=3)


def test_another_drive_is_found_out_and_the_window_keeps_its_drop(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path) as (house, ear):
        described(house, *HALL)
        up(ear, house, "hall")
        shown = house.led("hall", "--new-drive")
        assert "drop" not in asked_in(shown)
        assert {"mark", "made", "gear", "ratio", "lower", "creep-50"} <= asked_in(shown)
        hall = next(each for each in load(house.settings).house.shades if each.id == "hall").travel
        assert hall.drive.gear == GEAR
        assert hall.roll.drop_mm == 1015
        assert "Hall is in service, and referenced." in shown
        assert half_open_mm(ear, house, "hall") == pytest.approx(507.5, abs=3)


def test_at_another_window_the_drop_is_measured_and_the_drive_is_believed(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path) as (house, ear):
        described(house, *TALLER_WINDOW)
        house.boards["den"].plan = plan(den_backwards=False)
        up(ear, house, "den")
        shown = house.led("den", "--new-window")
        assert not {"mark", "made", "part", "speed"} & asked_in(shown)
        assert {"upper", "lower", "drop"} <= asked_in(shown)
        assert "Describe the new window in [shades.den.window]" in shown
        roll = next(each for each in load(house.settings).house.shades if each.id == "den").travel.roll
        assert roll.drop_mm == 880
        assert roll.wraps_left == pytest.approx(2.05, abs=0.1)
        assert "Den is in service, and referenced." in shown
        assert half_open_mm(ear, house, "den") == pytest.approx(440, abs=3)


def test_a_limit_is_trimmed_and_the_shade_comes_back_to_be_pinned(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    with house_with(mosquitto, tmp_path, "den") as (house, ear):
        terminal = house.commission("den", "--trim-lower", "-4", "--trim-upper", "2.5")
        at_den = AtDen(house)
        at_den.until(terminal, "at-upper")
        terminal.type("no")
        assert terminal.question(within_s=20.0) is None
        assert terminal.process.returncode == 0
        assert "hembar reference den" in terminal.shown
        terminal.close()
        text = house.settings.read_text()
        assert "drop_mm = 893.5" in text
        assert "in_service" not in text
        assert value(ear, "den", "service/active") == "true"
        assert value(ear, "den", "knowledge/grade") == "unknown"
