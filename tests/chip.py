"""Stand-ins for the modules of a real board, just deep enough to run the step output: a DMA channel that
fills a state machine's eight words, and the state machine itself, to the microsecond.

Written from the same reading of the data sheet as the program: it shows the arithmetic, not the
chip.
"""

from types import ModuleType, SimpleNamespace
from typing import Any

HOME, BUSY = 5, 8
RAM = 0x20001000
PULSE_US = 4


class Chip:
    def __init__(self) -> None:
        self.now_us = 0
        self.memory: Any = None
        self.fifo: list[int] = []
        self.running = True
        self.word: int | None = None
        self.due_us = 0
        self.read = self.count = 0
        self.flowing = False
        self.pulses: list[tuple[int, int]] = []
        self.ring_bits = 0

    def advance(self, us: int) -> None:
        for _ in range(us):
            self.move()
            self.now_us += 1
            if self.running and self.word is not None and self.now_us >= self.due_us:
                self.pulses.append((self.now_us, self.word & 1))
                self.word = None
        self.move()

    def move(self) -> None:
        while True:
            if self.running and self.word is None and self.fifo:
                self.word = self.fifo.pop(0)
                # pull, out, out, x + 1 turns of the loop, and the pulse.
                self.due_us = self.now_us + 3 + (self.word >> 1) + 1 + PULSE_US
            elif self.flowing and self.count and len(self.fifo) < 8:
                self.fifo.append(self.memory[(self.read - RAM) // 4])
                self.count -= 1
                size = 1 << self.ring_bits
                self.read = (self.read & ~(size - 1)) | ((self.read + 4) & (size - 1))
            else:
                self.flowing = self.flowing and self.count > 0
                return


class Dma:
    def __init__(self, chip: Chip) -> None:
        self.chip = chip

    def pack_ctrl(self, **said: Any) -> dict[str, Any]:
        return said

    def config(self, *, read: int, write: Any, count: int, ctrl: dict[str, Any], trigger: bool) -> None:
        assert (ctrl["size"], ctrl["inc_read"], ctrl["inc_write"], ctrl["ring_sel"]) == (
            2,
            True,
            False,
            False,
        )
        self.chip.ring_bits = ctrl["ring_size"]
        self.chip.read, self.chip.count, self.chip.flowing = read, count, trigger

    def active(self, on: int) -> None:
        self.chip.move()
        self.chip.flowing = bool(on)
        self.chip.move()

    @property
    def read(self) -> int:
        return self.chip.read

    @read.setter
    def read(self, value: int) -> None:
        self.chip.read = value

    @property
    def count(self) -> int:
        return self.chip.count

    @count.setter
    def count(self, value: int) -> None:
        self.chip.count = value


class StateMachine:
    def __init__(self, chip: Chip) -> None:
        self.chip = chip

    def active(self, on: int) -> None:
        self.chip.running = bool(on)

    def tx_fifo(self) -> int:
        return len(self.chip.fifo)

    def exec(self, word: str) -> None:
        assert word == "pull(noblock)"
        self.chip.fifo.pop(0)

    def restart(self) -> None:
        self.chip.word = None


def modules(chip: Chip) -> dict[str, ModuleType]:
    """The modules that `pulses.py` imports."""

    class Memory:
        def __getitem__(self, address: int) -> int:
            return HOME if chip.word is None else BUSY

    def address_of(array: Any) -> int:
        chip.memory = array
        return RAM

    class Pin:
        OUT = 1

        def __init__(self, *_: Any, **__: Any) -> None:
            pass

        def value(self) -> int:
            rising = chip.word is not None and chip.now_us >= chip.due_us - PULSE_US
            return int(rising)

    machine, rp2, uctypes = ModuleType("machine"), ModuleType("rp2"), ModuleType("uctypes")
    vars(machine).update(Pin=Pin, mem32=Memory())
    pio = SimpleNamespace(OUT_LOW=0, SHIFT_RIGHT=1, JOIN_TX=1)
    vars(rp2).update(
        asm_pio=lambda **_: lambda function: function,
        PIO=pio,
        DMA=lambda: Dma(chip),
        StateMachine=lambda *_, **__: StateMachine(chip),
    )
    vars(uctypes).update(addressof=address_of)
    return {"machine": machine, "rp2": rp2, "uctypes": uctypes}
