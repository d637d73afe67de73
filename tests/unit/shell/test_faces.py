"""What goes out at once, what follows, and what a new connection is shown."""

import asyncio
import json

import pytest

from bridge.core.contract import Do, Order
from bridge.core.outcome import Level, Note, SendOrder
from bridge.core.values import BoardId
from bridge.shell import faces
from bridge.shell.faces import LATEST_S, LIFETIMES_S, ORDER_LIFETIME_S, QUIET_S, STOP_LIFETIME_S
from tests.unit.shell.small_house import ONE, ORDERS, OTHER, Bench, ask, stop

pytestmark = pytest.mark.looptime
A_WHILE_S = 1.0


@pytest.fixture
async def bench() -> Bench:
    begun = Bench()
    await begun.begin()
    return begun


async def test_an_order_has_a_short_life_and_a_stop_a_long_one(bench: Bench) -> None:
    await bench.deciding.take(ask(40))
    await bench.deciding.take(stop())
    lives = [life_s for publication, life_s in bench.sent if publication.topic == ORDERS[ONE]]
    assert lives == [ORDER_LIFETIME_S, STOP_LIFETIME_S]
    assert not any(publication.retain for publication, life_s in bench.sent if life_s is not None)


async def test_a_question_may_wait_longer_than_an_order(bench: Bench) -> None:
    question = Order(term=1, boot=1, seq=1, seen=0, do=Do.TELL)
    bench.faces.order([SendOrder(shade=ONE, board=BoardId("attic"), channel=0, order=question)])
    ((_, life_s),) = bench.sent
    assert life_s == LIFETIMES_S[Do.TELL] > ORDER_LIFETIME_S


async def test_only_what_differs_is_shown(bench: Bench) -> None:
    bench.faces.show(bench.house)
    await asyncio.sleep(A_WHILE_S)
    assert bench.sent == []


async def test_values_wait_for_quiet(bench: Bench) -> None:
    await bench.deciding.take(ask(40))
    await asyncio.sleep(QUIET_S * 0.9)
    assert bench.topics() == [ORDERS[ONE]]
    await asyncio.sleep(QUIET_S)
    assert len(bench.sent) > 1


async def test_values_do_not_wait_for_ever_while_news_keeps_coming(bench: Bench) -> None:
    before = bench.house
    await bench.deciding.take(ask(40))
    after, waited_s = bench.house, 0.0
    while len(bench.sent) == 1:
        bench.faces.show(after if bench.house is before else before)
        bench.faces.show(after)
        await asyncio.sleep(QUIET_S / 2)
        waited_s += QUIET_S / 2
    assert LATEST_S <= waited_s <= LATEST_S + 2 * QUIET_S


async def test_an_order_leaves_between_two_slices_of_what_is_shown(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(faces, "SLICE_S", 0.0)
    await bench.deciding.take(ask(40), ask(60, shade=OTHER))
    await asyncio.sleep(QUIET_S)
    while not list(bench.payloads(f"{ONE}/opening/position/$target")):  # noqa: ASYNC110 - turns of the loop
        await asyncio.sleep(0)
    await bench.deciding.take(stop())
    await asyncio.sleep(A_WHILE_S)
    order = [place for place, topic in enumerate(bench.topics()) if topic == ORDERS[ONE]][-1]
    other = bench.topics().index(f"homie/5/hembar-{OTHER}/opening/position/$target")
    assert order < other
    assert list(bench.payloads(f"{OTHER}/opening/position/$target"))[-1] == b"60"


async def test_showing_that_has_begun_rests_while_news_keeps_coming_but_not_for_ever(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(faces, "SLICE_S", 0.0)
    await bench.deciding.take(ask(40), ask(60, shade=OTHER))
    target = f"{OTHER}/opening/position/$target"
    await asyncio.sleep(QUIET_S)
    while len(bench.sent) == 2:  # noqa: ASYNC110 - turns of the loop, until the first slice
        await asyncio.sleep(0)
    waited_s, at_first = 0.0, len(bench.sent)
    while not list(bench.payloads(target)):
        bench.faces.show(bench.house)
        assert waited_s > LATEST_S - 2 * QUIET_S or len(bench.sent) == at_first
        await asyncio.sleep(QUIET_S / 2)
        waited_s += QUIET_S / 2
    assert waited_s <= LATEST_S + 4 * QUIET_S  # four slices, at most one in QUIET_S


async def test_nothing_is_shown_while_the_broker_is_gone(bench: Bench) -> None:
    bench.faces.close()
    bench.forget()
    await bench.deciding.take(ask(40))
    await asyncio.sleep(A_WHILE_S)
    assert not [topic for topic in bench.topics() if topic.endswith("opening/position")]


async def test_what_waits_is_told_before_the_connection_is_forgotten(bench: Bench) -> None:
    await bench.deciding.take(ask(40))
    bench.faces.close()
    assert b"40" in list(bench.payloads(f"{ONE}/opening/position/$target"))


async def test_a_new_connection_is_shown_everything_and_who_is_in_charge(bench: Bench) -> None:
    bench.faces.close()
    bench.forget()
    bench.faces.open(bench.house)
    topics = bench.topics()
    assert topics[0] == "homie/5/hembar/$state"
    assert f"homie/5/hembar-{ONE}/opening/position" in topics
    claim = json.loads(next(bench.payloads("/claim")))
    assert claim == {"bridge": "test", "term": bench.house.term}


@pytest.mark.parametrize(("level", "told"), [(Level.DEBUG, False), (Level.INFO, True), (Level.ERROR, True)])
async def test_watchers_are_told_sentences_from_info_up(bench: Bench, level: Level, told: bool) -> None:
    bench.faces.log(Note(name="shade.thing.happened", level=level, shade=ONE, text="it happened"))
    await asyncio.sleep(A_WHILE_S)
    assert [publication.payload for publication, _ in bench.sent] == ([b"it happened"] if told else [])
