"""Many worlds, one per seed, over the processors; every figure adds up and every failure keeps its seed."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from statistics import median
from time import monotonic, process_time

from bridge.simulate.world.escape import Escape
from bridge.simulate.world.figures import Figures
from bridge.simulate.world.world import Options, World

# Seeds handed to a process at once: enough to hide the hand-over, few enough to spread well.
CHUNK = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """One seed that broke an invariant, or the program.

    Attributes:
        seed: Which.
        invariant: Its name; `crash` when the core raised.
        story: What was seen.
        at_s: Simulated time.
        trace: The last lines of its story, when they were asked for.
    """

    seed: int
    invariant: str
    story: str
    at_s: float
    trace: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """What one or more seeds have given."""

    seeds: int
    figures: Figures
    failures: tuple[Failure, ...]
    cpu_s: float


def run_seed(options: Options, *, lines: int = 0) -> Share:
    """Live through one seed; a failure is an answer, not an exception."""
    began = process_time()
    world = World(options)
    failures: tuple[Failure, ...] = ()
    try:
        world.run()
    except Escape as escape:
        failures = (_failure(world, escape.invariant, escape.story, lines),)
    except Exception as error:  # noqa: BLE001 - whatever breaks in the core is a finding with a seed
        failures = (_failure(world, "crash", f"{type(error).__name__}: {error}", lines),)
    return Share(seeds=1, figures=world.figures, failures=failures, cpu_s=process_time() - began)


def _failure(world: World, invariant: str, story: str, lines: int) -> Failure:
    told = tuple((world.trace or [])[-lines:]) if lines else ()
    world.figures.shade_days = world.now / 86400 * len(world.where)
    return Failure(seed=world.options.seed, invariant=invariant, story=story, at_s=world.now, trace=told)


def run_chunk(options: tuple[Options, ...], lines: int) -> Share:
    """Live through several seeds and add them up."""
    return added([run_seed(each, lines=lines) for each in options])


def added(shares: list[Share]) -> Share:
    """Return the sum of all shares, failures in the order of their seeds."""
    figures = Figures()
    for share in shares:
        figures.add(share.figures)
    failures = sorted((each for share in shares for each in share.failures), key=lambda each: each.seed)
    return Share(
        seeds=sum(share.seeds for share in shares),
        figures=figures,
        failures=tuple(failures),
        cpu_s=sum(share.cpu_s for share in shares),
    )


def run_all(
    all_options: list[Options], *, jobs: int, lines: int = 0, until_s: float = float("inf")
) -> Iterator[Share]:
    """Yield each share as it is done, on `jobs` processes; begin none after `until_s`, monotonic seconds."""
    chunks = [tuple(all_options[at : at + CHUNK]) for at in range(0, len(all_options), CHUNK)]
    if jobs == 1:
        yield from (run_chunk(chunk, lines) for chunk in chunks if monotonic() < until_s)
        return
    with ProcessPoolExecutor(max_workers=jobs) as pool:
        left, waiting = iter(chunks), set[Future[Share]]()
        while True:
            while len(waiting) < 2 * jobs and monotonic() < until_s and (chunk := next(left, ())):
                waiting.add(pool.submit(run_chunk, chunk, lines))
            if not waiting:
                return
            done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            yield from (each.result() for each in done)


@dataclass(frozen=True, slots=True, kw_only=True)
class Width:
    """How wide the claims were at a time, and how far the truth really was from their middle.

    Attributes:
        day: Which day of the life of the house.
        link: `contract` or `one-way`.
        sensed: With an upper switch or stall, or without.
        samples: How many claims.
        median_mm: Of the width.
        error_mm: Median of the true distance from the middle.
        ratio: Width to error.
    """

    day: int
    link: str
    sensed: bool
    samples: int
    median_mm: float
    error_mm: float

    @property
    def ratio(self) -> float:
        """Say how many times the width is the true error, at the medians; infinite without any error."""
        return self.median_mm / self.error_mm if self.error_mm else float("inf")


def widths(figures: Figures, days: tuple[int, ...] = (1, 30)) -> list[Width]:
    """Return the widths on those days that were reached."""
    found = []
    for day in days:
        for link, sensed in (("contract", True), ("contract", False), ("one-way", False)):
            mine = [(each[3], each[4]) for each in figures.widths if each[:3] == (day, link, sensed)]
            if mine:
                found.append(
                    Width(
                        day=day,
                        link=link,
                        sensed=sensed,
                        samples=len(mine),
                        median_mm=median(width for width, _ in mine),
                        error_mm=median(off for _, off in mine),
                    )
                )
    return found
