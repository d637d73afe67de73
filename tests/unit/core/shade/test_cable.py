import pytest

from bridge.core.errors import RequestError
from bridge.core.shade.cable import drop_v, loop_ohm, ohm_per_km, parse_awg


def test_the_gauge_of_the_definition_has_its_diameter() -> None:
    # ASTM B258: gauge 36 is 0.127 mm and gauge 0000 is 11.684 mm by definition.
    assert ohm_per_km(36) / ohm_per_km(-3) == pytest.approx((11.684 / 0.127) ** 2)


def test_three_gauges_down_is_about_twice_the_copper() -> None:
    assert ohm_per_km(18) / ohm_per_km(15) == pytest.approx(2, rel=0.01)


def test_the_current_goes_there_and_back_over_all_parallel_conductors() -> None:
    assert loop_ohm(18, length_m=10) == pytest.approx(ohm_per_km(18) * 0.02)
    assert loop_ohm(18, length_m=10, parallel=2) == pytest.approx(ohm_per_km(18) * 0.01)
    assert drop_v(18, length_m=10, amps=2) == pytest.approx(2 * loop_ohm(18, length_m=10))


@pytest.mark.parametrize(("text", "awg"), [("18", 18), ("0", 0), ("00", -1), ("0000", -3), ("40", 40)])
def test_a_gauge_is_read(text: str, awg: int) -> None:
    assert parse_awg(text) == awg


@pytest.mark.parametrize("text", ["", "41", "-1", "18.5", "00000", "١٨", "1_8", "nan", "100"])
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(RequestError) as refused:
        parse_awg(text)
    assert refused.value.problem == f"{text!r} is not a wire gauge from 0000 to 40"


def test_impossible_numbers_are_refused() -> None:
    with pytest.raises(RequestError, match="awg: 41 is not a wire gauge from -3 to 40"):
        ohm_per_km(41)
    with pytest.raises(RequestError, match="length_m: 0 m is not greater than 0"):
        loop_ohm(18, length_m=0)
    with pytest.raises(RequestError, match="parallel: 0 is less than 1"):
        loop_ohm(18, length_m=1, parallel=0)
    with pytest.raises(RequestError, match="amps: 0 A is not greater than 0"):
        drop_v(18, length_m=1, amps=0)
