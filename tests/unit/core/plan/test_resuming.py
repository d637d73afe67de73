"""What comes after a hold: the rules take the shade up again, or it stays until the plan says otherwise."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from bridge.core.plan.foreseen import Foresight, NextMove, Spell
from bridge.core.plan.resuming import after_hold

NOON = datetime(2026, 6, 21, 12, tzinfo=UTC)


def foresight(*spells: tuple[int, float, float, str]) -> Foresight:
    """Return what will be asked: hours, lowest and highest percent open, by which rule."""
    told = [
        Spell(steps=hours * 6, low_pct=low, high_pct=high, rule=rule) for hours, low, high, rule in spells
    ]
    return Foresight(begins=NOON, made_at=NOON, step_s=600.0, taken=(), spells=tuple(told))


def after(held: Foresight, hours: float, place_pct: int) -> NextMove | None:
    ends = NOON + timedelta(hours=hours)
    return after_hold(held, ends, place_pct=place_pct, smallest_pct=5.0, worth_s=1200.0)


def test_a_hold_that_ends_where_a_rule_wants_it_lower_ends_with_a_move() -> None:
    night = foresight((4, 0, 100, ""), (8, 0, 0, "night"), (12, 0, 100, ""))
    assert after(night, 6, 100) == NextMove(at=NOON + timedelta(hours=6), to_pct=0, rule="night")


def test_a_hold_that_ends_where_nothing_is_asked_leaves_the_next_move_to_the_plan() -> None:
    night = foresight((4, 0, 100, ""), (8, 0, 0, "night"), (12, 0, 100, ""))
    assert after(night, 2, 100) == NextMove(at=NOON + timedelta(hours=4), to_pct=0, rule="night")


def test_a_hold_that_ends_where_a_rule_wants_it_higher_ends_with_a_move_up() -> None:
    wind = foresight((10, 60, 100, "warmth"), (14, 0, 100, ""))
    said = after(wind, 1, 20)
    assert said is not None
    assert (said.at, said.rule) == (NOON + timedelta(hours=1), "")
    assert said.to_pct >= 60


def test_nothing_is_said_of_a_time_that_is_not_foreseen() -> None:
    assert after(foresight((4, 0, 0, "night")), 5, 100) is None
