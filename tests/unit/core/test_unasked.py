from typing import Any

from bridge.core.contract import Link, Why
from bridge.core.events import Button, Place
from tests.unit.core.bench import SPEC, Bench


def confirmed() -> Bench:
    """A shade with a button, confirmed at its upper limit, whose board has had no bounds yet."""
    bench = Bench(local_button=True).in_conversation()
    bench.confirm(Place.UPPER)
    return bench


def test_unheard_reports_without_bounds_may_hide_a_way_up_to_the_stop_and_back() -> None:
    bench = confirmed()
    before = bench.shade.knowledge
    bench.n += 3
    bench.report(count=0, to=0, why=Why.BUTTON)
    after = bench.shade.knowledge
    assert before.base is not None
    assert after.base is not None
    assert after.base.width == before.base.width
    bench.n += 3
    bench.report(count=5, to=5, why=Why.BUTTON)
    known = bench.shade.knowledge
    # Three reports at half a second and 3200 steps a second, half of it up, less what is free above.
    assert known.hull.high > 3 * 0.5 * 3200 / 2 + SPEC.ends.low


def test_reports_that_were_heard_and_not_believed_count_as_missed() -> None:
    """The bridge restarts; its session hands over what the board said meanwhile, none of it an answer."""
    bench = confirmed()
    bench.start()
    bench.reach()
    for _ in range(3):
        bench.report(count=5, to=5, why=Why.BUTTON)
    bench.tick(0.0)
    bench.answer(count=5)
    known = bench.shade.knowledge
    assert known.hull.high > 3 * 0.5 * 3200 / 2 + SPEC.ends.low


def gap(reports: int) -> float:
    """How much wider a shade at the same count is after so many reports that nobody believed."""
    bench = confirmed()
    before = bench.shade.knowledge.hull.width
    bench.start()
    bench.reach()
    for _ in range(reports):
        bench.report(count=0, to=0, why=Why.TOLD, seq=bench.shade.began_seq)
    bench.tick(0.0)
    bench.answer(count=0)
    return bench.shade.knowledge.hull.width - before


def test_a_way_there_and_back_takes_three_reports_and_fewer_have_moved_nothing() -> None:
    assert gap(2) == gap(0)
    assert gap(3) > gap(2)


def met_after_silence(**spec: Any) -> int:
    """How wide a switch is met by a seek whose board has been out of hearing meanwhile, in steps."""
    bench = Bench(ramp_pps2=2000, **spec).in_conversation()
    bench.press(Button.UP)
    seek = bench.order
    bench.report(count=-500, to=-90_000, moving=True, why=Why.STARTED, seq=seek.seq)
    bench.link(Link.LOST)
    bench.link()
    bench.answer(count=-8_000, to=-9_000, moving=True, seq=bench.shade.channel.asked_seq)
    bench.report(count=-9_000, to=-9_000, why=Why.UPPER_SWITCH)
    assert "shade.reference.met" in bench.noted
    return bench.shade.knowledge.meetings[-1].at.width


def test_a_switch_that_a_hand_may_have_raised_it_to_unheard_was_perhaps_met_at_full_speed() -> None:
    """Faster than a seek it brakes past the switch up to the stop, and comes back by too much."""
    assert met_after_silence(local_button=True) > met_after_silence() + 1000
