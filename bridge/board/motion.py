"""Steps and their timing: ramps of constant acceleration in whole numbers, ahead of time.

`StepPlan` says when the next step is due. `Track` keeps a ring of such steps filled up to 450 ms ahead and
hands it to a pulse output, which sends them by itself. `feed` may be called from a hardware interrupt: it
asks for no memory and uses small integers only. So steps stay on time while the program waits for Wi-Fi,
writes flash or collects garbage. A stop or a new target takes back the steps that have not left yet.
"""

from bridge.board.words import COUNT_MAX

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

# How far ahead steps are computed: longer than any erasing of flash, which stops interrupts (50 ms by common
# data sheets, 400 ms at worst).
HORIZON_MS = 450
# At most so many steps are computed in one go, so that an interrupt stays short: every 5 ms, 9600 a second.
AT_ONCE = 48
# A pulse output may hold so many steps that can't be taken back.
IN_FLIGHT = 10
# Planned steps that go out while those after them are planned anew.
REPLAN_MS = 8
# Above this the square of a speed gets no fraction bits any more: 2**21 * 2**8 is still a small integer.
FINE_BELOW = 0x200000
MICROSECONDS_32 = 32_000_000
PPS_MAX = 8000


def root16(square: int, guess: int) -> int:
    """Sixteen times the square root, rounded down; `guess` is any number near it.

    Newton's iteration. Above 2**21 the root is whole before it is multiplied: 1 in 1448 at most.
    """
    scale = 1
    if square < FINE_BELOW:
        square <<= 8
    else:
        scale = 16
        guess >>= 4
    if square < 1:
        return 0
    root = guess if guess > 0 else 1024
    while True:
        better = (root + square // root) >> 1
        change = better - root
        root = better
        if -2 < change < 2:
            break
    while root * root > square:
        root -= 1
    return root * scale


class StepPlan:
    """Decides each next step. Squares of speed grow by twice the acceleration with each step.

    Attributes:
        place: The count after the last step planned.
        target: Where it is to come to rest.
        sign: 1 lowers, -1 raises.
        square: Speed squared after that step, in (steps a second)**2.
    """

    def __init__(self, place: int) -> None:
        self.place = self.target = place
        self.sign = 1
        self.square = self.root = self.carry = 0
        self.gain, self.limit, self.brake_steps = 2, 1, 1

    def aim(self, target: int, pps: int, ramp: int) -> None:
        """Go to `target` from here on; a speed above `pps` is left on the ramp."""
        self.target = target
        self.gain, self.limit = 2 * ramp, pps * pps
        self.brake_steps = max(self.limit, self.square) // self.gain + 2

    def stand(self, place: int) -> None:
        """Be at rest at `place`."""
        self.place = self.target = place
        self.square = self.root = self.carry = 0

    def step(self) -> int:
        """Plan one step; return the microseconds before it, or 0 once at rest on the target."""
        square = self.square
        ahead = (self.target - self.place) * self.sign
        if square == 0:
            if ahead == 0:
                return 0
            if ahead < 0:
                self.sign = -self.sign
                ahead = -ahead
        after = square + self.gain
        if after > self.limit:
            after = max(self.limit, square - self.gain)
        if ahead <= self.brake_steps:
            after = min(after, max(0, self.gain * (ahead - 1), square - self.gain))
        return self._take(after)

    def _take(self, after: int) -> int:
        """Constant acceleration: a step takes one over the mean of the speeds before and after it."""
        before = self.root
        root = root16(after, before) if after != self.square else before
        twice_mean = before + root
        if twice_mean == 0:
            # A single step is sped up over its first half and slowed down over its second.
            twice_mean = root16(self.gain >> 1, 0)
        due = MICROSECONDS_32 + self.carry
        interval = due // twice_mean
        self.carry = due - interval * twice_mean
        self.square, self.root = after, root
        self.place += self.sign
        return interval


class Track:
    """One channel's steps between the plan and a pulse output.

    The output owns `words`, an array of at least `base + size` whole numbers, `size` a power of two: word n
    is at `base + n % size` and holds twice the microseconds before the pulse, less its `overhead_us`, plus
    the level of the direction line, which is `lower` when it lowers. Its methods: `restart()` numbers words
    from 0 again; `arm(upto)` lets it send the words below `upto`; `sent()` says how many pulses are out;
    `hold_back()` stops it from taking more and returns the first word that has not been taken; `halt()`
    sends nothing more and returns how many pulses are out.
    """

    def __init__(self, output: "Any", place: int, ints: "Any") -> None:
        self.output, self.size = output, output.size
        self.mask = output.size - 1
        self.places, self.squares = ints(output.size), ints(output.size)
        self.plan = StepPlan(place)
        self.origin = place
        self.ramp = 1
        self.written = 0
        self.live = self.busy = False
        # Whether each switch has been felt closing, and the count there.
        self.felt, self.edges = [False, False], [0, 0]

    # What may run in an interrupt.

    def feed(self) -> None:
        """Plan further ahead if there is room."""
        if self.live and not self.busy:
            self._fill()

    def edge(self, switch: int) -> None:
        """A switch (0 upper, 1 lower) has closed just now."""
        if not self.felt[switch]:
            self.edges[switch] = self._place_after(self.output.sent())
            self.felt[switch] = True

    def forget(self, switch: int) -> None:
        """The switch is open: its next closing counts."""
        self.felt[switch] = False

    def _fill(self) -> None:
        # Four at once would make a tuple, which asks for memory.
        plan, output, mask = self.plan, self.output, self.mask
        words, places, squares = output.words, self.places, self.squares
        base, overhead, lower = output.base, output.overhead_us, output.lower
        written = self.written
        room = min(self.size - 2 * IN_FLIGHT, plan.root * HORIZON_MS // 16000 + IN_FLIGHT)
        room = min(AT_ONCE, room - (written - output.sent()))
        while room > 0:
            interval = plan.step()
            if interval == 0:
                self.live = False
                break
            index = written & mask
            words[base + index] = 2 * (interval - overhead) + (lower if plan.sign > 0 else 1 - lower)
            places[index] = plan.place
            squares[index] = plan.square
            written += 1
            room -= 1
        if written != self.written:
            self.written = written
            output.arm(written)

    # What the program asks.

    @property
    def done(self) -> bool:
        """At rest on the target, all pulses out."""
        return not self.live and self.output.sent() == self.written

    @property
    def place(self) -> int:
        """The count of the pulses that are out."""
        return self._place_after(self.output.sent())

    @property
    def square(self) -> int:
        """Speed squared after the last pulse that is out."""
        sent = self.output.sent()
        value: int = self.squares[(sent - 1) & self.mask] if sent else 0
        return value

    @property
    def sign(self) -> int:
        """The direction of the next pulse."""
        sent = self.output.sent()
        if sent == self.written:
            return self.plan.sign
        return self._sign_of(sent)

    def edge_place(self, switch: int) -> int:
        """The count at which a switch was first felt closed; the present one when no edge was noticed."""
        return self.edges[switch] if self.felt[switch] else self.place

    def stand(self, place: int) -> None:
        """Call the place at which it rests `place`."""
        self.written = 0
        self.output.restart()
        self.origin = place
        self.felt[0] = self.felt[1] = False
        self.plan.stand(place)

    def go(self, target: int, pps: int, ramp: int) -> None:
        """Go to `target`: on ahead where it can stop in time, else brake, turn round and come back.

        It never brakes more gently than the motion that is replaced would have.
        """
        assert -COUNT_MAX <= target <= COUNT_MAX, target
        self.busy = True
        self._take_back()
        plan = self.plan
        if plan.square:
            ahead = (target - plan.place) * plan.sign
            if plan.square > 2 * ramp * ahead:
                ramp = max(ramp, self.ramp)
        self.ramp = ramp
        plan.aim(target, pps, ramp)
        self.live = True
        self._fill()
        self.busy = False

    def stop(self, ramp: int) -> int:
        """Come to rest on the ramp, the harder one of `ramp` and the present; return where."""
        self.busy = True
        self._take_back()
        plan = self.plan
        self.ramp = max(ramp, self.ramp)
        rest = plan.place + plan.sign * -(-plan.square // (2 * self.ramp))
        plan.aim(rest, PPS_MAX, self.ramp)
        self.live = True
        self._fill()
        self.busy = False
        return rest

    def halt(self) -> int:
        """Send nothing more; return where it stands."""
        self.busy, self.live = True, False
        sent = self.output.halt()
        place = self._place_after(sent)
        self.stand(place)
        self.busy = False
        return place

    def _place_after(self, sent: int) -> int:
        place: int = self.places[(sent - 1) & self.mask] if sent else self.origin
        return place

    def _sign_of(self, word: int) -> int:
        level = self.output.words[self.output.base + (word & self.mask)] & 1
        return 1 if level == self.output.lower else -1

    def _take_back(self) -> None:
        """Take back the steps that have not left, and plan from there."""
        if self.done:
            self.stand(self.place)
            return
        plan = self.plan
        kept = min(self.written, self.output.hold_back() + plan.root * REPLAN_MS // 16000)
        self.output.arm(kept)
        if kept == self.written:
            return
        self.written = kept
        plan.place = self._place_after(kept)
        plan.square = self.squares[(kept - 1) & self.mask] if kept else 0
        plan.root = root16(plan.square, plan.root)
        if kept:
            plan.sign = self._sign_of(kept - 1)
