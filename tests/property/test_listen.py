"""Whatever a stranger publishes on a listen topic: a percent in range, a word of the owner's, or nothing."""

import json
from fractions import Fraction
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from bridge.adapters.broker.listen import Listen, Says, is_pointer, pointed, read, to_pointer
from bridge.adapters.broker.messages import Incoming
from bridge.core.errors import LinkError
from bridge.core.events import Button, Percent, Press

WORDS: dict[str, Percent | Press] = {"halt": Press(button=Button.STOP), "40 please": Percent(open_pct=40)}


def listen(says: Says, pointer: str | None) -> Listen:
    return Listen(
        topic="t", shade="study", group=None, says=says, words=WORDS, pointer=pointer, source="somebody"
    )


def result(how: Listen, payload: bytes) -> Percent | Press | None:
    try:
        return read(how, Incoming(topic="t", payload=payload, retained=False))
    except LinkError:
        return None


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=8,
)
payloads = (
    st.binary(max_size=300)
    | st.text(max_size=40).map(str.encode)
    | json_values.map(lambda value: json.dumps(value).encode())
    | st.floats().map(lambda value: repr(value).encode())
    | st.text(alphabet="0123456789.-+eE _", max_size=12).map(str.encode)
)


@given(says=st.sampled_from(Says), pointer=st.none() | st.just("") | st.just("/a"), payload=payloads)
def test_junk_never_moves_a_shade_and_never_raises_anything_else(
    says: Says, pointer: str | None, payload: bytes
) -> None:
    wish = result(listen(says, pointer), payload)
    if wish is None or wish in WORDS.values():
        return
    assert isinstance(wish, Percent)
    assert 0 <= wish.open_pct <= 100
    if pointer is None:  # only plain ASCII spells a number
        number = Fraction(payload.decode("ascii"))
        assert 0 <= number <= says.full


@given(says=st.sampled_from(Says), value=st.decimals(0, 1, places=6))
def test_the_percent_is_the_nearest_to_the_exact_value(says: Says, value: Any) -> None:
    scaled = Fraction(value) * says.full
    spelt = str(round(scaled)) if says.full == 255 else f"{value * says.full:f}"
    wish = result(listen(says, None), spelt.encode())
    assert isinstance(wish, Percent)
    exact = Fraction(spelt) * 100 / says.full
    exact = 100 - exact if says.closed else exact
    assert Fraction(-1, 2) < wish.open_pct - exact <= Fraction(1, 2)


@given(document=json_values, data=st.data())
def test_a_pointer_to_any_place_leads_there(document: Any, data: st.DataObject) -> None:
    way, value = [], document
    while isinstance(value, dict | list) and value and data.draw(st.booleans()):
        keys = list(value) if isinstance(value, dict) else range(len(value))
        key = data.draw(st.sampled_from(list(keys)))
        way.append(str(key))
        value = value[key]
    pointer = to_pointer(way)
    assert is_pointer(pointer)
    assert pointed(document, pointer, where="t") is value
