from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, field, replace
from itertools import repeat

import pytest

from bridge.adapters.broker.embedded import Embedded, Name
from bridge.adapters.broker.homie import State
from bridge.adapters.broker.messages import Address, Incoming, Publication
from bridge.adapters.broker.oneshot import Answer, Visit
from bridge.adapters.broker.session import Hooks, Session
from bridge.adapters.broker.tree import Confirming, Refused, Request, Shown, Tree, Wanted
from bridge.core.errors import LinkError
from bridge.core.events import Percent
from bridge.core.outlook import BoardState, Motion, ShadeOutlook
from bridge.core.position.estimate import Grade
from bridge.core.values import ShadeId
from tests.mosquitto import Mosquitto

STUDY, HALL = ShadeId("study"), ShadeId("hall")
TREE = Tree(root="weir", name="Weir house", version="1.2", shades=((STUDY, "Study"), (HALL, "Hall")))
UNKNOWN = ShadeOutlook(
    id=STUDY,
    name="Study",
    position_pct=None,
    target_pct=None,
    low_pct=0.0,
    high_pct=100.0,
    width_mm=1800.0,
    low_steps=0,
    high_steps=54000,
    grade=Grade.UNKNOWN,
    motion=Motion.STILL,
    reason="nothing has been asked yet",
    until=None,
    board=BoardState.UP,
    alerts=(),
)


@dataclass
class Bridge:
    """The least that can stand behind a tree: every percent is reached at once, nudges are refused."""

    address: Address
    tree: Tree = TREE
    outlooks: dict[ShadeId, ShadeOutlook] = field(
        default_factory=lambda: {STUDY: UNKNOWN, HALL: replace(UNKNOWN, id=HALL, name="Hall")}
    )
    asked: list[Request | Refused] = field(default_factory=list)
    up: asyncio.Event = field(default_factory=asyncio.Event)
    shown: Shown = field(default_factory=dict)

    @contextlib.asynccontextmanager
    async def running(self) -> AsyncIterator[Bridge]:
        self.session = Session(
            self.address,
            subscriptions=self.tree.subscriptions(),
            greeting=self.tree.state(State.INIT),
            will=self.tree.state(State.LOST),
            farewell=self.tree.state(State.DISCONNECTED),
            hooks=Hooks(
                on_up=lambda _: self.open(),
                on_down=self.up.clear,
                on_message=self.hear,
                on_dropped=lambda _: None,
                on_trouble=lambda *_: None,
            ),
            delays=every_50_ms,
        )
        task = asyncio.create_task(self.session.run())
        try:
            async with asyncio.timeout(10):
                await self.up.wait()
            yield self
        finally:
            task.cancel()
            await asyncio.wait([task])

    def open(self) -> None:
        publications, self.shown = self.tree.opening(self.outlooks.values())
        self.say(publications)
        self.up.set()

    def hear(self, message: Incoming) -> None:
        self.say(self.tree.remnants(message))
        asked = self.tree.read_set(message)
        if asked is None:
            return
        self.asked.append(asked)
        match asked:
            case Refused():
                self.say([self.tree.refused(asked)])
            case Wanted(want=Percent(open_pct=percent)):
                old = self.outlooks[asked.shade]
                self.say([self.tree.accepted(asked.shade, asked.want)])
                self.show(replace(old, position_pct=percent, target_pct=percent, grade=Grade.REFERENCED))
            case Wanted():
                self.say([self.tree.declined(asked.shade, asked.want, "not today")])
            case Confirming():
                self.say([self.tree.accepted(asked.shade, asked.place)])

    def show(self, outlook: ShadeOutlook) -> None:
        self.outlooks[outlook.id] = outlook
        publications, news = self.tree.update(self.shown, outlook)
        self.shown = {**self.shown, **news}
        self.say(publications)

    def say(self, publications: tuple[Publication, ...] | list[Publication]) -> None:
        for publication in publications:
            self.session.publish(publication)


def every_50_ms() -> Iterator[float]:
    return repeat(0.05)


def address(host: str, port: int, *, session_s: int = 30) -> Address:
    return Address(host=host, port=port, client_id="weir", session_s=session_s)


def read_ready_tree(where: Address) -> dict[str, dict[str, bytes]]:
    with Visit(where, root="weir") as visit:
        _, ready = visit.follow("weir", lambda values: values.get("$state") == b"ready", within_s=10.0)
        assert ready
        return visit.tree()


def ask(where: Address, levels: str, payload: bytes) -> Answer:
    with Visit(where, root="weir") as visit:
        return visit.ask("weir-study", levels, payload, within_s=5.0)


@pytest.fixture(params=["mosquitto", "iotcore"])
def embedded(request: pytest.FixtureRequest) -> Iterator[Embedded]:
    name: Name = request.param
    if name == "iotcore":
        pytest.importorskip("iotcore")
    with Embedded(name) as broker:
        yield broker


async def test_a_visitor_reads_the_tree_that_the_bridge_shows(embedded: Embedded) -> None:
    where = address(embedded.host, embedded.port, session_s=embedded.session_s)
    async with Bridge(where).running():
        tree = await asyncio.to_thread(read_ready_tree, where)
    assert list(tree) == ["weir", "weir-study", "weir-hall"]
    assert tree["weir"]["software/version"] == b"1.2"
    described = tree["weir-study"].pop("$description")
    assert b'"parent":"weir"' in described
    assert tree["weir-study"] == {
        "$state": b"ready",
        "opening/motion": b"still",
        "knowledge/grade": b"unknown",
        "knowledge/low": b"0.0",
        "knowledge/high": b"100.0",
        "knowledge/width": b"1800.0",
        "reason/text": b"nothing has been asked yet",
        "service/active": b"true",
    }


async def test_a_visitor_asks_and_is_answered(embedded: Embedded) -> None:
    where = address(embedded.host, embedded.port, session_s=embedded.session_s)
    async with Bridge(where).running() as bridge:
        assert await asyncio.to_thread(ask, where, "opening/position", b"40") == Answer(taken=True)
        # The target already stands at 40: only a fresh one is an answer.
        assert await asyncio.to_thread(ask, where, "opening/position", b"40") == Answer(taken=True)
        assert await asyncio.to_thread(ask, where, "opening/position", b"101") == Answer(
            taken=False, reason="101 is not between 0 and 100"
        )
        assert await asyncio.to_thread(ask, where, "opening/nudge", b"5") == Answer(
            taken=False, reason="not today"
        )
        assert await asyncio.to_thread(ask, where, "knowledge/confirm", b"upper") == Answer(taken=True)
    assert [type(asked) for asked in bridge.asked] == [Wanted, Wanted, Refused, Wanted, Confirming]


async def test_a_visitor_watches_until_the_shade_is_there(mosquitto: Mosquitto) -> None:
    where = address(mosquitto.host, mosquitto.port)

    def watch(percent: bytes, within_s: float) -> tuple[dict[str, bytes], bool]:
        with Visit(where, root="weir") as visit:
            return visit.follow(
                "weir-study", lambda values: values.get("opening/position") == percent, within_s=within_s
            )

    async with Bridge(where).running() as bridge:
        watching = asyncio.create_task(asyncio.to_thread(watch, b"70", 10.0))
        bridge.show(replace(UNKNOWN, position_pct=70))
        values, there = await watching
        assert there
        assert values["opening/position"] == b"70"
        values, there = await asyncio.to_thread(watch, b"71", 0.2)
        assert not there
        assert values["opening/position"] == b"70"


async def test_an_answer_that_never_comes_is_no_answer(mosquitto: Mosquitto) -> None:
    where = address(mosquitto.host, mosquitto.port)

    def alone() -> Answer:
        with Visit(where, root="weir") as visit:
            assert visit.tree() == {}
            return visit.ask("weir-study", "opening/position", b"40", within_s=0.2)

    assert await asyncio.to_thread(alone) == Answer(taken=None)


@pytest.mark.parametrize(
    "payload",
    [b"", b"NaN", b"101", b"1e999", "\u0661\u0662".encode(), b"x" * 300_000, b"\xff\xfe", b"[" * 10_000],
    ids=["empty", "nan", "101", "1e999", "arabic", "300kB", "not-utf8", "nested"],
)
async def test_rubbish_from_a_stranger_is_refused_and_answered(mosquitto: Mosquitto, payload: bytes) -> None:
    where = address(mosquitto.host, mosquitto.port)
    async with Bridge(where).running() as bridge:
        answer = await asyncio.to_thread(ask, where, "opening/position", payload)
        assert answer.taken is False
        assert answer.reason
        assert [type(asked) for asked in bridge.asked] == [Refused]
        assert "opening/position" not in (await asyncio.to_thread(read_ready_tree, where))["weir-study"]


async def test_a_retained_wish_is_refused_now_and_not_heard_after_a_restart(mosquitto: Mosquitto) -> None:
    where = address(mosquitto.host, mosquitto.port)

    async def retain(percent: str) -> None:
        topic = "homie/5/weir-study/opening/position/set"
        command = ["mosquitto_pub", "-p", str(mosquitto.port), "-q", "1", "-r", "-t", topic, "-m", percent]
        assert await (await asyncio.create_subprocess_exec(*command)).wait() == 0

    async with Bridge(where).running() as bridge:
        await retain("40")
        answer = await asyncio.to_thread(ask, where, "opening/position", b"50")
        assert answer.taken
    assert [type(asked) for asked in bridge.asked] == [Refused, Wanted]
    async with Bridge(where).running() as bridge:
        assert (await asyncio.to_thread(ask, where, "opening/position", b"60")).taken
    assert [type(asked) for asked in bridge.asked] == [Wanted]


async def test_the_device_of_a_shade_that_is_gone_disappears(mosquitto: Mosquitto) -> None:
    where = address(mosquitto.host, mosquitto.port)
    async with Bridge(where).running():
        await asyncio.to_thread(ask, where, "opening/position", b"50")
    smaller = Bridge(where, tree=replace(TREE, shades=((HALL, "Hall"),)))
    del smaller.outlooks[STUDY]
    async with smaller.running():
        await asyncio.to_thread(read_ready_tree, where)
        with Visit(where, root="weir") as visit:
            values, _ = await asyncio.to_thread(
                visit.follow, "weir-study", lambda values: not values, within_s=5.0
            )
    assert values == {}


def test_a_broker_that_is_not_there_is_named_with_its_port() -> None:
    with Embedded() as broker:
        where = address(broker.host, broker.port)
    with pytest.raises(LinkError, match=rf"broker 127\.0\.0\.1:{broker.port}: .*refused"), Visit(where):
        pass


def test_a_broker_that_is_frozen_is_given_up(mosquitto: Mosquitto) -> None:
    os.kill(mosquitto.pid, signal.SIGSTOP)
    try:
        where = address(mosquitto.host, mosquitto.port)
        with pytest.raises(LinkError, match="it does not answer"), Visit(where, patience_s=0.3):
            pass
    finally:
        os.kill(mosquitto.pid, signal.SIGCONT)


def test_a_visit_speaks_an_old_version_where_the_broker_does() -> None:
    pytest.importorskip("iotcore")
    with Embedded("iotcore") as broker, Visit(address(broker.host, broker.port_v3), patience_s=1.0) as visit:
        assert visit.tree() == {}


def test_an_embedded_broker_ends_with_the_one_that_started_it(embedded: Embedded) -> None:
    embedded.stop()
    assert not embedded.alive
    with pytest.raises(LinkError), Visit(address(embedded.host, embedded.port), patience_s=0.3):
        pass
    embedded.start()
    with Visit(address(embedded.host, embedded.port)) as visit:
        assert visit.tree() == {}


@pytest.mark.parametrize("name", ["mosquitto", "iotcore"])
def test_an_embedded_broker_ends_also_when_its_starter_is_killed(
    name: str, request: pytest.FixtureRequest
) -> None:
    program = (
        "import sys, time; sys.path.insert(0, sys.argv[2])\n"
        "from bridge.adapters.broker.embedded import Embedded\n"
        "broker = Embedded(sys.argv[1]); broker.start(); print(broker.port, flush=True); time.sleep(60)\n"
    )
    command = [sys.executable, "-c", program, name, str(request.config.rootpath)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        where = address("127.0.0.1", int(process.stdout.readline()))
        with Visit(where):
            process.kill()
            process.wait()
    gone = False
    for _ in range(200):
        try:
            with Visit(where, patience_s=0.3):
                pass
        except LinkError:
            gone = True
            break
    assert gone


async def test_the_tree_stands_on_a_broker_that_speaks_the_old_version_only() -> None:
    pytest.importorskip("iotcore")
    with Embedded("iotcore") as broker:
        where = address(broker.host, broker.port_v3, session_s=broker.session_s)
        async with Bridge(where).running() as bridge:
            tree = await asyncio.to_thread(read_ready_tree, where)
            assert (await asyncio.to_thread(ask, where, "opening/position", b"40")).taken
            assert (await asyncio.to_thread(ask, where, "opening/position", b"101")).taken is False
    assert list(tree) == ["weir", "weir-study", "weir-hall"]
    assert [type(asked) for asked in bridge.asked] == [Wanted, Refused]
