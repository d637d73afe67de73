from dataclasses import replace

from bridge.core.reckoning import Reckoning, Run, rests_elsewhere
from bridge.core.values import Interval


def at(low: int, high: int | None = None) -> Interval:
    return Interval(low=low, high=low if high is None else high)


GOING = Reckoning(
    counts=at(0),
    run=Run(
        began=at(0), guess=0, to=900, rests=at(900), request=1, sent_s=0.0, heard_s=None, lasts_s=9.0,
        looked_s=0.0, steady=True,
    ),
)  # fmt: skip


def halted(rests: Interval) -> Reckoning:
    assert GOING.run is not None
    return replace(GOING, run=replace(GOING.run, rests=rests))


def test_a_board_that_halts_or_turns_on_its_way_rests_elsewhere() -> None:
    assert rests_elsewhere(Reckoning(counts=at(0)), GOING)
    assert rests_elsewhere(GOING, halted(at(300, 420)))
    assert rests_elsewhere(GOING, halted(at(500)))
    assert rests_elsewhere(GOING, replace(GOING, run=None, counts=None)), "nobody knows any more"


def test_a_board_that_arrives_or_is_known_better_rests_where_it_was_going_to() -> None:
    assert not rests_elsewhere(GOING, GOING)
    assert not rests_elsewhere(GOING, replace(GOING, run=None, counts=at(900)))
    assert not rests_elsewhere(halted(at(300, 420)), Reckoning(counts=at(310)))


def test_from_nothing_known_nothing_is_lost() -> None:
    assert not rests_elsewhere(Reckoning(), GOING)
    assert not rests_elsewhere(Reckoning(), Reckoning())
