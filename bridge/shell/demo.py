"""`hembar demo`: an invented house, the real service as its own process, and a short story in plain words.

The story shows a reference run, a move, a newer request on the way, a power cut on the way and the return,
each time with what the bridge claims beside what is true of the simulated hem bar. Then the house stays open.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib.resources
import signal
import socket
import sys
from asyncio.subprocess import DEVNULL, PIPE, STDOUT, Process
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path

import aiomqtt

from bridge.adapters.broker.embedded import Embedded
from bridge.core.errors import LinkError
from bridge.shell.demo_life import Life
from bridge.simulate.client import SimulatedHouse
from bridge.simulate.demo_house import DEMO_HOUSE, NOMINAL

TREE = "homie/5/hembar"
PATIENCE_S = 60.0
JOGS_MAX = 200
SETTLED_S = 0.3
RULES_LOOK_S = 1.0

Say = Callable[[str], None]


@dataclass
class Watcher:
    """What the broker shows, as any dashboard would read it."""

    client: aiomqtt.Client
    values: dict[str, str] = field(default_factory=dict)
    changed: asyncio.Condition = field(default_factory=asyncio.Condition)

    async def read(self) -> None:
        """Read for ever."""
        async for message in self.client.messages:
            async with self.changed:
                self.values[message.topic.value] = bytes(message.payload).decode("utf-8", "replace")
                self.changed.notify_all()

    def of(self, shade: str, levels: str) -> str:
        """Return one value of a shade's device."""
        return self.values.get(f"{TREE}-{shade}/{levels}", "")

    async def until(self, wanted: Callable[[], bool], what: str) -> None:
        """Wait until the broker shows something.

        Raises:
            LinkError: it does not come in a minute.
        """
        try:
            async with asyncio.timeout(PATIENCE_S), self.changed:
                await self.changed.wait_for(wanted)
        except TimeoutError:
            raise LinkError(
                where="demo", problem=f"waited in vain for {what}", remedy="look into the daemon's log"
            ) from None

    async def ask(self, shade: str, levels: str, payload: str) -> None:
        """Publish a request, as a dashboard would."""
        await self.client.publish(f"{TREE}-{shade}/{levels}/set", payload, qos=1)

    async def rest_at(self, shade: str, pct: int) -> None:
        """Wait until a shade stands still at a percent."""
        await self.until(
            lambda: (
                self.of(shade, "opening/motion") == "still" and self.of(shade, "opening/position") == str(pct)
            ),
            f"{shade} at {pct} %",
        )
        # Its other values follow within the same breath.
        await asyncio.sleep(SETTLED_S)


@dataclass
class Story:
    """The house while the story is told."""

    house: SimulatedHouse
    watcher: Watcher
    life: Life
    settings: Path
    journal: Path
    say: Say

    def claim(self, shade: str) -> str:
        """Return what the bridge claims, beside the simulated truth, in words."""
        drop = NOMINAL[shade].drop_mm
        bar = self.house.truth()[NOMINAL[shade].board, NOMINAL[shade].channel]
        true_pct = 100 * (1 - bar.drop_mm / drop)
        of = self.watcher.of
        low, high = of(shade, "knowledge/low"), of(shade, "knowledge/high")
        grade, width = of(shade, "knowledge/grade"), of(shade, "knowledge/width")
        if grade == "unknown":
            return f"{shade}: the bridge does not know where it is, and says so. In truth {true_pct:.1f} %."
        inside = float(low) <= true_pct <= float(high)
        verdict = "the claim holds" if inside else "THE CLAIM IS WRONG"
        return (
            f"{shade}: claimed between {low} and {high} % ({width} mm, {grade}); "
            f"in truth {true_pct:.1f} %: {verdict}."
        )

    async def tell(self) -> None:
        """Tell it from beginning to end."""
        watcher, say = self.watcher, self.say
        await watcher.until(
            lambda: all(watcher.of(shade, "$state") == "ready" for shade in NOMINAL), "the boards to answer"
        )
        say(
            "1. Three shades, three boards' counts, and nobody has ever told the bridge what the counts mean."
        )
        for shade in NOMINAL:
            say(f"   {self.claim(shade)}")
        await self._references()
        await self._newer_request()
        await self._power_cut()
        await self._wind()
        await self._sun()

    async def _references(self) -> None:
        say, watcher = self.say, self.watcher
        say("\n2. `up` to study and kitchen: each runs slowly up to its limit switch, a reference.")
        say("   Landing has no switch: somebody lowers it by the button at its board and confirms the mark.")
        await watcher.ask("study", "opening/button", "up")
        await watcher.ask("kitchen", "opening/button", "up")
        await self._lower_by_hand("landing")
        # What the eye has seen at rest, the bridge must have heard of too.
        await asyncio.sleep(SETTLED_S)
        await watcher.until(lambda: watcher.of("landing", "opening/motion") == "still", "the landing at rest")
        await watcher.ask("landing", "knowledge/confirm", "lower")
        await watcher.rest_at("study", 100)
        await watcher.rest_at("kitchen", 100)
        await watcher.until(
            lambda: watcher.of("landing", "knowledge/grade") == "referenced", "the confirmation"
        )
        for shade in NOMINAL:
            say(f"   {self.claim(shade)}")

    async def _lower_by_hand(self, shade: str) -> None:
        """Hold `down` at the board until the hem bar is at its lower mark, as a person would by eye."""
        nominal = NOMINAL[shade]
        board = self.house.boards[nominal.board]
        board.press(nominal.channel, "down")
        # It runs on a little after the finger is gone; a person lets go a little early.
        await self._see(lambda: board.truth(nominal.channel).drop_mm >= nominal.drop_mm - 10)
        board.release(nominal.channel)
        await self._see(lambda: not board.truth(nominal.channel).moving)
        await self._to_the_mark(shade)

    async def _to_the_mark(self, shade: str) -> None:
        """Jog by short presses until the hem bar is within a millimetre of its mark."""
        nominal = NOMINAL[shade]
        board = self.house.boards[nominal.board]
        for _ in range(JOGS_MAX):
            off = nominal.drop_mm - board.truth(nominal.channel).drop_mm
            if abs(off) < 1.0:
                return
            board.press(nominal.channel, "down" if off > 0 else "up")
            await asyncio.sleep(0.02 if abs(off) < 4 else 0.06)
            board.release(nominal.channel)
            await self._see(lambda: not board.truth(nominal.channel).moving)

    async def _see(self, seen: Callable[[], bool]) -> None:
        """Look at the window until something is seen there."""
        async with asyncio.timeout(PATIENCE_S):
            while not seen():  # noqa: ASYNC110 - an eye has nothing that could wake it
                await asyncio.sleep(0.02)

    async def _newer_request(self) -> None:
        say, watcher = self.say, self.watcher
        say(
            "\n3. The study is asked for 30 %, and on the way for 80 %: the newer request replaces the older."
        )
        await watcher.ask("study", "opening/position", "30")
        await watcher.until(
            lambda: watcher.of("study", "opening/motion") == "lowering", "the study to set off"
        )
        await asyncio.sleep(3.0)
        await watcher.ask("study", "opening/position", "80")
        await watcher.rest_at("study", 80)
        say(f"   {self.claim('study')}")

    async def _power_cut(self) -> None:
        say, watcher = self.say, self.watcher
        say("\n4. The study is asked for 20 %; on the way its board loses power.")
        await watcher.ask("study", "opening/position", "20")
        await watcher.until(
            lambda: watcher.of("study", "opening/motion") == "lowering", "the study to set off"
        )
        await asyncio.sleep(4.0)
        await self.house.power_cut("attic-board")
        await watcher.until(lambda: watcher.of("study", "$state") == "lost", "the loss to be noticed")
        say(f"   {self.claim('study')}")
        await asyncio.sleep(1.0)
        say("   Power returns. The board lost its count on the way and says so; nothing moves by itself.")
        await self.house.power_up("attic-board")
        await watcher.until(lambda: watcher.of("study", "$state") == "ready", "the board to answer")
        await asyncio.sleep(0.5)
        say(f"   {self.claim('study')}")
        say(f"   It tells the family: {watcher.of('study', '$alert/reference')}.")
        say(f"   {self.claim('kitchen')}")
        say("   (The kitchen stood still where its unpowered motor holds, so its kept count still counts.)")
        say("\n5. `up` once more: the switch is the reference, and the doubt is gone.")
        await watcher.ask("study", "opening/button", "up")
        await watcher.rest_at("study", 100)
        say(f"   {self.claim('study')}")

    async def _wind(self) -> None:
        say, watcher, loop = self.say, self.watcher, asyncio.get_running_loop()
        say("\n6. The landing hangs outside. Somebody asks for 60 %; then a squall comes.")
        await watcher.ask("landing", "opening/position", "60")
        await watcher.rest_at("landing", 60)
        self.life.squall_mps, began = 10.0, loop.time()
        await self.life.speak()
        await watcher.until(lambda: watcher.of("landing", "opening/position/$target") == "100", "the retract")
        took_ms = (loop.time() - began) * 1000
        await watcher.rest_at("landing", 100)
        say(f"   {watcher.of('landing', 'reason/text')}.")
        say(f"   From the message of the roof station to the new target: {took_ms:.0f} ms.")
        self.life.squall_mps = 0.0
        say("   It stays up until it has been calm for a minute, whoever asks; only a stop is above that.")

    async def _sun(self) -> None:
        say, watcher = self.say, self.watcher
        say("\n7. The person lets go of the study before the hold is over: its rules look at once.")
        await watcher.ask("study", "reason/release", "release")
        await asyncio.sleep(RULES_LOOK_S)
        await watcher.until(lambda: watcher.of("study", "opening/motion") == "still", "the study to rest")
        for words in (("why", "study", "--journal", str(self.journal)),
                      ("day", str(self.settings), "--shade", "study")):  # fmt: skip
            say(f"   $ hembar {' '.join(words)}")
            for line in (await _printed(*words)).splitlines():
                say(f"     {line}")


async def _printed(*words: str) -> str:
    """Return what a command prints, as a person at a second terminal would see it."""
    command = (sys.executable, "-m", "bridge.cli", *words)
    process = await asyncio.create_subprocess_exec(*command, stdin=DEVNULL, stdout=PIPE, stderr=STDOUT)
    out, _ = await process.communicate()
    return out.decode()


async def show(folder: Path, say: Say, *, story_only: bool) -> None:
    """Run the demo until it is cancelled or gets SIGTERM, or until the story is told.

    Args:
        folder: Where settings, journal, boards' flash and the daemon's log are put.
        say: Shows one line to the person.
        story_only: End after the story.

    Raises:
        LinkError: no broker can be started, or the house does not come up.
    """
    running = asyncio.current_task()
    assert running is not None
    # Left to its default it would end this process and leave the service running.
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, running.cancel)
    broker = Embedded()
    await asyncio.to_thread(broker.start)
    try:
        say(f"Gull House, on {broker.name} at {broker.host}, port {broker.port}{_old_port(broker)}.")
        page = _free_port()
        settings = _settings(folder, broker, page)
        say(f"The page: http://127.0.0.1:{page}/")
        journal = folder / "state" / "journal.db"
        say(f"Settings: {settings}, journal: {journal}")
        say(f"The daemon's log: {folder / 'hembar.log'}")
        say("This is a simulation: nothing real moves.\n")
        async with (
            SimulatedHouse(DEMO_HOUSE, folder / "boards", host=broker.host, port=broker.port_v3) as house,
            _daemon(settings, folder),
            _watching(broker) as watcher,
            _living(watcher) as life,
        ):
            await Story(house, watcher, life, settings, journal, say).tell()
            if not story_only:
                _invite(say, broker, settings, journal)
                await life.person(say, lambda shade, pct: watcher.ask(shade, "opening/position", pct))
    finally:
        await asyncio.to_thread(broker.stop)


def _old_port(broker: Embedded) -> str:
    return "" if broker.port_v3 == broker.port else f" (MQTT 3.1.1: port {broker.port_v3})"


def _invite(say: Say, broker: Embedded, settings: Path, journal: Path) -> None:
    at = f"--broker {broker.host}:{broker.port}"
    say("\nThe house is yours now; Ida lives in it and asks for something every few minutes.")
    say("From a second terminal:")
    for words in (
        f"status {at}",
        f"move study 40 {at}",
        f"move landing up {at}",
        f"why landing --journal {journal}",
        f"day {settings} --shade study --journal {journal} --picture day.svg",
        f"sunmap study --settings {settings} --picture map.svg",
        f"year {settings} --weather FILE.epw --shade study",
    ):
        say(f"  {Path(sys.argv[0]).parent / 'hembar'} {words}")
    say(f"  mosquitto_sub -p {broker.port_v3} -v -t '{TREE}-study/#'")
    say("Ctrl-C ends it.")


def _free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


def _settings(folder: Path, broker: Embedded, page: int) -> Path:
    told = importlib.resources.files("bridge.simulate")
    text = told.joinpath("demo_house.toml").read_text("utf-8")
    text = text.replace("port = 1883", f"port = {broker.port}\nsession_s = {broker.session_s}")
    path = folder / "hembar.toml"
    windows = told.joinpath("demo_windows.toml").read_text("utf-8")
    text = text.replace('name = "Landing"\nmounting = "interior"', 'name = "Landing"\nmounting = "exterior"')
    path.write_text(f"{text}\n[page]\nport = {page}\n\n{windows}", encoding="utf-8")
    return path


@contextlib.asynccontextmanager
async def _daemon(settings: Path, folder: Path) -> AsyncIterator[Process]:
    """Run the real service beside us; it is asked to end, and waited for."""
    words = [sys.executable, "-m", "bridge.cli", "run", str(settings), "--state", str(folder / "state")]
    with (folder / "hembar.log").open("ab") as log:
        process = await asyncio.create_subprocess_exec(
            *words, stdin=DEVNULL, stdout=log, stderr=log, start_new_session=True
        )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.send_signal(signal.SIGTERM)
        await process.wait()


@contextlib.asynccontextmanager
async def _living(watcher: Watcher) -> AsyncIterator[Life]:
    """Let the weather go on beside us."""
    life = Life(watcher.client)
    speaking = asyncio.create_task(life.weather())
    try:
        yield life
    finally:
        speaking.cancel()
        await asyncio.gather(speaking, return_exceptions=True)


@contextlib.asynccontextmanager
async def _watching(broker: Embedded) -> AsyncIterator[Watcher]:
    async with aiomqtt.Client(
        broker.host, broker.port_v3, identifier="hembar-demo-watcher", keepalive=30
    ) as client:
        watcher = Watcher(client)
        await client.subscribe(f"{TREE}/#", 1)
        for shade in NOMINAL:
            await client.subscribe(f"{TREE}-{shade}/#", 1)
        reading = asyncio.create_task(watcher.read())
        try:
            yield watcher
        finally:
            reading.cancel()
            await asyncio.gather(reading, return_exceptions=True)
