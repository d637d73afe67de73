import pytest

from bridge.core.errors import RequestError
from bridge.core.sun.checked import within


def check(value: float, unit: str = "degrees") -> float:
    return within(value, where="latitude", low=-90, high=90, unit=unit, remedy="give degrees")


@pytest.mark.parametrize("value", [-90.0, 0.0, 90.0])
def test_both_ends_belong_to_the_range(value: float) -> None:
    assert check(value) == value


@pytest.mark.parametrize("value", [-90.0001, 90.0001])
def test_a_value_outside_is_refused_and_shown(value: float) -> None:
    with pytest.raises(RequestError, match=rf"^latitude: {value:g} is outside -90 to 90 degrees; give"):
        check(value)


def test_a_share_has_no_unit() -> None:
    with pytest.raises(RequestError, match=r"^latitude: 91 is outside -90 to 90; give degrees$"):
        check(91, unit="")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(RequestError, match=r"is not a number"):
        check(value)
