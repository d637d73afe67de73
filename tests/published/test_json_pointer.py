"""RFC 6901 (P. Bryan, K. Zyp, M. Nottingham, 2013), section 5: the document and its table of pointers."""

import pytest

from bridge.adapters.broker.listen import is_pointer, pointed

DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_each_pointer_of_the_table_leads_to_its_value(pointer: str, value: object) -> None:
    assert is_pointer(pointer)
    assert pointed(DOCUMENT, pointer, where="test") == value
