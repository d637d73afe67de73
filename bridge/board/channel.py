"""One channel: what it does with orders, buttons, switches and wind, and what it says of it.

Checks come in the contract's sequence; a refused order changes nothing but the highest term seen. A mark is
in flash before the first step of a motion, a record after the last, and only then the report.
"""

from bridge.board import words
from bridge.board.motion import PPS_MAX, Track
from bridge.board.orders import Order, Unreadable

try:
    from typing import Any
except ImportError:  # MicroPython has no typing, and looks at no annotation
    pass

PROGRESS_MS = 300
# A switch counts as closed when it was so in two looks on end: contacts bounce, and long wires catch sparks.
LOOKS = 2


class Motion:
    """A motion under way: what to say and do at its end, and what it has felt."""

    def __init__(self, why: str, then: str, held: bool, report_ms: int) -> None:
        self.why, self.then, self.held, self.report_ms = why, then, held, report_ms
        self.tripped = False
        self.seen_open = [False, False]
        self.looks = [0, 0, 0]


class Channel:
    """One motor that listens.

    Args:
        fit: Its settings, a `settings.Fitting`.
        hands: Its wires: `energise(on)`, `closed(switch)` (0 upper, 1 lower), `stalled()`, and `output`.
        records: What is in flash.
        number: Its number on the board.
        ints: Makes an array of that many whole numbers.
    """

    def __init__(self, fit: "Any", hands: "Any", records: "Any", number: int, ints: "Any") -> None:
        self.fit, self.hands, self.records = fit, hands, records
        self.line = records.lines[number]
        self.boot, self.n, self.seq, self.stalls = records.boot, 0, 0, 0
        # The first report that can have told of a hand or the wind here.
        self.taken_n = 0
        self.count: int | None = self.line.count
        self.kept = self.line.clean
        self.kept_since = self.line.kept_since
        self.to: int | None = None
        self.low, self.high, self.bounded = -words.ENDLESS, words.ENDLESS, False
        self.pps, self.ramp = fit.own_pps, fit.own_ramp
        self.awake = False
        self.alarm = False
        self.motion: Motion | None = None
        self.track = Track(hands.output, self.count or 0, ints)
        self.said: list[dict[str, Any]] = []

    @property
    def moving(self) -> bool:
        return self.motion is not None

    @property
    def raisable(self) -> bool:
        """Whether the wind has somewhere up to send it: a bound, or an upper switch that is open."""
        switched = words.UPPER_SWITCH in self.fit.senses
        above = self.low < (self.count or 0) or self.moving
        return (self.bounded or switched) and above and not (switched and self.hands.closed(0))

    # Orders.

    def obey(self, order: "Order | Unreadable", now_ms: int) -> None:
        """Act on an order, or say why not."""
        self._look()
        if isinstance(order, Unreadable):
            if order.stop:
                self.stop(words.STOPPED)
            elif order.seq is not None:
                self.say(words.REFUSED, because="unreadable")
        elif order.do == words.STOP:
            self._obey_stop(order)
        else:
            because = self._unfit(order)
            if because is None and order.seq > self.seq:
                because = self._act(order, now_ms)
            if because is not None:
                self.say(words.REFUSED, because=because)

    def _obey_stop(self, order: Order) -> None:
        known = order.boot == self.boot and order.seq == self.seq
        if not known or self.moving:
            self.stop(words.STOPPED, order.ramp, first=lambda: self._note_stop(order))
        else:
            self._note_stop(order)

    def _note_stop(self, order: Order) -> None:
        if order.boot == self.boot and order.term >= self.line.term:
            self._learn(order.term)
            self.seq = max(self.seq, order.seq)

    def _unfit(self, order: Order) -> "str | None":
        """Why the order is refused; None also for one that has been acted on already."""
        if order.term < self.line.term:
            return "term"
        self._learn(order.term)
        if order.boot != self.boot:
            return "boot"
        if order.seq == self.seq:
            return None
        if order.seq < self.seq:
            return "seq"
        if order.seen < self.n - words.SEEN_LAG_MAX:
            return "stale"
        if order.do in (words.GO, words.SEEK) and order.seen < self.taken_n:
            # It left before anybody knew of the hand, or the wind, that has taken over here.
            return "stale"
        if order.do == words.GO:
            return self._unfit_go(order)
        return self._unfit_seek(order) if order.do == words.SEEK else None

    def _unfit_go(self, order: Order) -> "str | None":
        if self.count is None:
            return "no-count"
        if not (order.low <= order.to <= order.high and abs(order.to) <= words.COUNT_MAX):
            return "bounds"
        if self.alarm and order.to > self.count:
            return "wind"
        return self._unfit_speed(order)

    def _unfit_seek(self, order: Order) -> "str | None":
        upper = order.toward == words.UPPER
        switch = words.UPPER_SWITCH if upper else words.LOWER_SWITCH
        senses = self.fit.senses
        if switch not in senses and not (upper and words.STALL in senses):
            return "no-sense"
        if switch in senses and self.hands.closed(0 if upper else 1):
            return "switch-closed"
        if abs(self.count or 0) + order.at_most > words.COUNT_MAX:
            return "bounds"
        if self.alarm and not upper:
            return "wind"
        return self._unfit_speed(order)

    def _unfit_speed(self, order: Order) -> "str | None":
        ramp = self.fit.own_ramp if order.ramp is None else order.ramp
        fits = 1 <= order.pps <= min(self.fit.max_pps, PPS_MAX) and 1 <= ramp <= self.fit.max_ramp
        return None if fits else "speed"

    def _learn(self, term: int) -> None:
        if term > self.line.term:
            self.line.term = term
            self.records.save()

    def _act(self, order: Order, now_ms: int) -> "str | None":
        """Do it; say why not when the flash can't be written, for then nothing may move."""
        if order.do == words.GO:
            return self._go(order, now_ms)
        if order.do == words.SEEK:
            if not self.wake():
                return "flash"
            way = -order.at_most if order.toward == words.UPPER else order.at_most
            ramp = order.ramp or self.fit.own_ramp
            if not self.set_off((self.count or 0) + way, now_ms, order.pps, ramp, words.NOT_FOUND):
                return "flash"
            self.seq = order.seq
            self.say(words.STARTED)
            return None
        if order.do == words.WAKE and not self.wake():
            return "flash"
        self.seq = order.seq
        if order.do == words.TELL:
            self.say(words.TOLD, answers=order.seq)
        elif order.do == words.SLEEP and self.moving:
            self.stop(words.STOPPED, then=words.SLEEP)
        else:
            if order.do == words.SLEEP:
                self.sleep()
            self.say(words.TOLD)
        return None

    def _go(self, order: Order, now_ms: int) -> "str | None":
        ramp = order.ramp or self.fit.own_ramp
        if self.moving or order.to != self.count:
            if not self.set_off(order.to, now_ms, order.pps, ramp, words.ARRIVED, order.then):
                return "flash"
            why = words.STARTED
        else:
            self.to = order.to
            if order.then == words.SLEEP:
                self.sleep()
            else:
                self.wake()
            why = words.ARRIVED
        self.low, self.high = max(order.low, -words.ENDLESS), min(order.high, words.ENDLESS)
        self.bounded = True
        self.pps, self.ramp = order.pps, ramp
        self.seq = order.seq
        self.say(why)
        return None

    # A finger, the wind.

    def press(self, button: str, now_ms: int) -> None:
        """A finger on `up`, `stop` or `down` at the board itself."""
        self._look()
        if button == "stop":
            if self.moving:
                self._let_go()
        elif not (self.alarm and button == "down"):
            self._raise_or_lower(-1 if button == "up" else 1, now_ms)

    def release(self) -> None:
        """The finger is gone."""
        self._look()
        if self.motion is not None and self.motion.held:
            self._let_go()

    def _let_go(self) -> None:
        self.taken_n = self.n + 1
        self.stop(words.BUTTON)
        self.say(words.BUTTON)

    def _raise_or_lower(self, sign: int, now_ms: int) -> None:
        to, count = self.low if sign < 0 else self.high, self.count or 0
        if sign * (to - count) <= 0:
            return
        self.taken_n = self.n + 1
        held = not (self.bounded and self.kept)
        # The board does not know where its motor holds unpowered, so it stays awake.
        if self.set_off(to, now_ms, self.pps, self.ramp, words.BUTTON, held=held):
            self.say(words.BUTTON)

    def wind(self, now_ms: int) -> None:
        """The wired wind contact: up to the low bound, or to the upper switch where no bound is known."""
        self._look()
        self.taken_n = self.n + 1
        if self.raisable:
            self.set_off(self.low, now_ms, self.pps, self.ramp, words.WIND)
            self.say(words.WIND)
        else:
            self.stop(words.WIND)

    # Current.

    def wake(self) -> bool:
        """Give the motor current; a lost count begins at 0. False when the flash can't be written."""
        if self.count is None:
            self.line.count, self.line.clean = 0, True
            if not self.records.save():
                self.line.count, self.line.clean = None, False
                return False
            self.count = 0
            self.track.stand(0)
        self.awake = True
        self.hands.energise(True)
        return True

    def sleep(self) -> None:
        self.awake = False
        self.hands.energise(False)

    # Motions.

    def set_off(
        self, to: int, now_ms: int, pps: int, ramp: int, why: str, then: str = words.STAY, held: bool = False
    ) -> bool:
        """Begin a motion to `to`, or turn the one under way there; False when it can't be marked in flash."""
        old = self.motion
        motion = Motion(why, then, held, now_ms + PROGRESS_MS if old is None else old.report_ms)
        if old is None:
            # Before current makes the rotor move.
            self._see_open(motion)
            if not (self.wake() and self._mark()):
                return False
        else:
            motion.seen_open = old.seen_open
        self.to = None if abs(to) >= words.ENDLESS else to
        self.track.go(to, pps, ramp)
        self.motion = motion
        return True

    def _mark(self) -> bool:
        self.line.clean = False
        if self.records.save():
            return True
        self.line.clean = True
        return False

    def stop(
        self, why: str, ramp: "int | None" = None, then: str = words.STAY, first: "Any | None" = None
    ) -> None:
        """Brake to rest; at rest already, say so. `first` is done once the brake is on."""
        motion = self.motion
        if motion is not None:
            self.to = self.track.stop(min(ramp or 1, self.fit.max_ramp))
            motion.why, motion.then, motion.held = why, then, False
        if first is not None:
            first()
        if motion is None:
            self.say(why)

    def tick(self, now_ms: int) -> None:
        """Look after the motion under way."""
        self._look()
        motion = self.motion
        if motion is not None and now_ms - motion.report_ms >= 0:
            motion.report_ms = max(motion.report_ms + PROGRESS_MS, now_ms + PROGRESS_MS // 2)
            self.say(words.PROGRESS)

    def _look(self) -> None:
        motion = self.motion
        if motion is None:
            return
        self.count = self.track.place
        if not motion.tripped:
            self._watch(motion)
        if self.track.done and self.motion is not None:
            self.count = self.track.place
            self._end(motion)

    def _see_open(self, motion: Motion) -> None:
        for switch, sense in ((0, words.UPPER_SWITCH), (1, words.LOWER_SWITCH)):
            if sense in self.fit.senses and not self.hands.closed(switch):
                motion.seen_open[switch] = True
                motion.looks[switch] = 0
                self.track.forget(switch)

    def _watch(self, motion: Motion) -> None:
        """Feel for the senses: a switch counts only when seen open since the motor last turned toward it."""
        upward = self.track.sign < 0
        switch, sense = (0, words.UPPER_SWITCH) if upward else (1, words.LOWER_SWITCH)
        self._see_open(motion)
        if self.hands.closed(1 - switch):  # pulled past it
            motion.seen_open[1 - switch] = False
        if sense in self.fit.senses and motion.seen_open[switch] and self.hands.closed(switch):
            motion.looks[switch] += 1
            if motion.looks[switch] >= LOOKS:
                self._trip(motion, sense, self.track.edge_place(switch))
                return
        felt = words.STALL in self.fit.senses and self.hands.stalled()
        motion.looks[2] = motion.looks[2] + 1 if felt else 0
        if motion.looks[2] >= LOOKS:
            self._stall(motion)

    def _stall(self, motion: Motion) -> None:
        if motion.why != words.NOT_FOUND:
            self.stalls += 1
        self._note_trip(motion, words.STALLED)
        self.to = self.count = self.track.halt()
        self._end(motion)

    def _trip(self, motion: Motion, why: str, where: int) -> None:
        """Stop for a switch: at once where the motor can, else brake; and come back to where it closed."""
        self._note_trip(motion, why)
        self.to = where
        slow = self.track.square <= self.fit.dead_pps * self.fit.dead_pps
        if slow:
            self.count = self.track.halt()
        if self.track.place != where or not slow:
            self.track.go(where, self.pps if slow else self.fit.dead_pps, self.track.ramp)
        if not slow:
            self.say(why)

    def _note_trip(self, motion: Motion, why: str) -> None:
        motion.why, motion.then, motion.held, motion.tripped = why, words.STAY, False, True

    def _end(self, motion: Motion) -> None:
        self.motion = None
        if motion.then == words.SLEEP:
            self.sleep()
        self.line.count, self.line.clean = self.count, True
        self.records.save()
        self.say(motion.why)

    # What it says.

    def say(self, why: str, answers: "int | None" = None, because: "str | None" = None) -> None:
        self.n += 1
        report: dict[str, Any] = {
            "v": words.VERSION,
            "boot": self.boot,
            "n": self.n,
            "count": self.count,
            "kept": self.kept,
            "moving": self.moving,
            "awake": self.awake,
            "why": why,
            "seq": self.seq,
            "to": self.to,
            "answers": answers,
            "senses": list(self.fit.senses),
            "pulses_per_turn": self.fit.pulses_per_turn,
            "term": self.line.term,
            "kept_since": self.kept_since,
            "stalls": self.stalls,
        }
        if because is not None:
            report["because"] = because
        self.said.append(report)
