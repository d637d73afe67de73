"""What references tell of a drive: its scale, its slip, and single events. Proposals, never changes.

Scale shows only between references at two different places. References at one place show what was lost
between them; a loss that nothing regular explains is an event, named and left out of both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from math import sqrt
from statistics import median

from bridge.core.position.estimate import Landmark, Meeting
from bridge.core.spec import ShadeSpec

# A repeatability is the half-width of what is possible; spread evenly, its standard deviation is this much.
EVEN = 1 / sqrt(3)
# Common practice: two standard errors, about 95 % of a normal distribution.
ERRORS = 2.0
# Planetary and spur gears of hobby motors have ratios with small denominators (common practice).
DENOMINATOR_MAX = 30
SLIP_PAIRS_MIN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How far the hem bar really goes for what the settings say.

    Attributes:
        factor: True travel divided by reckoned travel; 1 when the settings are right.
        sure: Half-width about it, two standard errors.
        passes: Ways between two places that it rests on.
    """

    factor: float
    sure: float
    passes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """What a move loses, on the average.

    Attributes:
        mm_per_move: At the hem bar; positive when it ends higher than reckoned.
        sure_mm: Half-width about it, two standard errors.
        pairs: Pairs of references that it rests on.
    """

    mm_per_move: float
    sure_mm: float
    pairs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """Something between two references that neither scale nor slip explains: a pull, an obstacle.

    Attributes:
        after: The reference before it.
        before: The reference that showed it.
        off_mm: How far the hem bar was from where it was reckoned; positive when it hung lower.
    """

    after: datetime
    before: datetime
    off_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A setting that the owner may want to change.

    Attributes:
        key: The setting, as in the file.
        value: What to write.
        why: The evidence, in a sentence.
    """

    key: str
    value: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What can be said of one drive.

    Attributes:
        scale: None where it is not observable: references at one place only.
        slip: None with fewer than three pairs of references at one place.
        happenings: In the order of time.
        proposals: What follows for the settings.
    """

    scale: Scale | None
    slip: Slip | None
    happenings: tuple[Happening, ...]
    proposals: tuple[Proposal, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two references of one chain: steps reckoned and counted between them, and what may be amiss."""

    first: Meeting
    last: Meeting

    @property
    def went(self) -> int:
        return self.last.at.middle - self.first.at.middle

    @property
    def counted(self) -> int:
        return self.last.count - self.first.count

    @property
    def moves(self) -> int:
        return max(1, self.last.moves - self.first.moves)

    @property
    def room(self) -> float:
        return (self.first.at.width + self.last.at.width) / 2

    @property
    def slip(self) -> int:
        return self.last.slip - self.first.slip


def learn(spec: ShadeSpec, meetings: Sequence[Meeting]) -> Drift:
    """Return what the references met say of the drive in `spec`.

    Args:
        spec: The shade, as its settings were when these steps were counted.
        meetings: The oldest first.
    """
    across = _across(spec, meetings)
    scale = _scale(across)
    factor = 1.0 if scale is None else scale.factor
    same = _same(meetings)
    odd = [pair for pair in same if _is_odd(pair)]
    odd += [pair for pair in across if scale is not None and _is_odd_way(pair, scale)]
    slip = _slip(spec, [pair for pair in same if pair not in odd])
    return Drift(
        scale=scale,
        slip=slip,
        happenings=_happenings(spec, odd, factor),
        proposals=tuple(_proposals(spec, scale, slip)),
    )


def _across(spec: ShadeSpec, meetings: Sequence[Meeting]) -> list[_Pair]:
    """Return the ways between neighbouring references at places a turn apart or more."""
    turn = spec.travel.drive.pulses_per_turn
    pairs = [_Pair(first=first, last=last) for first, last in pairwise(meetings) if first.chain == last.chain]
    return [pair for pair in pairs if abs(pair.went) >= turn and pair.counted * pair.went > 0]


def _same(meetings: Sequence[Meeting]) -> list[_Pair]:
    """Return each reference with the last one before it at the same place, in one chain."""
    last: dict[tuple[int, Landmark], Meeting] = {}
    pairs = []
    for meeting in meetings:
        key = (meeting.chain, meeting.landmark)
        if key in last:
            pairs.append(_Pair(first=last[key], last=meeting))
        last[key] = meeting
    return pairs


def _scale(ways: Sequence[_Pair]) -> Scale | None:
    """Return the factor that fits the ways best, those far from the median left out."""
    if not ways:
        return None
    middle = median(pair.went / pair.counted for pair in ways)
    good = [
        pair
        for pair in ways
        if abs(pair.went / pair.counted - middle) * abs(pair.counted) <= 3 * _noise(pair)
    ]
    if not good:
        return None
    counted = sum(pair.counted**2 for pair in good)
    factor = sum(pair.went * pair.counted for pair in good) / counted
    return Scale(factor=factor, sure=ERRORS * sqrt(_variance(good)) / counted, passes=len(good))


def _variance(ways: Sequence[_Pair]) -> float:
    """Return the variance of the sum; a reference that ends one way and begins the next errs in both."""
    weights: dict[datetime, float] = {}
    variance = 0.0
    for pair in ways:
        variance += (EVEN * pair.slip * pair.counted) ** 2
        for meeting in (pair.first, pair.last):
            weights[meeting.utc] = weights.get(meeting.utc, 0.0) + abs(pair.counted)
    widths = {each.utc: each.at.width for pair in ways for each in (pair.first, pair.last)}
    return variance + sum((weight * EVEN * widths[utc] / 2) ** 2 for utc, weight in weights.items())


def _noise(pair: _Pair) -> float:
    """Return one standard deviation of a way in steps: repeatabilities, and slip within its allowance."""
    return EVEN * sqrt(pair.first.at.width**2 / 4 + pair.last.at.width**2 / 4 + pair.slip**2)


def _is_odd(pair: _Pair) -> bool:
    """Say whether more was lost between two references at one place than repeatability and slip allow."""
    return abs(pair.counted - pair.went) > pair.room + 2 * pair.slip


def _is_odd_way(pair: _Pair, scale: Scale) -> bool:
    lost = pair.counted - pair.went / scale.factor
    return abs(lost) > pair.room + 2 * pair.slip + scale.sure * abs(pair.counted)


def _slip(spec: ShadeSpec, pairs: Sequence[_Pair]) -> Slip | None:
    if len(pairs) < SLIP_PAIRS_MIN:
        return None
    moves = sum(pair.moves for pair in pairs)
    # What lies between the first and the last reference is known twice only; in between it cancels out.
    lost = sum(pair.counted - pair.went for pair in pairs)
    ends = (pairs[0].first, pairs[-1].last)
    room = EVEN * sqrt(sum((each.at.width / 2) ** 2 for each in ends))
    mm = _mm_a_step(spec, pairs[-1].last)
    return Slip(mm_per_move=lost / moves * mm, sure_mm=ERRORS * room / moves * mm, pairs=len(pairs))


def _mm_a_step(spec: ShadeSpec, meeting: Meeting) -> float:
    at = meeting.at.middle
    return spec.travel.mm_between(at - 1, at)


def _happenings(spec: ShadeSpec, odd: Sequence[_Pair], factor: float) -> tuple[Happening, ...]:
    """Return each event once, by the narrowest pair of references that shows it."""
    found: list[Happening] = []
    for pair in sorted(odd, key=lambda each: each.last.utc - each.first.utc):
        began, ended = pair.first.utc, pair.last.utc
        if any(began <= each.after and each.before <= ended for each in found):
            continue
        lost = pair.went / factor - pair.counted
        mm = spec.travel.mm_between(_reachable(spec, pair.last, 0.0), _reachable(spec, pair.last, lost))
        found.append(Happening(after=began, before=ended, off_mm=round(mm, 1)))
    return tuple(sorted(found, key=lambda each: each.after))


def _reachable(spec: ShadeSpec, meeting: Meeting, lower_by: float) -> float:
    """Return the position `lower_by` steps below a reference, on the cloth that there is."""
    return min(meeting.at.middle + lower_by, spec.travel.end_steps)


def _proposals(spec: ShadeSpec, scale: Scale | None, slip: Slip | None) -> list[Proposal]:
    proposals = []
    if scale is not None and scale.passes >= 2 and abs(scale.factor - 1) > scale.sure:
        proposals.append(_gear_proposal(spec, scale))
    if slip is not None and abs(slip.mm_per_move) - slip.sure_mm > spec.slip_per_move_mm:
        value = f"{abs(slip.mm_per_move) + slip.sure_mm:.2f}"
        why = (
            f"{slip.pairs} pairs of references at one place show {slip.mm_per_move:+.2f} mm a move, "
            f"give or take {slip.sure_mm:.2f}; look for a loose coupling first"
        )
        proposals.append(Proposal(key="trust.slip_per_move_mm", value=value, why=why))
    return proposals


def _gear_proposal(spec: ShadeSpec, scale: Scale) -> Proposal:
    gear = spec.travel.drive.gear
    learnt = float(gear) / scale.factor
    why = (
        f"{scale.passes} ways between two references say that the hem bar goes {scale.factor:.4f} of what is "
        f"reckoned, give or take {scale.sure:.4f}"
    )
    # Three standard errors here: a simple ratio a little off is likelier than an odd one right on.
    near = simple_fraction(learnt, sure=1.5 * learnt * scale.sure)
    if near is not None and near != gear:
        return Proposal(
            key="drive.gear", value=f'"{near}"', why=f"{why}; {near} is the simplest ratio that fits"
        )
    return Proposal(
        key="tube_mm, cloth_mm or drop_mm",
        value="measure again",
        why=f"{why}; no simple gear ratio explains it",
    )


def simple_fraction(value: float, *, sure: float) -> Fraction | None:
    """Return the fraction of smallest denominator within `sure` of `value`; None when none is simple."""
    for denominator in range(1, DENOMINATOR_MAX + 1):
        numerator = round(value * denominator)
        if abs(numerator / denominator - value) <= sure:
            return Fraction(numerator, denominator)
    return None
