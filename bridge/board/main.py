"""The loop of a board: motions, fingers and wind first, the network after them, and never a wait.

A board whose flash can't be written does not start at all: it could claim a count that is no longer true.
"""

from bridge.board.board import Board
from bridge.board.network import Network
from bridge.board.records import Records

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

# A broker that acknowledges nothing for so long is left all the same.
FAREWELL_MS = 2000


class FlashError(Exception):
    """The flash can't be written, so nothing may move."""


class Program:
    """The program on its hardware; `turn` is one round of the loop.

    Raises:
        FlashError: the boot could not be counted.
    """

    def __init__(self, settings: "Any", hardware: "Any") -> None:
        self.hardware = hardware
        records = Records(hardware.store, len(settings.channels))
        if not records.begin_boot():
            raise FlashError("flash: this boot can't be recorded; free space on the board, or replace it")
        self.board = Board(settings, hardware, records)
        self.network = Network(settings, self.board, hardware.wifi, hardware.now_ms())
        hardware.begin([channel.track for channel in self.board.channels])

    def turn(self) -> None:
        """Do what is due."""
        self.hardware.pat()
        now_ms = self.hardware.now_ms()
        self.board.tick(now_ms)
        self.network.tick(now_ms)

    def run(self) -> None:
        """Until somebody asks to take leave; then everything brakes, and the board says `off`."""
        while not self.hardware.leaving():
            self.turn()
            self.hardware.idle(self.network.client)
        for channel in self.board.channels:
            if channel.moving:
                channel.stop("stopped")
        while self.board.moving:
            self.turn()
            self.hardware.idle(self.network.client)
        self.turn()
        self.network.say_off()
        began_ms = self.hardware.now_ms()
        while not self.network.told(self.hardware.now_ms()):
            if self.hardware.now_ms() - began_ms > FAREWELL_MS:
                break
            self.hardware.pat()
            self.hardware.idle(self.network.client)
        self.network.farewell()
