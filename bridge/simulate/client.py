"""Simulated boards as real MQTT clients: sockets, the clock and files around the pure board.

Whatever a board does is on disk before anybody hears of it. A loss of power drops the TCP connection, so that
the broker speaks the will. Without a broker the board goes on with what it was told.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Collection
from pathlib import Path
from random import Random
from types import TracebackType
from typing import Self

import aiomqtt

from bridge.core.contract import Link
from bridge.core.errors import RequestError
from bridge.simulate.board import DEFAULT_ROOT
from bridge.simulate.fitting import HousePlan, OneWayPlan, Plan
from bridge.simulate.state_file import AnyBoard, BoardFiles, HemBar, hem_bar
from bridge.simulate.wire import PAYLOAD_MAX, Publish

# Between two looks at a moving motor; the truth on disk is never older.
TICK_S = 0.02
KEEPALIVE_S = 5
RETRY_S, RETRY_MOST_S = 0.1, 2.0
# A connection that falls sooner has not shown that all is well, so the delays go on growing.
STEADY_S = 5.0
GOODBYE_S = 0.5
WAITING_MAX = 500


class _Connection(aiomqtt.Client):
    """A connection that can be lost the way a power cut loses it."""

    def drop(self) -> None:
        """End the TCP connection without a word."""
        sock = self._client.socket()
        if isinstance(sock, socket.socket):
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)

    async def __aenter__(self) -> Self:
        """Connect, and take note of every loss: the event loop complains of one that nobody waits for."""
        self._disconnected.add_done_callback(_noted)
        await super().__aenter__()
        self._disconnected.add_done_callback(_noted)  # another one, when the first came before we stood
        return self


def _noted(lost: asyncio.Future[None]) -> None:
    if not lost.cancelled():
        lost.exception()


class LiveBoard:
    """One board on one broker: `power_up`, then it runs by itself until `power_cut` or `stop`."""

    def __init__(
        self, plan: Plan, files: BoardFiles, *, host: str, port: int, root: str, password: str | None
    ) -> None:
        self.plan, self.files = plan, files
        self.host, self.port, self.password = host, port, password
        one_way = isinstance(plan, OneWayPlan)
        self.board: AnyBoard = files.load_one_way() if one_way else files.load(root)
        self._tasks: list[asyncio.Task[None]] = []
        self._connection: _Connection | None = None
        self._outbox: asyncio.Queue[Publish] | None = None
        self._stirred = asyncio.Event()
        self._jitter = Random(f"{plan.id}/{files.seed}")

    async def power_up(self) -> None:
        """Begin a boot and look for the broker."""
        if not self.board.powered:
            self.board.power_up(_now())
            self._done([])
            self._tasks = [asyncio.create_task(self._speak()), asyncio.create_task(self._live())]

    async def power_cut(self) -> None:
        """Lose power in this instant: the broker hears nothing more, cloth may fall."""
        self.board.power_cut(_now())
        self._done([])
        if self._connection is not None:
            self._connection.drop()
        await self._end_tasks(patience_s=GOODBYE_S)

    async def stop(self) -> None:
        """Say `off` and take leave of the broker; the board is without power after that."""
        if self._connection is not None and self.board.powered:
            off = self.board.link(Link.OFF)
            with contextlib.suppress(aiomqtt.MqttError):
                if off is not None:
                    await self._connection.publish(off.topic, off.payload, 1, off.retain, timeout=GOODBYE_S)
        self.board.power_cut(_now())
        self._done([])
        await self._end_tasks(patience_s=0.0)
        self.files.close()

    # A hand on the board or on the cloth.

    def press(self, channel: int, button: str) -> None:
        self._done(self.board.press(channel, button, _now()))

    def release(self, channel: int) -> None:
        self._done(self.board.release(channel, _now()))

    def wind(self) -> None:
        self._done(self.board.wind(_now()))

    def pull(self, channel: int, mm: float) -> None:
        """A person forces the hem bar down by `mm`."""
        sent = self.board.advance(_now())
        self.board.channels[channel].tube.pull(mm)
        self._done(sent)

    def truth(self, channel: int) -> HemBar:
        """Where the hem bar of a channel really is now."""
        self._done(self.board.advance(_now()))
        one = self.board.channels[channel]
        count = one.count if self.board.powered else None
        return hem_bar(one.fitting.shade, one.tube, moving=one.moving, count=count)

    # How.

    def _done(self, sent: list[Publish]) -> None:
        """Write down what has become of the board, then let it speak."""
        self.files.save(self.board)
        if self.board.moving:
            self._stirred.set()
        if self._outbox is not None:
            for each in sent:
                if self._outbox.full():
                    self._outbox.get_nowait()
                self._outbox.put_nowait(each)

    async def _live(self) -> None:
        """Let time pass for the board while anything moves."""
        while True:
            due_s = self.board.next_event_s
            if due_s is None:
                self._stirred.clear()
                await self._stirred.wait()
            else:
                await asyncio.sleep(min(TICK_S, max(0.0, due_s - _now())))
                self._done(self.board.advance(_now()))

    async def _speak(self) -> None:
        """Keep a connection with the broker, come what may."""
        retry_s = RETRY_S
        while True:
            began_s = _now()
            with contextlib.suppress(aiomqtt.MqttError, OSError, TimeoutError):
                await self._converse()
            if not self.board.powered:
                return
            if _now() - began_s > STEADY_S:
                retry_s = RETRY_S
            await asyncio.sleep(retry_s * self._jitter.uniform(0.8, 1.2))
            retry_s = min(RETRY_MOST_S, 2 * retry_s)

    async def _converse(self) -> None:
        """One connection, from its greeting to its loss; raises what ended it before it stood."""
        will = self.board.link(Link.LOST)
        connection = _Connection(
            self.host,
            self.port,
            identifier=self.plan.id,
            username=None if self.password is None else self.plan.id,
            password=self.password,
            protocol=aiomqtt.ProtocolVersion.V311,
            clean_session=True,
            will=None if will is None else aiomqtt.Will(will.topic, will.payload, 1, will.retain),
            keepalive=KEEPALIVE_S,
            timeout=5,
            max_queued_incoming_messages=WAITING_MAX,
            socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        )
        async with connection:
            await connection.subscribe([(topic, 1) for topic in self.board.topics])
            if not self.board.powered:
                connection.drop()
                return
            self._connection, self._outbox = connection, asyncio.Queue(WAITING_MAX)
            try:
                self._done(self.board.connected(_now()))
                writer = asyncio.create_task(self._write(connection, self._outbox))
                try:
                    await self._listen(connection)
                finally:
                    writer.cancel()
                    await asyncio.gather(writer, return_exceptions=True)
            finally:
                self._connection, self._outbox = None, None

    async def _listen(self, connection: _Connection) -> None:
        """Hear until the connection is lost."""
        with contextlib.suppress(aiomqtt.MqttError):
            async for message in connection.messages:
                payload = message.payload[: PAYLOAD_MAX + 1]
                self._done(self.board.on_message(message.topic.value, payload, message.retain, _now()))

    async def _write(self, connection: _Connection, outbox: asyncio.Queue[Publish]) -> None:
        """Say things in order; what the broker does not take ends the connection."""
        try:
            while True:
                each = await outbox.get()
                await connection.publish(each.topic, each.payload, 1, each.retain)
        except aiomqtt.MqttError:
            connection.drop()

    async def _end_tasks(self, *, patience_s: float) -> None:
        """End its tasks; a connection being made may first come to its end, or it would outlive them."""
        tasks = set(self._tasks)
        if tasks and patience_s:
            await asyncio.wait(self._tasks[:1], timeout=patience_s)
        while tasks:
            # Again and again: Python 3.11 loses a cancellation that meets the end of a wait_for.
            for task in tasks:
                task.cancel()
            _, tasks = await asyncio.wait(tasks, timeout=RETRY_S)
        self._tasks = []


class SimulatedHouse:
    """Several boards in this process; an async context manager that powers all of them up.

    Args:
        plan: The house.
        state: Folder of what outlives the process.
        host: The broker.
        port: Its port.
        root: First level of the boards' topics.
        only: Ids of the boards to run; all of them when empty.
        password: With it each board gives its id as its name at the broker; None to give none.

    Raises:
        ConfigError: a board runs on these files already.
        RequestError: an id in `only` is none of the house's.
    """

    def __init__(
        self,
        plan: HousePlan,
        state: Path,
        *,
        host: str,
        port: int,
        root: str = DEFAULT_ROOT,
        only: Collection[str] = (),
        password: str | None = None,
    ) -> None:
        every: tuple[Plan, ...] = (*plan.boards, *plan.one_way)
        ids = [board.id for board in every]
        for name in only:
            if name not in ids:
                raise RequestError(
                    where=f"board {name}",
                    problem="the house has no such board",
                    remedy=f"choose from {', '.join(ids)}",
                )
        self.boards: dict[str, LiveBoard] = {}
        for each in every:
            if not only or each.id in only:
                files = BoardFiles(state, each, seed=plan.seed)
                self.boards[each.id] = LiveBoard(
                    each, files, host=host, port=port, root=root, password=password
                )

    async def __aenter__(self) -> Self:
        for board in self.boards.values():
            await board.power_up()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await asyncio.gather(*(board.stop() for board in self.boards.values()))

    async def power_cut(self, board: str) -> None:
        """Take the power from one board."""
        await self.boards[board].power_cut()

    async def power_up(self, board: str) -> None:
        """Give it back."""
        await self.boards[board].power_up()

    def truth(self) -> dict[tuple[str, int], HemBar]:
        """Where every hem bar really is, by board and channel."""
        return {
            (name, channel): live.truth(channel)
            for name, live in self.boards.items()
            for channel in range(len(live.plan.channels))
        }


def _now() -> float:
    return asyncio.get_running_loop().time()
