"""Every door under a coverage-guided fuzzer: nothing raises, and rubbish never moves a shade.

    python -m tests.fuzz.doors message -runs=100000

Each target is a function of bytes; what follows the target's name goes to libFuzzer. What is a valid wish is
said here by regular expressions of their own, not by the code under test.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
import sys
import tempfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from random import Random

import atheris

with atheris.instrument_imports(include=["bridge"]):
    import structlog

    from bridge.adapters.broker.messages import Incoming
    from bridge.adapters.journal import codec
    from bridge.adapters.journal.store import FileJournal
    from bridge.adapters.page.options import PageSettings
    from bridge.board import orders as board_orders
    from bridge.core.contract import Do
    from bridge.core.errors import BridgeError
    from bridge.core.events import BrokerReached, Event, Place, Started
    from bridge.core.house import handle
    from bridge.core.state import House
    from bridge.core.values import Moment
    from bridge.settings.load import load_text
    from bridge.shell.clock import now
    from bridge.shell.outside import Outside
    from bridge.simulate.board import Board
    from bridge.simulate.demo_house import DEMO_HOUSE
    from tests.page_visit import CHANGE, Doorstep
    from tests.small_house import SmallHouse

ROOM = Path(__file__).parents[2]
DEMO = (ROOM / "bridge" / "simulate" / "demo_house.toml").read_text()
LISTEN = """
[[listen]]
topic = "panel/study"
shade = "study"
says = "percent open"
[[listen]]
topic = "speaker/said"
shade = "kitchen"
pointer = "/slots/0/value"
words = { "tea time" = 40, "halt" = "stop" }
"""
STREAM_S = 0.5
SET = "homie/5/hembar-study/"
TOPICS = (
    "shade-boards/attic-board/link",
    "shade-boards/attic-board/0/report",
    "shade-boards/attic-board/0/order",
    "shade-boards/claim",
    "shade-boards/memory/hembar/study",
    f"{SET}opening/position/set",
    f"{SET}opening/button/set",
    f"{SET}opening/nudge/set",
    f"{SET}knowledge/confirm/set",
    f"{SET}knowledge/approach/set",
    f"{SET}knowledge/refer/set",
    "homie/5/hembar/service/lock/set",
    "homie/5/hembar/rules/pause/set",
    "homie/5/hembar/$state",
    "homie/5/hembar-study/$description",
    "panel/study",
    "speaker/said",
)
# What may move a shade, by where it is asked; everything else is rubbish or a report.
WISHES = {
    f"{SET}opening/position/set": re.compile(rb"100|[1-9]?[0-9]"),
    f"{SET}opening/button/set": re.compile(rb"up|down|stop"),
    f"{SET}opening/nudge/set": re.compile(rb"-?(100|[1-9][0-9]?)"),
    f"{SET}knowledge/confirm/set": re.compile(rb"upper|lower"),
    f"{SET}knowledge/approach/set": re.compile(rb"upper|lower"),
    f"{SET}knowledge/refer/set": re.compile(rb"switch"),
}
NUMBER = re.compile(rb"\s*[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?\s*")  # RFC 8259, section 6


class Doors:
    """A house at rest behind its doors; every input meets the same one, since houses never change."""

    def __init__(self) -> None:
        settings = load_text(DEMO + LISTEN, origin="fuzz", folder=ROOM)
        log = structlog.wrap_logger(structlog.ReturnLogger(), processors=[_dropped])
        self.outside = Outside(settings, bridge="fuzz", send=lambda *_: None, log=log)
        small = SmallHouse(spec=settings.house)
        small.confirm("study", Place.UPPER)
        small.run(2.0)
        assert small.house is not None
        self.house: House = small.house

    def message(self, data: bytes) -> None:
        """Up to four messages in sequence: topic and retained by the first byte, then the payload."""
        house, wished = self.house, False
        for part in data.split(b"\xff\xfe")[:4]:
            if not part:
                continue
            topic, retained = TOPICS[part[0] % len(TOPICS)], part[0] > 200
            payload = part[1:]
            wished |= _may_be_a_wish(topic, payload, retained=retained)
            message = Incoming(topic=topic, payload=payload, retained=retained, qos=1)
            if self.outside.at_door(message):
                continue
            for event in self.outside.events_of(message, house):
                house, decisions = handle(house, event)
                moving = [each for each in decisions.orders if each.order.do in (Do.GO, Do.SEEK)]
                assert wished or not moving, (topic, payload, moving)


def _dropped(*_: object) -> str:
    raise structlog.DropEvent


def _may_be_a_wish(topic: str, payload: bytes, *, retained: bool) -> bool:
    if topic in WISHES:
        return not retained and WISHES[topic].fullmatch(payload) is not None
    if topic == "panel/study":
        return not retained and NUMBER.fullmatch(payload) is not None
    return topic == "speaker/said" and (b"tea time" in payload or b"\\u" in payload)


def settings(data: bytes) -> None:
    """A settings file: the demo's with a stretch replaced, or the bytes alone."""
    text = data.decode("utf-8", "replace")
    if data[:1] >= b"\x80" and len(data) > 3:
        start = int.from_bytes(data[1:3]) % len(DEMO)
        text = DEMO[:start] + text[3:] + DEMO[start + len(text) :]
    with contextlib.suppress(BridgeError):
        load_text(text, origin="fuzz", folder=ROOM)


def events(data: bytes) -> None:
    """A row of the journal: what can't be read is a ValueError and nothing else."""
    for decode in (codec.decode_event, codec.decode_decisions, codec.decode_house):
        try:
            decode(data)
        except ValueError:
            continue


class JournalFiles:
    """A journal whose bytes are overwritten here and there."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="hembar-fuzz-"))
        path = self.folder / "sound.db"
        journal = FileJournal(path, handle)
        journal.recover()
        house: House | None = None
        spec = load_text(DEMO, origin="fuzz", folder=ROOM).house
        at = now()
        steps: list[Event] = [
            Started(at=at, spec=spec),
            *(BrokerReached(at=_later(at, n)) for n in range(1, 30)),
        ]
        for number, event in enumerate(steps):
            house, decisions = handle(house, event)
            journal.append((event, decisions))
            if number == 15:
                journal.snapshot(house)
        journal.close()
        self.sound = path.read_bytes()

    def __call__(self, data: bytes) -> None:
        for old in self.folder.glob("trial*"):
            old.unlink()
        file = bytearray(self.sound)
        for at in range(0, len(data) - 4, 5):
            file[int.from_bytes(data[at : at + 4]) % len(file)] = data[at + 4]
        path = self.folder / "trial.db"
        path.write_bytes(file)
        journal = FileJournal(path, handle)
        try:
            found = journal.recover()
            assert found.house is None or found.house.spec.shades
        except BridgeError:
            pass
        finally:
            journal.close()


def board(data: bytes) -> None:
    """An order to the board program and to a simulated board: no exception, no motion from rubbish."""
    read = board_orders.read_order(data)
    simulated = Board(DEMO_HOUSE.boards[0], Random(1))
    simulated.power_up(0.0)
    simulated.connected(0.1)
    simulated.on_message("shade-boards/attic-board/0/order", data, False, 0.2)
    if not isinstance(read, board_orders.Order):
        assert not simulated.moving, data


class Page:
    """The page's server behind one request: method, path, headers and body, parted by lines.

    The first byte says whether it comes as the page itself makes it; only such a one may become an event.
    """

    def __init__(self) -> None:
        self.visits = 0
        self.runner = asyncio.Runner()
        self.runner.run(self._open())

    async def _open(self) -> None:
        self.keyed = Doorstep(PageSettings(), key="a key that nobody guesses")
        self.open = Doorstep(PageSettings())

    def __call__(self, data: bytes) -> None:
        self.runner.run(self._visit(data))

    async def _visit(self, data: bytes) -> None:
        first, rest = data[:1], data[1:]
        lines = [*rest.split(b"\n", 3), b"", b"", b"", b""][:4]
        method, path, header, body = (line.decode("latin-1") for line in lines)
        as_page = first == b"p"
        step = self.open if as_page else self.keyed
        name, _, value = header.partition(":")
        headers = {
            **(CHANGE if as_page else {}),
            **({name.lower(): value} if name and name != "host" else {}),
        }
        before = len(step.home.asked)
        self.visits += 1
        client = (
            f"127.{self.visits >> 16 & 255}.{self.visits >> 8 & 255}.{self.visits & 255}"  # no rate is met
        )
        try:
            reply = await asyncio.wait_for(
                step.call(
                    method or "GET", f"/{path}", body.encode("latin-1"), headers=headers, client=client
                ),
                STREAM_S,
            )
        except TimeoutError:
            assert path.startswith("api/events"), "only a stream goes on and on"
            return
        assert reply.status < 500, (reply.status, reply.body[:200])
        if not as_page:
            assert len(step.home.asked) == before, "somebody without the key has asked the house"


def _later(at: Moment, seconds: int) -> Moment:

    return Moment(utc=at.utc + timedelta(seconds=seconds), mono_s=at.mono_s + seconds)


# What the fuzzer starts from.
CORPUS: dict[str, tuple[bytes, ...]] = {
    "message": (
        b'\x01{"v":1,"boot":1,"n":9,"count":5,"kept":true,"moving":false,"awake":false,"why":"told","seq":1}',
        b'\x00{"link":"up","boot":1}',
        b'\x03{"bridge":"other","term":9}',
        b'\x04{"v":1,"seq":1}',
        b"\x0540",
        b"\x06stop",
        b"\x07-10",
        b"\x08upper\xff\xfe\x0540",
        b'\x10{"slots":[{"value":"halt"}]}',
    ),
    "settings": (DEMO.encode(), b"\x81\x00\x40drop_mm = 1e400"),
    "events": (b'{"kind":"ticked","at":{"utc":"2026-03-01T00:00:00+00:00","mono_s":1.0}}',),
    "journal": (b"\x00\x00\x10\x00\xff",),
    "page": (
        b'pPOST\napi/shades/study/ask\nx: y\n{"open_pct":40}',
        b"pGET\napi/day?date=2026-03-01\n\n",
        b"pGET\napi/journal?limit=5&search=a\n\n",
        b"kPOST\napi/stop\nauthorization: Bearer x\n{}",
        b'pPOST\napi/lock\n\n{"on":true}',
    ),
    "board": (
        b'{"v":1,"term":5,"boot":1,"seq":1,"seen":1,"do":"go","to":9,"low":0,"high":99,"pps":8,"ramp":1}',
        b'{"v":1,"term":5,"boot":1,"seq":1,"seen":1,"do":"seek","toward":"upper","at_most":100,"pps":1,"ramp":1}',
    ),
}


def target(name: str) -> Callable[[bytes], None]:
    """Return the function of a door."""
    if name == "message":
        return Doors().message
    if name == "page":
        return Page()
    if name == "journal":
        return JournalFiles()
    return {"settings": settings, "events": events, "board": board}[name]


def main() -> None:
    """Fuzz one door with what libFuzzer is told."""
    name, *options = sys.argv[1:]
    corpus = Path(tempfile.mkdtemp(prefix="hembar-corpus-"))
    for number, seed in enumerate(CORPUS[name]):
        (corpus / str(number)).write_bytes(seed)
    atheris.Setup([sys.argv[0], *options, "-rss_limit_mb=1024", "-timeout=20", str(corpus)], target(name))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
