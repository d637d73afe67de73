"""The bridge's codec and the board's own were written apart; here they meet."""

from dataclasses import replace
from datetime import UTC, datetime
from random import Random

import pytest

from bridge.adapters.links.contract import decode, encode
from bridge.core.contract import Do, Link, Order, Sense, Then, Toward, Why
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.values import BoardId, Moment
from bridge.simulate.board import Board
from bridge.simulate.demo_house import DEMO_HOUSE, KITCHEN, RATIO
from bridge.simulate.fitting import BoardPlan, Fitting
from bridge.simulate.wire import Publish

NOW = Moment(utc=datetime(2030, 3, 4, tzinfo=UTC), mono_s=0.0)
STALLING = Fitting(
    shade="den", build=replace(KITCHEN, upper_switch_mm=None), stall=True, pulses_per_turn=RATIO, record=640
)
ROOT, ID = "shade-boards", BoardId("den-board")


def powered(fitting: Fitting) -> tuple[Board, list[Publish]]:
    board = Board(BoardPlan(id=ID, channels=(fitting,)), Random(1))
    board.power_up(0.0)
    return board, board.connected(0.0)


def heard(message: Publish) -> LinkHeard | ReportHeard:
    event = decode(ROOT, message.topic, message.payload, retained=False, at=NOW)
    assert event is not None
    return event


def report(message: Publish) -> ReportHeard:
    event = heard(message)
    assert isinstance(event, ReportHeard)
    return event


def order(do: Do, seq: int, **fields: object) -> Order:
    return replace(Order(term=3, boot=1, seq=seq, seen=1, do=do), **fields)  # type: ignore[arg-type]  # by name


def send(board: Board, wanted: Order, now_s: float = 0.0) -> list[Publish]:
    topic, payload = encode(wanted, root=ROOT, board=ID, channel=0)
    return board.on_message(topic, payload, False, now_s)


def test_a_greeting_is_read_as_link_and_report() -> None:
    _, (up, boot) = powered(STALLING)
    link = heard(up)
    assert isinstance(link, LinkHeard)
    assert (link.board, link.link, link.boot) == (ID, Link.UP, 1)
    said = report(boot).report
    assert (said.why, said.count, said.kept, said.kept_since) == (Why.BOOT, 640, True, 1)
    assert (said.senses, said.pulses_per_turn, said.stalls) == ((Sense.STALL,), RATIO, 0)


@pytest.mark.parametrize(
    ("wanted", "why"),
    [
        (order(Do.TELL, 1), Why.TOLD),
        (order(Do.GO, 1, to=3200, low=0, high=9000, pps=800, ramp=1600, then=Then.SLEEP), Why.STARTED),
        (order(Do.STOP, 1, ramp=1600), Why.STOPPED),
        (order(Do.SEEK, 1, toward=Toward.UPPER, at_most=900, pps=400, ramp=1600), Why.STARTED),
        (order(Do.SEEK, 1, toward=Toward.LOWER, at_most=900, pps=400, ramp=1600), Why.REFUSED),
        (order(Do.SLEEP, 1), Why.TOLD),
        (order(Do.WAKE, 1), Why.TOLD),
    ],
)
def test_every_order_is_understood_and_its_answer_too(wanted: Order, why: Why) -> None:
    board, _ = powered(STALLING)
    (answer,) = send(board, wanted)
    said = report(answer).report
    assert said.why is why
    assert said.seq == (0 if why is Why.REFUSED else 1)
    assert said.term == 3
    assert said.because == ("no-sense" if why is Why.REFUSED else None)


def test_a_stall_away_from_a_reference_reaches_the_bridge_with_its_number() -> None:
    board, _ = powered(STALLING)
    send(board, order(Do.GO, 1, to=-30000, low=-40000, high=9000, pps=1600, ramp=6000, then=Then.STAY))
    last = report(board.advance(60.0)[-1]).report
    assert (last.why, last.stalls, last.moving) == (Why.STALLED, 1, False)


def test_every_message_of_a_busy_demo_house_is_readable() -> None:
    rng = Random(4)
    for plan in DEMO_HOUSE.boards:
        board, now, sent = Board(plan, rng), 0.0, list[Publish]()
        board.power_up(now)
        sent += board.connected(now)
        for seq in range(1, 60):
            now += rng.uniform(0, 9)
            wanted = order(
                rng.choice([Do.GO, Do.GO, Do.STOP, Do.SEEK]),
                seq,
                seen=board.channels[0].n,
                to=rng.randint(-9000, 50000),
                low=-9000,
                high=50000,
                pps=rng.randint(1, 9000),
                ramp=4000,
                then=rng.choice(list(Then)),
                toward=Toward.UPPER,
                at_most=5000,
            )
            topic, payload = encode(wanted, root=ROOT, board=BoardId(plan.id), channel=0)
            sent += board.on_message(topic, payload, False, now)
            sent += board.press(0, rng.choice(["up", "down", "stop"]), now) if rng.random() < 0.3 else []
            sent += board.wind(now) if rng.random() < 0.1 else []
        ns = [
            event.report.n
            for event in map(heard, sent)
            if isinstance(event, ReportHeard) and event.channel == 0
        ]
        assert ns == list(range(1, len(ns) + 1))
