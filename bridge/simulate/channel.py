"""One channel of a simulated board: what it does with orders, buttons and the wind contact.

Checks come in the contract's sequence; a refused order changes nothing but the highest term seen.
"""

from __future__ import annotations

from bridge.core.contract import SEEN_LAG_MAX, Do, Sense, Then, Toward, Why
from bridge.simulate.motor import ENDLESS, Motor
from bridge.simulate.wire import Heard, Unreadable


class Channel(Motor):
    """A motor that listens."""

    # Orders.

    def obey(self, order: Heard | Unreadable, now_s: float) -> None:
        """Act on an order, or say why not."""
        self.advance(now_s)
        if isinstance(order, Unreadable):
            if order.stop:
                self.stop(now_s, why=Why.STOPPED)
            elif order.seq is not None:
                self.say(Why.REFUSED, because="unreadable")
        elif order.do is Do.STOP:
            self._obey_stop(order, now_s)
        elif (because := self._unfit(order)) is not None:
            self.say(Why.REFUSED, because=because)
        elif order.seq > self.seq:
            self._act(order, now_s)
        self.advance(now_s)

    def _obey_stop(self, order: Heard, now_s: float) -> None:
        known = order.boot == self.boot and order.seq == self.seq
        if order.boot == self.boot and order.term >= self.term:
            self._learn(order.term)
            self.seq = max(self.seq, order.seq)
        if not known or self.moving:
            self.stop(now_s, why=Why.STOPPED, ramp=order.ramp)

    def _unfit(self, order: Heard) -> str | None:
        """Why the board refuses an order; None also for one that it has acted on already."""
        if order.term < self.term:
            return "term"
        self._learn(order.term)
        if order.boot != self.boot:
            return "boot"
        if order.seq == self.seq:
            return None
        if order.seq < self.seq:
            return "seq"
        if self._stale(order):
            return "stale"
        if order.do is Do.GO:
            return self._unfit_go(order)
        return self._unfit_seek(order) if order.do is Do.SEEK else None

    def _stale(self, order: Heard) -> bool:
        if order.seen < self.n - SEEN_LAG_MAX:
            return True
        if order.do in (Do.GO, Do.SEEK):
            # It left before anybody knew of the hand, or the wind, that has taken over here.
            return order.seen < self.taken_n
        # It was meant for a place where the motor holds unpowered; this is another one.
        return order.do is Do.SLEEP and (self.moving or order.seen < self.moved_n)

    def _unfit_go(self, order: Heard) -> str | None:
        if self.count is None:
            return "no-count"
        if not order.low <= order.to <= order.high:
            return "bounds"
        return self._unfit_speed(order)

    def _unfit_seek(self, order: Heard) -> str | None:
        upper = order.toward is Toward.UPPER
        switch = Sense.UPPER_SWITCH if upper else Sense.LOWER_SWITCH
        senses = self.fitting.senses
        if switch not in senses and not (upper and Sense.STALL in senses):
            return "no-sense"
        if switch in senses and (self.tube.upper_closed if upper else self.tube.lower_closed):
            return "switch-closed"
        return self._unfit_speed(order)

    def _unfit_speed(self, order: Heard) -> str | None:
        ramp = self.fitting.own_ramp if order.ramp is None else order.ramp
        fits = 1 <= order.pps <= self.fitting.max_pps and 1 <= ramp <= self.fitting.max_ramp
        return None if fits else "speed"

    def _learn(self, term: int) -> None:
        if term > self.term:
            self.term = self.flash["term"] = term

    def _act(self, order: Heard, now_s: float) -> None:
        self.seq = order.seq
        if order.do is Do.TELL:
            self.say(Why.TOLD, answers=order.seq)
        elif order.do is Do.GO:
            self._go(order, now_s)
        elif order.do is Do.SEEK:
            # Steps may be lost against the stop: the old bounds would then lie elsewhere on the cloth.
            self.bounds = None
            self.energise()
            assert self.count is not None
            way = -order.at_most if order.toward is Toward.UPPER else order.at_most
            ramp = order.ramp or self.fitting.own_ramp
            self.set_off(self.count + way, now_s, top=order.pps, ramp=ramp, why=Why.NOT_FOUND)
            self.say(Why.STARTED)
        else:
            self.sleep() if order.do is Do.SLEEP else self.energise()
            self.say(Why.TOLD)

    def _go(self, order: Heard, now_s: float) -> None:
        assert order.ramp is not None
        self.bounds = (order.low, order.high)
        self.pps, self.ramp = order.pps, order.ramp
        if self.moving or order.to != self.count:
            self.set_off(order.to, now_s, top=order.pps, ramp=order.ramp, why=Why.ARRIVED, then=order.then)
            self.say(Why.STARTED)
            return
        self.to = order.to
        self.sleep() if order.then is Then.SLEEP else self.energise()
        self.say(Why.ARRIVED)

    # The world at the board.

    def press(self, button: str, now_s: float) -> None:
        """A finger on `up`, `stop` or `down` at the board itself."""
        self.advance(now_s)
        if button == "stop":
            if self.moving:
                self.taken_n = self.n + 1
                self.stop(now_s, why=Why.BUTTON)
                self.say(Why.BUTTON)
        else:
            self._raise_or_lower(-1 if button == "up" else 1, now_s)
        self.advance(now_s)

    def release(self, now_s: float) -> None:
        """The finger is gone."""
        self.advance(now_s)
        if self.motion is not None and self.motion.held:
            self.taken_n = self.n + 1
            self.stop(now_s, why=Why.BUTTON)
            self.say(Why.BUTTON)
            self.advance(now_s)

    def _raise_or_lower(self, sign: int, now_s: float) -> None:
        low, high = self.bounds or (-ENDLESS, ENDLESS)
        to, count = low if sign < 0 else high, self.count or 0
        if sign * (to - count) <= 0:
            return
        held = self.bounds is None or not self.kept
        # Where its motor holds unpowered the board does not know: it stays awake, the bridge lets it sleep.
        self.taken_n = self.n + 1
        self.set_off(to, now_s, top=self.pps, ramp=self.ramp, why=Why.BUTTON, held=held)
        self.say(Why.BUTTON)

    def wind(self, now_s: float) -> None:
        """The wired wind contact closes: up to the low bound, or to the upper switch where none is known."""
        self.advance(now_s)
        low = self.bounds[0] if self.bounds else -ENDLESS
        safe = self.bounds is not None or Sense.UPPER_SWITCH in self.fitting.senses
        if safe and (self.moving or low < (self.count or 0)) and not self.tube.upper_closed:
            self.set_off(low, now_s, top=self.pps, ramp=self.ramp, why=Why.WIND)
        self.taken_n = self.n + 1
        self.say(Why.WIND)
        self.advance(now_s)
