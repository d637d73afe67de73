"""What the program wants of the things around it: wires, clock, flash, network.

`device.py` is a real board, `bench.py` a computer that pretends to be one. Nothing else touches hardware.
"""

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass


class Hands:
    """The wires of one channel.

    Attributes:
        output: The step output, as `motion.Track` wants it.
    """

    output: "Any"

    def energise(self, on: bool) -> None:
        """Give the motor current or take it away (the driver's sleep line)."""
        raise NotImplementedError

    def closed(self, switch: int) -> bool:
        """Whether the upper (0) or lower (1) switch is closed now; one that is not there is open."""
        raise NotImplementedError

    def stalled(self) -> bool:
        """Whether the driver feels a stall now."""
        raise NotImplementedError

    def pressed(self, name: str) -> bool:
        """Whether a finger is on `up`, `stop` or `down` now."""
        raise NotImplementedError


class Hardware:
    """A whole board.

    Attributes:
        channels: One `Hands` for each channel of the settings.
        store: The flash: `read(slot)` gives bytes, empty for one never written; `write(slot, data)` raises
            OSError.
        wifi: As `network.Network` wants it; None where the network is simply there.
    """

    channels: "list[Any]"
    store: "Any"
    wifi: "Any"

    def ints(self, count: int) -> "Any":
        """An array of `count` whole numbers that an interrupt may write."""
        raise NotImplementedError

    def begin(self, tracks: "list[Any]") -> None:
        """From now on feed the tracks, tell them of switch edges, and guard the program with the watchdog."""
        raise NotImplementedError

    def now_ms(self) -> int:
        """Milliseconds that never run back."""
        raise NotImplementedError

    def wind(self) -> bool:
        """Whether the wired wind contact warns now."""
        raise NotImplementedError

    def pat(self) -> None:
        """Tell the watchdog that the program is alive."""
        raise NotImplementedError

    def leaving(self) -> bool:
        """Whether somebody asks the program to take leave."""
        raise NotImplementedError

    def idle(self, client: "Any") -> None:
        """Rest for a few milliseconds, less if the network speaks."""
        raise NotImplementedError


class FileStore:
    """The flash as a folder of small files, one a slot."""

    def __init__(self, folder: str) -> None:
        self.folder = folder

    def read(self, slot: int) -> bytes:
        """What is in the slot; nothing if it was never written."""
        try:
            with open(self._path(slot), "rb") as file:
                data: bytes = file.read()
        except OSError:
            return b""
        # A file that was made but never filled is a torn write, unlike one that is not there.
        return data or b"\x00"

    def write(self, slot: int, data: bytes) -> None:
        """Fill the slot; it is on the flash once this returns."""
        with open(self._path(slot), "wb") as file:
            file.write(data)
            file.flush()

    def _path(self, slot: int) -> str:
        return self.folder + "/record-" + str(slot)
