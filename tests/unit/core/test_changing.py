"""Settings that change while the bridge runs, and bridges that compete: what the house makes of it."""

from __future__ import annotations

import pytest

from bridge.core.contract import Do, Why
from bridge.core.events import BrokerLost, Button, ClaimHeard, Percent, Press, SettingsChanged
from bridge.core.outlook import shade_outlook
from bridge.core.position.allowance import physical_range
from bridge.core.position.estimate import Grade
from bridge.core.spec import HouseSpec
from tests.core_house import KITCHEN, LANDING, STUDY, Talk, demo_spec

UP = Press(button=Button.UP)


def settled() -> Talk:
    talk = Talk()
    talk.start()
    talk.link()
    talk.answer()
    talk.find_top(UP)
    talk.go(60)
    return talk


def change(talk: Talk, spec: HouseSpec) -> None:
    talk.spec = spec
    talk.tell(SettingsChanged(at=talk.at(), spec=spec))


def motions(talk: Talk, since: int) -> list[Do]:
    return [each.do for each in talk.orders[since:] if each.do is not Do.TELL]


def ends(talk: Talk) -> list[object]:
    return [dict(note.fields)["fate"] for note in talk.noted("request.ended") if note.shade == talk.name]


def test_the_same_settings_again_change_nothing() -> None:
    talk = settled()
    before = talk.house
    change(talk, demo_spec())
    assert talk.house is before


def test_new_trust_counts_at_once_and_the_conversation_goes_on() -> None:
    talk = settled()
    assert talk.house is not None
    channel, known, term, sent = talk.shade.channel, talk.shade.knowledge, talk.house.term, len(talk.orders)
    change(talk, demo_spec(("slip_per_move_mm = 0.1", "slip_per_move_mm = 0.3")))
    assert talk.shade.spec.slip_per_move_mm == 0.3
    assert (talk.shade.channel, talk.shade.knowledge) == (channel, known)
    assert talk.house.term == term
    assert len(talk.orders) == sent


@pytest.mark.parametrize("text", [("drop_mm = 1800", "drop_mm = 1440"), ('gear = "57/11"', 'gear = "26/5"')])
def test_another_geometry_keeps_the_millimetres_and_links_the_count_anew(text: tuple[str, str]) -> None:
    talk = settled()
    old, sent = talk.shade, len(talk.orders)
    change(talk, demo_spec(text))
    new = talk.shade
    for end in ("low", "high"):
        before = old.spec.travel.drop_at_steps(getattr(old.knowledge.hull, end))
        assert abs(new.spec.travel.drop_at_steps(getattr(new.knowledge.hull, end)) - before) < 0.1
    assert new.knowledge.drive == new.spec.travel.version
    assert new.knowledge.base is not None
    assert new.knowledge.base.shifted(talk.count).contains(new.knowledge.hull)
    assert motions(talk, sent) == []


def test_what_was_unknown_stays_unknown_where_the_mechanical_range_grows() -> None:
    talk = Talk()
    talk.start()
    change(talk, demo_spec(("overrun_mm = 26", "overrun_mm = 60")))
    assert talk.house is not None
    assert talk.shade.knowledge.hull.contains(physical_range(talk.shade.spec))
    assert shade_outlook(talk.house, talk.shade).grade is Grade.UNKNOWN


def test_a_request_in_old_steps_ends_once_and_its_motion_is_halted() -> None:
    talk = settled()
    talk.ask(Percent(open_pct=10))
    order = talk.orders[-1]
    talk.seq = order.seq
    talk.report(why=Why.STARTED, moving=True, awake=True, to=order.to)
    sent, before = len(talk.orders), len(ends(talk))
    change(talk, demo_spec(("drop_mm = 1800", "drop_mm = 1700")))
    assert motions(talk, sent) == [Do.STOP]
    assert ends(talk)[before:] == ["failed"]
    talk.obey(Why.STOPPED)
    assert ends(talk)[before:] == ["failed"]


def test_a_request_under_way_survives_what_does_not_concern_its_steps() -> None:
    talk = settled()
    talk.ask(Percent(open_pct=10))
    before = len(ends(talk))
    change(talk, demo_spec(('name = "Study"', 'name = "Library"')))
    talk.obey()
    assert ends(talk)[before:] == ["reached"]


def test_shades_come_and_go() -> None:
    talk = settled()
    assert talk.house is not None
    full = talk.spec
    less = demo_spec()
    without = HouseSpec(name=less.name, shades=less.shades[:2], board_wait_s=less.board_wait_s)
    change(talk, without)
    assert list(talk.house.shades) == [STUDY, KITCHEN]
    change(talk, full)
    assert list(talk.house.shades) == [STUDY, KITCHEN, LANDING]
    assert shade_outlook(talk.house, talk.house.shades[LANDING]).grade is Grade.UNKNOWN


def test_a_shade_that_moves_while_it_is_removed_is_halted_and_its_request_ends() -> None:
    talk = settled()
    talk.ask(Percent(open_pct=10))
    sent, before = len(talk.orders), len(ends(talk))
    spec = demo_spec()
    talk.tell(SettingsChanged(at=talk.at(), spec=HouseSpec(name=spec.name, shades=spec.shades[1:])))
    assert motions(talk, sent) == [Do.STOP]
    assert ends(talk)[before:] == ["failed"]


def test_another_channel_is_another_board_whose_count_means_nothing_yet() -> None:
    talk = settled()
    hull = talk.shade.knowledge.hull
    change(talk, demo_spec(('board = "attic-board"\nchannel = 0', 'board = "attic-board"\nchannel = 5')))
    assert talk.shade.knowledge.base is None
    assert talk.shade.knowledge.hull == hull
    assert not talk.shade.channel.answered


# Who is in charge.


def claim(talk: Talk, term: int, *, retained: bool = False, ahead: bool = False) -> None:
    talk.tell(ClaimHeard(at=talk.at(), term=term, retained=retained, ahead=ahead))


def in_charge(talk: Talk) -> bool:
    assert talk.house is not None
    return not talk.house.stood_down


def term(talk: Talk) -> int:
    assert talk.house is not None
    return talk.house.term


def test_the_term_rises_at_every_start_and_a_claim_from_before_it_is_outbid() -> None:
    talk = settled()
    terms = [term(talk)]
    talk.start()
    terms.append(term(talk))
    claim(talk, 40, retained=True)
    terms.append(term(talk))
    assert terms == [1, 2, 41]
    assert in_charge(talk)
    assert talk.last.grew, "a term that is claimed is on the disk first"


def test_a_live_higher_claim_makes_it_stand_down_and_order_nothing_more() -> None:
    talk = settled()
    talk.ask(Percent(open_pct=10))
    before, sent = len(ends(talk)), len(talk.orders)
    claim(talk, 2)
    assert not in_charge(talk)
    assert ends(talk)[before:] == ["superseded"]
    talk.ask(Percent(open_pct=30))
    talk.ask(UP)
    assert ends(talk)[before:] == ["superseded", "refused", "refused"]
    assert talk.orders[sent:] == []


def test_a_lower_claim_is_no_reason_and_in_a_tie_one_of_the_two_stands_down() -> None:
    talk = settled()
    claim(talk, term(talk) - 1)
    claim(talk, term(talk))
    assert in_charge(talk)
    claim(talk, term(talk), ahead=True)
    assert not in_charge(talk)


def test_a_higher_claim_found_after_a_broken_session_is_obeyed() -> None:
    talk = settled()
    talk.tell(BrokerLost(at=talk.at()))
    talk.reach()
    claim(talk, term(talk) + 1, retained=True)
    assert not in_charge(talk)


def test_only_a_restart_takes_over_again() -> None:
    talk = settled()
    claim(talk, 5)
    talk.tell(BrokerLost(at=talk.at()))
    talk.reach()
    claim(talk, 3, retained=True)
    assert not in_charge(talk)
    talk.start()
    claim(talk, 5, retained=True)
    assert in_charge(talk)
    assert term(talk) == 6


def test_a_bridge_that_takes_over_again_knows_that_the_other_may_have_moved_its_shades() -> None:
    talk = settled()
    hull = talk.shade.knowledge.hull
    claim(talk, 2)
    talk.start()
    assert talk.noted("shade.journal.outdated")
    talk.link(retained=True)
    talk.answer()
    assert talk.house is not None
    assert talk.shade.knowledge.hull.contains(hull)
    assert shade_outlook(talk.house, talk.shade).grade is Grade.DOUBTFUL


def test_a_board_that_obeys_another_is_no_reason_to_outbid_it_just_after_a_broken_session() -> None:
    talk = settled()
    talk.tell(BrokerLost(at=talk.at()))
    talk.reach()
    talk.link()
    sent = len(talk.orders)
    talk.report(why=Why.REFUSED, because="term", term=5)
    assert term(talk) == 1
    assert len(talk.orders) == sent
    claim(talk, 5, retained=True)
    assert not in_charge(talk)


def test_a_board_that_obeys_a_bridge_of_which_nothing_is_heard_is_outbid() -> None:
    talk = settled()
    talk.tell(BrokerLost(at=talk.at()))
    talk.reach()
    talk.link()
    talk.now_s += 3
    talk.report(why=Why.REFUSED, because="term", term=5)
    assert term(talk) == 6


def test_a_bridge_that_has_stood_down_does_not_outbid_the_other_by_what_boards_say() -> None:
    talk = settled()
    claim(talk, 5)
    talk.boot += 1
    talk.report(why=Why.REFUSED, because="term", term=5)
    assert term(talk) == 1
