from bridge.board import orders, records, words
from bridge.core import contract
from bridge.simulate import wire


def test_the_words_of_a_board_are_those_of_the_contract() -> None:
    assert (words.VERSION, words.SEEN_LAG_MAX) == (contract.VERSION, contract.SEEN_LAG_MAX)
    assert set(words.WHY) == {str(why) for why in contract.Why}
    assert set(words.DO) == {str(do) for do in contract.Do}
    assert set(words.THEN) == {str(then) for then in contract.Then}
    assert set(words.TOWARD) == {str(toward) for toward in contract.Toward}
    assert set(words.SENSES) == {str(sense) for sense in contract.Sense}
    assert {words.UP, words.LOST, words.OFF} == {str(link) for link in contract.Link}


def test_what_a_board_takes_in_is_bounded_as_on_simulated_boards() -> None:
    assert (words.PAYLOAD_MAX, words.NUMBER_MAX) == (wire.PAYLOAD_MAX, wire.NUMBER_MAX)
    assert orders.read_json(b" " * (words.PAYLOAD_MAX + 1)) is None
    assert records.SLOTS >= 2
