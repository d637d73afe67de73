"""What a journal's decisions say of a day's plan, and what is taken where they say nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from bridge.adapters.journal import codec
from bridge.adapters.journal.rows import Content, Row
from bridge.core.errors import LinkError
from bridge.core.events import Ticked
from bridge.core.outcome import Decisions, Field, Level, Note
from bridge.core.plan.day import ShadeDay, shade_day
from bridge.core.sun.daylight import LocalDay, local_day
from bridge.core.surroundings import Restraint
from bridge.core.values import Moment, ShadeId
from bridge.shell.written_plan import Written, as_written, moves, since, written
from tests.scene import shade_spec
from tests.weather import AZORES, WINDOW, choice

LANDING = ShadeId("landing")
SPEC = shade_spec("landing", rules=(choice("sun-depth"), choice("night")), window=WINDOW)
DAY: LocalDay = local_day(date(2026, 6, 1), UTC)
DECIDED: dict[str, Field] = {
    "at_pct": 80,
    "moved": False,
    "next_at": "2026-06-01T12:00:00+00:00",
    "next_pct": 40,
    "next_rule": "sun-depth",
    "later": "2026-06-01T18:00:00+00:00 100\n2026-06-01T21:00:00+00:00 0 night",
}


def reckoned() -> ShadeDay:
    return shade_day(AZORES, SPEC, Restraint(), DAY)


def row(number: int, hour: float, name: str, fields: dict[str, Field], shade: str = "landing") -> Row:
    at = datetime(2026, 6, 1, tzinfo=UTC) + timedelta(hours=hour)
    note = Note(
        name=name, level=Level.DEBUG, shade=ShadeId(shade), text="x", fields=tuple(sorted(fields.items()))
    )
    return Row(
        id=number,
        utc=at.isoformat(),
        event=codec.encode_event(Ticked(at=Moment(utc=at, mono_s=0.0))),
        decisions=codec.encode_decisions(Decisions(notes=(note,))),
        seal=b"",
    )


def read(*rows: Row) -> Written:
    return written(Content(rows=rows), [LANDING], DAY)[LANDING]


def at_hour(day: ShadeDay, hour: float) -> float:
    return float(day.planned[round(hour * 60)])


def test_a_plan_counts_until_the_next_and_the_newest_for_what_comes() -> None:
    later = {**DECIDED, "at_pct": 70, "moved": True, "next_at": "2026-06-01T15:00:00+00:00", "next_pct": 20}
    mine = read(row(1, 6, "rule.shade.decided", DECIDED), row(2, 13, "rule.shade.decided", later))
    day = as_written(reckoned(), SPEC, mine)
    assert [at_hour(day, hour) for hour in (6, 11.9, 12, 12.9, 13, 15, 18, 21)] == [
        80, 80, 40, 40, 70, 20, 100, 0,
    ]  # fmt: skip
    assert at_hour(day, 5.9) == at_hour(reckoned(), 5.9), "before, the day keeps what is reckoned"
    assert since(mine, DAY) == datetime(2026, 6, 1, 6, tzinfo=UTC)
    told = [(at.hour, one, to) for at, one, to in moves(day, mine, DAY)]
    assert told == [(13, 40, 70), (15, 70, 20), (18, 20, 100), (21, 100, 0)]
    assert day.far_m[720:].max() <= reckoned().far_up_m.max()


def test_the_plan_of_the_evening_before_counts_from_midnight_on() -> None:
    older = {**DECIDED, "at_pct": 10}
    mine = read(
        row(1, -9, "rule.shade.decided", older),
        row(2, -3, "rule.shade.decided", DECIDED),
        row(3, 2, "else", {}),
    )
    assert len(mine.plans) == 1
    assert since(mine, DAY) == DAY.start_utc
    assert at_hour(as_written(reckoned(), SPEC, mine), 0) == 80


def test_of_a_day_without_any_event_nothing_is_said() -> None:
    mine = read(row(1, -3, "rule.shade.decided", DECIDED), row(2, 25, "rule.shade.decided", DECIDED))
    assert mine == Written()
    assert since(mine, DAY) is None
    kept = as_written(reckoned(), SPEC, mine)
    assert np.array_equal(kept.planned, reckoned().planned)
    assert moves(kept, mine, DAY), "those that are reckoned"


def test_decisions_of_an_earlier_program_and_of_other_shades_are_passed_over() -> None:
    old: dict[str, Field] = {"next_at": "", "next_pct": 0, "next_rule": ""}
    assert read(row(1, 6, "rule.shade.decided", old)).plans == []
    assert read(row(1, 6, "rule.shade.decided", DECIDED, shade="study")).plans == []


def test_what_the_rules_would_ask_is_what_was_foreseen_then() -> None:
    fields: dict[str, Field] = {
        "begins": "2026-06-01T06:00:00+00:00",
        "step_s": 600.0,
        "spells": "6 0 100\n12 0 33 sun-depth\n6 20 60 schedule",
    }
    day = as_written(reckoned(), SPEC, read(row(1, 6.05, "rule.shade.foreseen", fields)))
    asked = [(day.asked.low_pct[60 * hour], day.asked.high_pct[60 * hour]) for hour in (7, 8, 9)]
    assert asked == [(0, 33), (0, 33), (20, 60)]
    assert day.asked.high_pct[6 * 60 + 30] == 100
    plain = reckoned().asked
    assert day.asked.high_pct[11 * 60] == plain.high_pct[11 * 60], (
        "past its end the day keeps what is reckoned"
    )
    assert day.asked.high_pct[6 * 60] == plain.high_pct[6 * 60]


def test_a_row_of_another_version_is_refused_with_its_number() -> None:
    bad = replace(row(7, 6, "rule.shade.decided", DECIDED), decisions=b'{"name":"rule.shade.decided"')
    with pytest.raises(LinkError, match="not readable by this version") as refused:
        read(bad)
    assert refused.value.where == "journal, event 7"
