"""The program's files under a real MicroPython, without a broker."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.board_contract import HEAP, ROOT, micropython_program

FEED = """
from array import array
import micropython
from bridge.board.motion import Track

class Output:
    size, base, overhead_us, lower = 1024, 0, 0, 1
    def __init__(self):
        self.words, self.upto = array("I", [0] * 1024), 0
    def restart(self): self.upto = 0
    def sent(self): return max(0, self.upto - 40)
    def arm(self, upto): self.upto = upto
    def hold_back(self): return self.upto

output = Output()
track = Track(output, 0, lambda count: array("i", [0] * count))
fed = 0
for target, pps, ramp in ((400000, 8000, 40000), (-900, 100, 1), (5, 3000, 4000)):
    track.go(target, pps, ramp)
    for _ in range(3000):
        written = track.written
        micropython.heap_lock()
        try:
            track.feed()
            track.edge(0)
        finally:
            micropython.heap_unlock()
        fed += track.written - written
print("fed", fed)
"""

ALL = """
import sys
sys.path.insert(0, ".")
from bridge.board import bench, board, channel, hardware, main, motion, mqtt, network
from bridge.board import orders, records, settings, words
from bridge.board.settings import SettingsError, read_settings
print(read_settings(sys.argv[1]).board)
for path in ("/nowhere.json", "broken.json"):
    try:
        read_settings(path)
    except SettingsError as error:
        print(error)
"""


# Stand-ins deep enough for the lines of the two files that only a chip can run; they show no chip.
ON_A_BOARD = """
import sys
sys.path.insert(0, ".")

class Thing:
    def __init__(self, *words, **said):
        self.level = said.get("value", 0)
    def value(self, *level):
        if not level:
            return self.level
        self.level = level[0]
    def __getattr__(self, name):
        return lambda *words, **said: 0

class Module:
    def __init__(self, **names):
        for name, value in names.items():
            setattr(self, name, value)

class Pin(Thing):
    IN, OUT, PULL_UP, PULL_DOWN, IRQ_RISING, IRQ_FALLING = range(6)

class Timer(Thing):
    PERIODIC = 1

class WLAN(Thing):
    PM_NONE = 0
    def isconnected(self):
        return True

class PIO:
    OUT_LOW = SHIFT_RIGHT = JOIN_TX = 0

class DMA(Thing):
    count = 0

def asm_pio(**said):
    return lambda words: words

class Memory:
    def __getitem__(self, address):
        return 0
    def __setitem__(self, address, value):
        pass

sys.modules["machine"] = Module(Pin=Pin, Timer=Timer, WDT=Thing, mem32=Memory(), reset=lambda: None)
sys.modules["network"] = Module(WLAN=WLAN, STA_IF=0)
sys.modules["rp2"] = Module(PIO=PIO, asm_pio=asm_pio, StateMachine=Thing, DMA=DMA)
from bridge.board import device
from bridge.board.settings import read_settings

device.start("/nowhere.json")
hardware = device.DeviceHardware(read_settings(sys.argv[1]))
hands = hardware.channels[0]
hands.energise(True)
hands.energise(False)
hardware.begin([])
hardware.wifi.join()
hardware.pat()
print(hardware.wifi.up(), hardware.wind(), hands.closed(0), hands.stalled(), hands.pressed("up"))
print(len(hardware.ints(3)), hardware.now_ms() >= 0, hands.output.size)
"""


@pytest.fixture
def board(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "bridge/board", tmp_path / "lib/bridge/board")
    return tmp_path


def run(board: Path, script: str, *words: str) -> str:
    (board / "script.py").write_text(script)
    command = [micropython_program(), "-X", f"heapsize={HEAP}", "script.py", *words]
    paths = {**os.environ, "MICROPYPATH": f"{board}/lib:.frozen"}
    done = subprocess.run(command, env=paths, cwd=board, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr + done.stdout
    return done.stdout


def test_feeding_the_output_asks_for_no_memory_as_a_hard_interrupt_must(board: Path) -> None:
    fed = int(run(board, FEED).split()[1])
    assert fed > 20000


def test_every_module_that_a_board_needs_loads_and_reads_the_example(board: Path) -> None:
    (board / "broken.json").write_text('{"board":"Den","channels":[{}]}')
    said = run(board, ALL, str(ROOT / "bridge/board/board.example.json")).splitlines()
    assert said[:2] == ["den-board", "/nowhere.json: it can't be read; copy your settings there"]
    assert "channels[0].step: it is missing; give its pin and active level" in said
    assert any(line.startswith("broker: it is missing") for line in said)


@pytest.mark.parametrize("path", sorted((ROOT / "bridge/board").glob("*.py")), ids=lambda path: path.name)
def test_each_file_is_one_that_micropython_can_compile(path: Path, board: Path) -> None:
    script = (
        "import sys\nwith open(sys.argv[1]) as file:\n    compile(file.read(), 'it', 'exec')\nprint('sound')"
    )
    assert run(board, script, str(path)) == "sound\n"


def test_what_only_a_board_can_run_at_least_runs_on_stand_ins(board: Path) -> None:
    said = run(board, ON_A_BOARD, str(ROOT / "bridge/board/board.example.json")).splitlines()
    assert said[0] == "/nowhere.json: it can't be read; copy your settings there"
    assert said[1].startswith("True ")
    assert said[2] == "3 True 1024"
