"""How a person at the shade moves it: straight to its board, by the link's own codec.

A two-way board is given the term of the bridge in charge, never a higher one, and numbers above its last. A
one-way board is sent targets and given the time that they take. Decides nothing about the shade.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Protocol

from bridge.adapters.broker import claim
from bridge.adapters.broker.messages import Incoming
from bridge.adapters.broker.workbench import Workbench
from bridge.adapters.links import contract, one_way
from bridge.core.commissioning.state import Facts, Motion, Stand
from bridge.core.contract import Do, Link, Order, Report, Then, Toward, Why
from bridge.core.errors import LinkError, RequestError
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.position.one_way import PACE
from bridge.core.shade.profile import move_profile
from bridge.core.shade.units import count_of, value_for
from bridge.core.spec import ContractLink, ShadeSpec
from bridge.shell.clock import now

ANSWER_S = 3.0
TRIES = 4
GRACE_S = 10.0
LOOK_S = 0.3


class Hands(Protocol):
    """What the command needs of a link."""

    def stand(self) -> Stand: ...

    def move(self, motion: Motion) -> Stand: ...

    def halt(self) -> None: ...


def _seconds(steps: int, pps: int, ramp: int) -> float:
    return move_profile(steps=abs(steps), top_pps=pps, ramp_pps2=ramp).duration_s


@dataclass
class TwoWay:
    """A channel that speaks the contract."""

    bench: Workbench
    root: str
    link: ContractLink
    on_progress: Callable[[int], None] = lambda _count: None
    boot: int | None = None
    n: int = 0
    seq: int = 0
    term: int = 0
    report: Report | None = None

    def __post_init__(self) -> None:
        board = f"{self.root}/{self.link.board}"
        topics = (f"{board}/link", f"{board}/{self.link.channel}/report", claim.topic_of(self.root))
        for message in self.bench.listen(topics):
            self._hear(message)

    def stand(self) -> Stand:
        """Ask the board; raises LinkError when it does not answer."""
        for _ in range(TRIES):
            if self.boot is None:
                self.bench.wait(self._heard_boot, within_s=ANSWER_S)
                continue
            seq = self._send(Motion(do=Do.TELL))
            if self._wait(lambda report, seq=seq: report.answers == seq, ANSWER_S):  # type: ignore[misc]  # bound early
                return self._stood()
        raise LinkError(
            where=f"board {self.link.board}, channel {self.link.channel}",
            problem="it does not answer"
            if self.boot is not None
            else "it has never been heard on this broker",
            remedy="check its power, its network, and the ids in its settings",
        )

    def move(self, motion: Motion) -> Stand:
        """Tell the board, and wait until it is at rest."""
        for _ in range(TRIES):
            seq = self._send(motion)
            allowed_s = GRACE_S + self._longest_s(motion)
            if not self._wait(lambda report, seq=seq: self._ended(report, seq), allowed_s):  # type: ignore[misc]
                self.halt()
                raise LinkError(
                    where=f"board {self.link.board}",
                    problem="it did not say that it had ended its move, and was told to stop",
                    remedy="look at the shade, then check its power and network",
                )
            assert self.report is not None
            if self.report.why is not Why.REFUSED:
                return self._stood()
            if self.report.because not in ("boot", "seq", "stale", "term"):
                raise _refused(self.report.because)
            self.stand()
        raise LinkError(
            where=f"board {self.link.board}",
            problem=f"it refuses every order: {self.report.because if self.report else ''}",
            remedy="end whatever else gives it orders",
        )

    def halt(self) -> None:
        """Stop it, whatever it does."""
        self._send(Motion(do=Do.STOP, ramp=1))
        self._wait(lambda report: not report.moving, ANSWER_S)

    def _send(self, motion: Motion) -> int:
        self.seq += 1
        order = Order(
            term=self.term,
            boot=self.boot or 0,
            seq=self.seq,
            seen=self.n,
            do=motion.do,
            to=motion.to,
            low=motion.low,
            high=motion.high,
            pps=motion.pps,
            ramp=motion.ramp,
            then=Then.STAY,
            toward=Toward.UPPER,
            at_most=motion.at_most,
        )
        topic, payload = contract.encode(
            order, root=self.root, board=self.link.board, channel=self.link.channel
        )
        self.bench.say(topic, payload, retain=False)
        return self.seq

    def _longest_s(self, motion: Motion) -> float:
        if motion.do is Do.SEEK:
            return _seconds(motion.at_most, motion.pps, motion.ramp)
        count = self.report.count if self.report else None
        if motion.do is not Do.GO or count is None:
            return 0.0
        return _seconds(motion.to - count, motion.pps, motion.ramp)

    def _ended(self, report: Report, seq: int) -> bool:
        if report.moving:
            if report.count is not None:
                self.on_progress(report.count)
            return False
        return report.why is Why.REFUSED or report.seq >= seq

    def _wait(self, done: Callable[[Report], bool], within_s: float) -> bool:
        def heard(message: Incoming) -> bool:
            report = self._hear(message)
            return report is not None and not message.retained and done(report)

        return self.bench.wait(heard, within_s=within_s)

    def _heard_boot(self, message: Incoming) -> bool:
        self._hear(message)
        return self.boot is not None

    def _hear(self, message: Incoming) -> Report | None:
        said = claim.read(message) if message.topic == claim.topic_of(self.root) else None
        if said is not None:
            self.term = max(self.term, said.term)
            return None
        try:
            heard = contract.decode(
                self.root, message.topic, message.payload, retained=message.retained, at=now()
            )
        except LinkError:
            return None
        if heard is None or heard.board != self.link.board:
            return None
        if isinstance(heard, LinkHeard):
            if heard.boot is not None and (self.boot is None or heard.boot > self.boot):
                self.boot, self.n = heard.boot, 0
            return None
        if heard.channel != self.link.channel:
            return None
        return self._take(heard.report, retained=message.retained)

    def _take(self, report: Report, *, retained: bool) -> Report | None:
        if self.boot is None or report.boot > self.boot or not retained:
            self.boot, self.n = report.boot, max(report.n, self.n if report.boot == self.boot else 0)
        self.seq, self.term = max(self.seq, report.seq), max(self.term, report.term or 0)
        self.report = report
        return report

    def _stood(self) -> Stand:
        report = self.report
        assert report is not None
        return Stand(
            count=report.count,
            boot=report.boot,
            awake=report.awake,
            why=report.why,
            senses=report.senses,
            pulses_per_turn=report.pulses_per_turn,
        )


def _refused(because: str | None) -> RequestError:
    why = {
        "speed": (
            "it accepts no such speed or ramp",
            "answer a slower one, or raise max_pps in its board.json",
        ),
        "no-sense": ("it has no such switch", "answer skip"),
        "switch-closed": ("its switch is closed already", "bring the hem bar down, or look at the switch"),
        "wind": ("its wind contact warns", "wait for the wind, or look at the contact"),
        "flash": ("its flash can't be written", "replace the board"),
    }
    problem, remedy = why.get(str(because), (f"it refuses that: {because}", "answer something else"))
    return RequestError(where="the board", problem=problem, remedy=remedy)


@dataclass
class OneWay:
    """A channel that only obeys: it is where it was sent, once the time for that is over."""

    bench: Workbench
    spec: ShadeSpec
    facts: Callable[[], Facts]
    count: int | None

    def stand(self) -> Stand:
        """Say where it must be."""
        return Stand(count=self.count)

    def move(self, motion: Motion) -> Stand:
        """Send the target, and give it its time."""
        assert motion.do is Do.GO, motion.do
        assert self.count is not None
        spec, facts = self._now(), self.facts()
        value = value_for(spec, motion.to)
        topic, payload, retain = one_way.encode(spec.one_way, value)
        way = count_of(spec, value) - self.count
        self.bench.say(topic, payload, retain=retain)
        self.count += way
        longest_s = _seconds(way, facts.top_pps, facts.ramp_pps2) * (1 + PACE)
        self.bench.idle(spec.one_way.latency_s + longest_s + LOOK_S)
        return self.stand()

    def halt(self) -> None:
        """Stop it where it can be stopped; where it then is nobody knows, so its power has to be cut."""
        if self.spec.one_way.stop is not None:
            topic, payload, retain = one_way.encode(self.spec.one_way, None)
            self.bench.say(topic, payload, retain=retain)

    def _now(self) -> ShadeSpec:
        return replace(self.spec, travel=self.facts().travel)


def retained_target(bench: Workbench, spec: ShadeSpec) -> Fraction | None:
    """Return the target that the broker holds for a one-way board; None without a readable one."""
    topic = spec.one_way.topic
    held = [each for each in bench.listen([topic]) if each.topic == topic and each.payload]
    return one_way.read_number(topic, held[-1].payload) if held else None


def boards_found(bench: Workbench, root: str) -> dict[str, list[int]]:
    """Return the boards that are up, each with its channels."""
    found: dict[str, list[int]] = {}
    up: set[str] = set()
    for message in bench.listen(contract.subscriptions(root)):
        try:
            heard = contract.decode(root, message.topic, message.payload, retained=True, at=now())
        except LinkError:
            continue
        if isinstance(heard, LinkHeard) and heard.link is Link.UP:
            up.add(heard.board)
        elif isinstance(heard, ReportHeard):
            found.setdefault(heard.board, []).append(heard.channel)
    return {board: sorted(set(channels)) for board, channels in sorted(found.items()) if board in up}
