"""A storm of messages on the bridge's own topics: what a person's request takes, what becomes of the rest.

Rubbish requests, rubbish reports and sound reports of boards that nobody has, from a process of its own. A
person asks now and then; in the end somebody presses `stop` while it blows four times as hard. A sound report
of a board that is in the house is no rubbish: only an access list keeps a stranger from writing it.
"""

from __future__ import annotations

import contextlib
import random
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from itertools import cycle
from math import inf
from pathlib import Path

from bridge.adapters.broker.embedded import Embedded
from bridge.core.errors import LinkError
from bridge.shell.bench import machine, meter
from bridge.shell.bench.house import bridge, places
from bridge.shell.bench.lanes import Bridged

SHADES = 20
NAME = "bench-storm"
# As many at once as a client that wants to do harm writes in one packet of the network.
BURST = 50
BLAST = 20_000
ASK_APART_S = 0.3
STOP_WITHIN_S = 10.0
PRESSES = 5

# No two of one shade alike one after the other: to stay where it is it needs no order.
_PERCENTS = cycle(range(20, 81, 3))

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stormed:
    """What was measured.

    Attributes:
        rate: Messages a second that were written.
        calm_s: What requests took without the storm.
        storm_s: What they took in it.
        stop_s: From `stop` to the order, at its worst.
        calm_mb: The bridge's memory before.
        storm_mb: The most that it took in the storm.
        blast_mb: The most that it took at its worst.
        told: Log lines about what was dropped or refused.
    """

    rate: float
    calm_s: list[float]
    storm_s: list[float]
    stop_s: list[float]
    calm_mb: float
    storm_mb: float
    blast_mb: float
    told: int


def run(rate: int, seconds: float, say: Say) -> Stormed:
    """Measure a house of twenty shades under `rate` messages a second.

    Raises:
        LinkError: no broker, or something did not answer.
    """
    with (
        tempfile.TemporaryDirectory(prefix="hembar-storm-") as place,
        Embedded() as broker,
        meter.opened(broker.host, broker.port) as client,
        bridge(
            NAME, SHADES, Path(place), state=Path(place) / "s", host=broker.host, port=broker.port
        ) as running,
    ):
        ours = Bridged("bridge", client, running)
        ours.power_up()
        say("without a storm")
        calm_s = [_ask(ours, lane) for lane in _lanes(seconds / 4)]
        calm_mb = machine.resident_mb(running.pid)
        say(f"{rate} messages a second")
        storm_mb, storm_s = calm_mb, []
        with storm(broker, rate) as written:
            began_s = time.perf_counter()
            client.rest(1.0)
            for lane in _lanes(seconds):
                storm_s.append(_ask(ours, lane))
                storm_mb = max(storm_mb, machine.resident_mb(running.pid))
            taken = written() / (time.perf_counter() - began_s)
        say(f"{BLAST} messages a second")
        for lane in range(PRESSES):
            _send_on_its_way(ours, lane)
        with storm(broker, BLAST):
            client.rest(2.0)
            stop_s = [_press(ours, running.name, lane) for lane in range(PRESSES)]
            blast_mb = machine.resident_mb(running.pid)
        log = (Path(place) / f"{NAME}.log").read_text(encoding="utf-8", errors="replace")
        told = sum(" shed" in line or "refused" in line or "dropped" in line for line in log.splitlines())
    return Stormed(
        rate=taken,
        calm_s=calm_s,
        storm_s=storm_s,
        stop_s=stop_s,
        calm_mb=calm_mb,
        storm_mb=storm_mb,
        blast_mb=blast_mb,
        told=told,
    )


def document(found: Stormed) -> dict[str, object]:
    """Return the figures for programs."""
    return asdict(found)


def table(found: Stormed) -> str:
    """Return the figures for people."""
    rows = [
        ("messages a second", f"{found.rate:.0f}"),
        ("a request without them, p50 / p99", _pair_ms(found.calm_s)),
        ("a request among them, p50 / p99", _pair_ms(found.storm_s)),
        (f"stop at {BLAST} a second, p50 / worst", f"{_ms(found.stop_s, 0.5)} / {_ms(found.stop_s, 1)} ms"),
        ("memory before / among / at its worst", "{:.0f} / {:.0f} / {:.0f} MB".format(*_memory(found))),
        ("lines in the log about it", str(found.told)),
    ]
    return "\n".join(f"{what:<42} {value}" for what, value in rows)


def _memory(found: Stormed) -> tuple[float, float, float]:
    return found.calm_mb, found.storm_mb, found.blast_mb


def _pair_ms(took_s: list[float]) -> str:
    return f"{_ms(took_s, 0.5)} / {_ms(took_s, 0.99)} ms of {len(took_s)}"


def _ms(took_s: list[float], share: float) -> str:
    return f"{1000 * sorted(took_s)[min(len(took_s) - 1, int(share * len(took_s)))]:.1f}"


def _lanes(seconds: float) -> Iterator[int]:
    """Give one shade after another until so many seconds have passed."""
    until_s, lane = time.perf_counter() + seconds, 0
    while time.perf_counter() < until_s:
        yield lane
        lane = (lane + 1) % SHADES


def _ask(ours: Bridged, lane: int) -> float:
    ours.answered.clear()
    began_s = ours.ask(lane, next(_PERCENTS))
    ours.meter.until(lambda: lane in ours.answered, "an order")
    took_s = ours.answered[lane] - began_s
    ours.arrive()
    ours.meter.rest(ASK_APART_S)
    return took_s


def _send_on_its_way(ours: Bridged, lane: int) -> None:
    ours.answered.clear()
    ours.ask(lane, next(_PERCENTS))
    ours.meter.until(lambda: lane in ours.answered, "an order")


def _press(ours: Bridged, name: str, lane: int) -> float:
    """Press stop at a shade on its way; return what the order took, infinite when none came."""
    began_s = ours.meter.say(f"homie/5/{name}-{places(SHADES)[lane].shade}/opening/button/set", b"stop")
    with contextlib.suppress(LinkError):
        ours.meter.until(lambda: lane in ours.stopped, "a stop", within_s=STOP_WITHIN_S)
    return ours.stopped.get(lane, inf) - began_s


@contextmanager
def storm(broker: Embedded, rate: int) -> Iterator[Callable[[], int]]:
    """Let a process write rubbish; give how many messages it has written so far."""
    words = [sys.executable, "-m", __name__, broker.host, str(broker.port_v3), str(rate)]
    process = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, bufsize=0)  # noqa: S603
    assert process.stdout is not None
    lines = process.stdout

    def written() -> int:
        process.terminate()
        said = lines.read().split()
        return int(said[-1]) if said else 0

    try:
        yield written
    finally:
        process.terminate()
        process.wait(10)


def _messages() -> list[bytes]:
    """Return what the storm writes, as packets of MQTT 3.1.1 at QoS 0 (OASIS, 2014, 3.3)."""
    device = f"homie/5/{NAME}-s00"
    report = (
        b'{"v":1,"boot":7,"n":%d,"count":0,"kept":true,"moving":false,"awake":false,"why":"told","seq":1}'
    )
    found = []
    for number in range(SHADES):
        found.append(_packet(f"{device}{number:02d}/opening/position/set", b"101"))
        found.append(_packet(f"{device}{number:02d}/opening/position/set", b"rubbish"))
        found.append(_packet(f"{device}{number:02d}/opening/nudge/set", b"1e9"))
        found.append(_packet(f"{NAME}-boards/b{number // 4:04d}/{number % 4}/report", b"[" * number))
        found.append(_packet(f"{NAME}-boards/b{number // 4:04d}/{number % 4}/report", b'{"v":1'))
        found.append(_packet(f"{NAME}-boards/nobody-{number}/0/report", report % number))
    return found


def _packet(topic: str, payload: bytes) -> bytes:
    name = topic.encode()
    body = len(name).to_bytes(2, "big") + name + payload
    length, encoded = len(body), b""
    while True:
        length, seven = divmod(length, 128)
        encoded += bytes([seven | (128 if length else 0)])
        if not length:
            return b"\x30" + encoded + body


def _write(host: str, port: int, rate: int) -> None:
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    messages = _messages()
    chance = random.Random(1)  # noqa: S311  # the same storm each time
    bursts = [b"".join(chance.choices(messages, k=BURST)) for _ in range(200)]
    name = b"storm"
    greeting = b"\x00\x04MQTT\x04\x02\x00\x00" + len(name).to_bytes(2, "big") + name
    with socket.create_connection((host, port)) as sock:
        sock.sendall(bytes([0x10, len(greeting)]) + greeting)
        if sock.recv(4) != b"\x20\x02\x00\x00":
            raise LinkError(where=f"broker {host}:{port}", problem="it refused the storm", remedy="try again")
        began_s, count = time.perf_counter(), 0
        try:
            while True:
                sock.sendall(bursts[count // BURST % len(bursts)])
                count += BURST
                ahead_s = count / rate - (time.perf_counter() - began_s)
                if ahead_s > 0:
                    time.sleep(ahead_s)
        finally:
            sys.stdout.write(f"{count}\n")


if __name__ == "__main__":
    _write(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
