"""The hand reference: near the limit, awake, jogged by a person, confirmed."""

from __future__ import annotations

from bridge.core.contract import Do, Then
from bridge.core.events import Approach, Percent, Place, Press
from bridge.core.events import Button as Wall
from bridge.core.outcome import Note
from bridge.core.position.estimate import Grade, Landmark
from tests.small_house import SmallHouse


def study_found() -> SmallHouse:
    """A house whose study has found its switch and hangs half-way."""
    house = SmallHouse()
    house.ask("study", Press(button=Wall.UP))
    house.run(25)
    house.ask("study", Percent(open_pct=50))
    house.run(20)
    assert house.shown("study").position_pct == 50
    return house


def test_it_stops_above_the_lower_limit_by_what_is_not_known_and_stays_awake() -> None:
    house = study_found()
    house.ask("study", Approach(place=Place.LOWER))
    house.run(20)
    shade = house.shade("study")
    assert shade.knowledge.hull.high <= shade.spec.travel.lower_steps
    left_mm = 1800 - house.tube("study").drop_mm
    # Ten millimetres of room and the width of the estimate, and not much more.
    assert 8 <= left_mm <= 10 + 2 * house.shown("study").width_mm + 5
    order = [order for name, order in house.orders if name == "study"][-1]
    assert order.then is Then.STAY
    house.run(60)
    assert Do.SLEEP not in house.dos("study")


def test_after_ten_minutes_without_a_confirmation_the_motor_may_sleep() -> None:
    house = study_found()
    house.ask("study", Approach(place=Place.LOWER))
    house.run(590)
    assert Do.SLEEP not in house.dos("study")
    house.run(30)
    assert house.dos("study")[-1] is Do.SLEEP
    assert house.claim_holds("study")


def test_a_confirmation_pins_the_position_and_lets_the_motor_sleep() -> None:
    house = study_found()
    house.ask("study", Approach(place=Place.LOWER))
    house.run(20)
    jog(house)
    house.confirm("study", Place.LOWER)
    house.run(2)
    shown = house.shown("study")
    assert shown.grade is Grade.REFERENCED
    assert house.claim_holds("study")
    assert house.shade("study").knowledge.meetings[-1].landmark is Landmark.LOWER_BY_HAND
    assert house.shade("study").attended_until_s is None


def jog(house: SmallHouse) -> None:
    """Press `down` at the board until the hem bar is at its mark."""
    board = house.boards["attic-board"]
    left = 1800 - house.tube("study").drop_mm
    for _ in range(400):
        if abs(left) < 1:
            return
        house.hear(board.press(0, "down" if left > 0 else "up", house.now_s))
        house.run(0.1)
        house.hear(board.press(0, "stop", house.now_s))
        house.run(1.0)
        left = 1800 - house.tube("study").drop_mm
    raise AssertionError(f"the mark was not reached: {left} mm left")


def test_a_newer_request_ends_the_wait_at_the_window() -> None:
    house = study_found()
    house.ask("study", Approach(place=Place.LOWER))
    house.run(20)
    house.ask("study", Percent(open_pct=70))
    house.run(20)
    assert house.shown("study").position_pct == 70
    assert house.shade("study").attended_until_s is None


def test_from_unknown_no_limit_is_approached() -> None:
    house = SmallHouse()
    house.ask("landing", Approach(place=Place.LOWER))
    ended: list[Note] = house.said("request.ended")
    assert dict(ended[-1].fields)["fate"] == "refused"
    assert "unknown" in str(dict(ended[-1].fields)["why"])


def test_the_upper_limit_is_approached_from_below() -> None:
    house = study_found()
    house.ask("study", Approach(place=Place.UPPER))
    house.run(20)
    assert 5 <= house.tube("study").drop_mm <= 10 + 2 * house.shown("study").width_mm + 5
