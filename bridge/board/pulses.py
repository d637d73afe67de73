"""The step output of a real board: a state machine that makes pulses, fed from memory by DMA.

Once armed, the words of `motion.Track` become pulses without the processor: while it erases flash with its
interrupts off, joins a Wi-Fi network or collects garbage, steps stay on time to a microsecond. The state
machine itself stores eight words, so there is time to arm the next ones. Needs MicroPython's `rp2` module.

Registers and the program's timing are from the chip's data sheet (chapters PIO and DMA), quoted from memory.
"""

# mypy: disable-error-code="name-defined"
# The words of the state machine's assembler come into being inside the decorator.

from array import array

import machine
import rp2
import uctypes

WORDS = 1024
RING_BITS = 12  # 1024 words of four bytes
CLOCK_HZ = 1_000_000
# pull, out, out, the last turn of the waiting loop and four of the pulse.
OVERHEAD_US = 8
FIRST_ADDR_REGISTER, REGISTERS_EACH = 0x502000D4, 0x18


@rp2.asm_pio(  # type: ignore[untyped-decorator]  # no stubs are installed
    out_init=rp2.PIO.OUT_LOW,
    sideset_init=rp2.PIO.OUT_LOW,
    out_shiftdir=rp2.PIO.SHIFT_RIGHT,
    fifo_join=rp2.PIO.JOIN_TX,
)
def pulse_words() -> None:
    """Direction, a wait, a pulse of four microseconds."""
    wrap_target()
    pull(block).side(0)
    out(pins, 1).side(0)
    out(x, 31).side(0)
    label("wait")
    jmp(x_dec, "wait").side(0)
    nop().side(1)[3]
    wrap()


class PulseOutput:
    """What `motion.Track` wants of an output; `number` is the channel's."""

    def __init__(self, number: int, step: int, direction: int, lower: int) -> None:
        self.size, self.overhead_us, self.lower = WORDS, OVERHEAD_US, lower
        # DMA goes round a ring only where its address is a multiple of its size.
        self.words = array("I", [0] * (2 * WORDS))
        address = uctypes.addressof(self.words)
        self.base = (-(address >> 2)) & (WORDS - 1)
        self._address = address + 4 * self.base
        self._step = machine.Pin(step, machine.Pin.OUT, value=0)
        self._machine = rp2.StateMachine(
            number,
            pulse_words,
            freq=CLOCK_HZ,
            out_base=machine.Pin(direction, machine.Pin.OUT),
            sideset_base=self._step,
        )
        self._dma = rp2.DMA()
        ctrl = self._dma.pack_ctrl(
            size=2, inc_read=True, inc_write=False, ring_size=RING_BITS, ring_sel=False, treq_sel=number
        )
        self._dma.config(read=self._address, write=self._machine, count=0, ctrl=ctrl, trigger=False)
        self._register = FIRST_ADDR_REGISTER + REGISTERS_EACH * number
        self._number = 0
        self._machine.active(1)
        # It has nothing to do yet and waits at its pull.
        self._home = machine.mem32[self._register] & 31

    # What may run in an interrupt: no memory is asked for.

    def sent(self) -> int:
        """How many pulses are out; while words move, it may be one behind."""
        while True:
            taken = self._taken()
            stored = self._machine.tx_fifo()
            if machine.mem32[self._register] & 31 != self._home:
                stored += 1
            if taken == self._taken():
                sent: int = taken - stored
                return sent

    def arm(self, upto: int) -> None:
        """Let it send the words below `upto`."""
        self._dma.active(0)
        taken = self._taken()
        if upto > taken:
            self._dma.read = self._address + 4 * (taken & (WORDS - 1))
            self._dma.count = upto - taken
            self._dma.active(1)

    def _taken(self) -> int:
        # An interrupt may come between reading and writing; either value is a true one.
        number: int = self._number
        number += (((self._dma.read - self._address) >> 2) - number) & (WORDS - 1)
        self._number = number
        return number

    # What the program asks for.

    def hold_back(self) -> int:
        """Take no more words; return how many have been taken."""
        self._dma.active(0)
        return self._taken()

    def restart(self) -> None:
        """Number words from 0 again; nothing is on its way."""
        self._dma.active(0)
        self._dma.read = self._address
        self._number = 0

    def halt(self) -> int:
        """Send nothing more: what is stored is thrown away."""
        self._dma.active(0)
        self._machine.active(0)
        stored: int = self._machine.tx_fifo()
        busy = machine.mem32[self._register] & 31 != self._home
        # A pulse that has risen is out.
        if busy and not self._step.value():
            stored += 1
        sent = self._taken() - stored
        while self._machine.tx_fifo():
            self._machine.exec("pull(noblock)")
        self._machine.restart()
        self._machine.active(1)
        return sent
