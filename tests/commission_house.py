"""Three invented shades as a builder leaves them, the settings that he wrote, and boards as processes."""

from __future__ import annotations

import signal
import subprocess
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from bridge.core.spec import PowerUp, Unit
from bridge.simulate.build import Build
from bridge.simulate.fitting import BoardPlan, Fitting, HousePlan, OneWayPlan
from bridge.simulate.house_file import write_house
from bridge.simulate.state_file import HemBar, read_truth
from tests.running import begun

GEAR = Fraction(57, 11)
PULSES = 400
TOP_PPS, RAMP = 3800, 6000


def _build(**told: object) -> Build:
    common = {
        "pulses_per_rev": PULSES,
        "gear": GEAR,
        "detent_nm": 0.04,
        "stop_mm": -24.0,
        "slip_move_mm": 0.05,
        "slip_turn_mm": 0.02,
    }
    return Build(**{**common, **told})  # type: ignore[arg-type]  # fields by name


BUILDS = {
    # Its gear was sold as 5:1, and settings and board both say 5.
    "hall": _build(
        tube_mm=38.1, cloth_mm=0.44, drop_mm=1015.0, wraps_left=1.62, start_mm=420.0, upper_switch_mm=-6.2
    ),
    # Its motor raises where the board means to lower; it holds its cloth only near the top.
    "den": _build(
        tube_mm=32.0,
        cloth_mm=0.52,
        drop_mm=880.0,
        wraps_left=2.05,
        start_mm=260.0,
        detent_nm=0.022,
        hem_bar_kg=0.25,
        cloth_kgpm2=0.5,
        upper_switch_mm=None,
    ),
    # A board that was flashed years ago: it takes turns on a topic and never reports.
    "porch": _build(tube_mm=40.3, cloth_mm=0.61, drop_mm=960.0, wraps_left=1.8, start_mm=310.0),
}
BOARDS = {"hall": "hall-board", "den": "den-board", "porch": "porch-board"}
PORCH_TOPIC = "porch/turns"

SETTINGS = """\
# Heron Cottage: three shades as measured at the bench. These comments must survive.
[site]
name = "Heron Cottage"
latitude_deg = 47.2
longitude_deg = -8.5
timezone = "Atlantic/Azores"

[broker]
host = "127.0.0.1"
port = {port}

[shades.hall]
name = "Hall"
mounting = "interior"
tube_mm = 38.0        # calipers
cloth_mm = 0.5        # a guess
drop_mm = 1000        # from the drawing
wraps_left = 1.6      # counted

[shades.hall.drive]
pulses_per_rev = 400
gear = "5"            # the label says 5:1
top_pps = 3800
ramp_pps2 = 6000

[shades.hall.link]
kind = "contract"
board = "hall-board"

[shades.hall.unpowered]
holds = "everywhere"

[shades.hall.trust]
overrun_mm = 20
local_button = false

[shades.hall.references]
upper_switch_mm = -4  # by eye

[shades.den]
name = "Den"
mounting = "interior"
tube_mm = 32.0
cloth_mm = 0.5
drop_mm = 900
wraps_left = 2.0

[shades.den.drive]
pulses_per_rev = 400
gear = "57/11"
top_pps = 3800
ramp_pps2 = 6000

[shades.den.link]
kind = "contract"
board = "den-board"

[shades.den.unpowered]
holds = [[85, 100]]

[shades.den.trust]
overrun_mm = 20
local_button = false

[shades.porch]
name = "Porch"
mounting = "interior"
tube_mm = 40.0
cloth_mm = 0.55
drop_mm = 950
wraps_left = 1.8

[shades.porch.drive]
pulses_per_rev = 400
gear = "57/11"
top_pps = 3800
ramp_pps2 = 6000

[shades.porch.link]
kind = "one-way"
topic = "porch/turns"
unit = "turns"
retained = true
after_power_up = "retained-target"
latency_s = 0.3
rest_current = true

[shades.porch.unpowered]
holds = "everywhere"

[shades.porch.trust]
overrun_mm = 20
local_button = false
tolerance_mm = 8
"""


def plan(*, hall_ratio: Fraction = Fraction(PULSES * 5), den_backwards: bool = True) -> HousePlan:
    """Return the house as built; the two mistakes can be mended."""
    hall = Fitting(shade="hall", build=BUILDS["hall"], pulses_per_turn=hall_ratio)
    den = Fitting(
        shade="den", build=BUILDS["den"], pulses_per_turn=PULSES * GEAR, wired_backwards=den_backwards
    )
    porch = OneWayPlan(
        id="porch-board",
        channels=(Fitting(shade="porch", build=BUILDS["porch"]),),
        topic=PORCH_TOPIC,
        unit=Unit.TURNS,
        full_steps=1,
        power_up=PowerUp.RETAINED_TARGET,
        pps=TOP_PPS,
        ramp=RAMP,
        delay_s=0.1,
        rest_current=True,
    )
    return HousePlan(
        seed=11,
        boards=(BoardPlan(id="hall-board", channels=(hall,)), BoardPlan(id="den-board", channels=(den,))),
        one_way=(porch,),
    )


@dataclass
class Board:
    """One simulated board as a process; killing it is a power cut."""

    shade: str
    port: int
    folder: Path
    plan: HousePlan = field(default_factory=plan)
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        house = self.folder / f"{self.shade}.house.json"
        write_house(house, self.plan)
        where = ("--broker", f"127.0.0.1:{self.port}", "--house", str(house))
        state = ("--state", str(self.folder / "truth"), "--board", BOARDS[self.shade])
        log = self.folder / f"{self.shade}.board.log"
        self.process = begun("simulate-boards", *where, *state, log=log)

    def stop(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            self.process.wait(10)

    def mended(self, **told: object) -> None:
        """Switch it off, change what was told to `plan`, switch it on."""
        self.stop()
        self.plan = plan(**told)  # type: ignore[arg-type]  # arguments by name
        self.start()

    @property
    def truth(self) -> HemBar:
        return read_truth(self.folder / "truth")[BOARDS[self.shade], 0]
