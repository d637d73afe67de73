"""What a commissioning has learnt so far, what it asks, and what it wants moved: plain values.

Counts are the board's own, growing as cloth is lowered. No place is known before the upper limit has been
found in this boot of the board.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from bridge.core.contract import Do, Sense, Why
from bridge.core.errors import RequestError
from bridge.core.shade.drive import Drive
from bridge.core.shade.roll import Roll
from bridge.core.shade.travel import Travel

Ranges = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weight:
    """What hangs on the tube and what holds it unpowered, for the computed holding map.

    Attributes:
        width_mm: Of the cloth.
        cloth_kgpm2: Of the cloth.
        hem_bar_kg: Of the hem bar.
        detent_nm: Of the motor without current, at its shaft.
    """

    width_mm: float
    cloth_kgpm2: float
    hem_bar_kg: float
    detent_nm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is taken to be so: from the settings at first, then from what was seen.

    Attributes:
        tube_mm: Bare tube.
        cloth_mm: One layer.
        drop_mm: Between the limits.
        wraps_left: At the lower limit.
        pulses_per_rev: Of the driver.
        gear: Motor turns for one tube turn.
        full_steps_per_rev: Of the motor.
        top_pps: Top speed.
        ramp_pps2: Acceleration.
        holds: Ranges of percent open in which the unpowered motor is said to hold.
        overrun_mm: How far the hem bar can rise above the upper limit.
        upper_switch_mm: Drop at which the upper switch closes; None without one.
        two_way: The board reports.
        sleeps: The motor is without current at rest, or can be told to be.
        weight: What the computed holding map needs; None when it is not told.
        reach: Counts between which the board can be sent; None when it has no ends of its own.
    """

    tube_mm: float
    cloth_mm: float
    drop_mm: float
    wraps_left: float
    pulses_per_rev: int
    gear: Fraction
    full_steps_per_rev: int
    top_pps: int
    ramp_pps2: int
    holds: Ranges
    overrun_mm: float
    upper_switch_mm: float | None
    two_way: bool
    sleeps: bool
    weight: Weight | None = None
    reach: tuple[int, int] | None = None

    @property
    def roll(self) -> Roll:
        """The roll as it is taken to be."""
        return Roll(
            tube_mm=self.tube_mm, cloth_mm=self.cloth_mm, drop_mm=self.drop_mm, wraps_left=self.wraps_left
        )

    @property
    def drive(self) -> Drive:
        """The drive as it is taken to be."""
        return Drive(
            pulses_per_rev=self.pulses_per_rev, gear=self.gear, full_steps_per_rev=self.full_steps_per_rev
        )

    @property
    def travel(self) -> Travel:
        """Both."""
        return Travel(roll=self.roll, drive=self.drive)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """How a channel stands now, as it says itself, or as it must be by what it was told.

    Attributes:
        count: Its count; None when it has lost it, or nobody can tell.
        boot: Its boot; 0 on a one-way link.
        awake: Its motor has current.
        why: What ended its last motion.
        senses: What it can feel.
        pulses_per_turn: What it believes; None when it does not say.
    """

    count: int | None
    boot: int = 0
    awake: bool = False
    why: Why = Why.TOLD
    senses: tuple[Sense, ...] = ()
    pulses_per_turn: Fraction | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """What the board is to be told.

    Attributes:
        do: `go`, `seek` (up to the upper switch), `sleep` or `wake`.
        to: Where a `go` leads.
        low: The least count that it, or the button at the board, may lead to.
        high: The greatest.
        pps: Top speed.
        ramp: Acceleration.
        at_most: The bound of a `seek`.
    """

    do: Do
    to: int = 0
    low: int = 0
    high: int = 0
    pps: int = 1
    ramp: int = 1
    at_most: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What a person is asked.

    Attributes:
        key: Names it in a file of answers.
        text: Lines that lead to it.
        hint: What may be answered.
        default: What an empty answer means; None when it must be answered.
    """

    key: str
    text: tuple[str, ...]
    hint: str
    default: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """How far a commissioning has come.

    Attributes:
        facts: What is taken to be so.
        step: The step under way.
        rest: The steps after it.
        boot: The boot in which the counts below were taken.
        upper: The count at the upper mark.
        lower: Steps from the upper mark to the lower one.
        part: Steps from the upper mark to a place between them, and the drop measured there.
        deepest: The greatest count at which the hem bar has hung while somebody looked, in this boot.
        at: Where the question under way takes the shade to be; None where that does not matter.
        downward: The first short move was to lower the shade, not to raise it.
        sent: Turns that the tube was to make in the mark test, by the ratio in the settings.
        ratio: What the mark test says of the gear, when the line did not come back.
        way: Steps of the move that was timed.
        height: The percent open at which holding is being tried.
        heights: Those that are still to be tried.
        tried: Percent open and how many mm it sank there asleep.
        confirmed: The drive has been seen to make whole turns.
        remarks: What is worth telling on the sheet.
    """

    facts: Facts
    step: str
    rest: tuple[str, ...] = ()
    boot: int | None = None
    upper: int | None = None
    lower: int | None = None
    part: tuple[int, float] | None = None
    deepest: int | None = None
    at: int | None = None
    downward: bool = False
    sent: float = 0.0
    ratio: float = 0.0
    way: int = 0
    height: float | None = None
    heights: tuple[float, ...] = ()
    tried: tuple[tuple[float, float], ...] = ()
    confirmed: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What an answer leads to.

    Attributes:
        state: How far it has come.
        motion: What the board is to be told before the next question; None when nothing.
        said: What the person is told.
        stop: Why it ends here, though it is not done; "" when it goes on.
    """

    state: State
    motion: Motion | None = None
    said: tuple[str, ...] = field(default=())
    stop: str = ""


def read_yes(key: str, text: str) -> bool:
    """Return whether an answer is yes.

    Raises:
        RequestError: it is neither yes nor no.
    """
    word = text.strip().lower()
    if word in ("yes", "y"):
        return True
    if word in ("no", "n"):
        return False
    raise RequestError(where=key, problem=f"{text!r} is neither yes nor no", remedy="answer yes or no")


def read_number(key: str, text: str, *, least: float, most: float, unit: str = "") -> float:
    """Return the number in an answer.

    Raises:
        RequestError: it is none, or not from `least` to `most`.
    """
    word = text.strip().removesuffix(unit).strip().replace(",", ".")
    try:
        value = float(word)
    except ValueError:
        value = float("nan")
    if not least <= value <= most:
        raise RequestError(
            where=key,
            problem=f"{text!r} is no number from {least:g} to {most:g}{' ' + unit if unit else ''}",
            remedy="measure again, or answer `undo` if an earlier answer was wrong",
        )
    return value
