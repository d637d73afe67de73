from pathlib import Path

import pytest

from bridge.settings.load import load_text
from bridge.settings.meaning import ShadeMeaning, holds_in_words, house_cautions, shade_meaning
from bridge.settings.plain import Settings

HOUSE = """
[site]
name = "Gull House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[broker]
host = "127.0.0.1"
[shades.study]
mounting = "interior"
tube_mm = 40
cloth_mm = 0.5
drop_mm = 2000
wraps_left = 1.5
[shades.study.drive]
pulses_per_rev = 800
gear = "57/11"
top_pps = 3000
ramp_pps2 = 2000
confirmed = true
[shades.study.link]
kind = "contract"
board = "attic-board"
[shades.study.unpowered]
holds = "everywhere"
[shades.study.trust]
tolerance_mm = 5
"""


def house(*changes: tuple[str, str]) -> Settings:
    text = HOUSE
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return load_text(text, origin="house.toml")


def meaning(*changes: tuple[str, str]) -> ShadeMeaning:
    settings = house(*changes)
    (spec,) = settings.house.shades
    return shade_meaning(spec, wind_contact=spec.id in settings.wind_contacts)


class TestFigures:
    def test_turns_steps_and_build_up_are_those_found_outside_this_project(self) -> None:
        # A root finder on the area integral pi*M*(D + (M + 2w)*t) = drop, and 57/11 from 46 and 11 teeth.
        found = meaning()
        assert found.total_turns == pytest.approx(13.23106563, abs=1e-6)
        assert found.full_travel_steps == 54849
        assert found.largest_linear_error_mm == pytest.approx(68.75, abs=0.01)
        assert str(found.pulses_per_turn) == "45600/11"

    def test_the_time_is_that_of_a_trapezoid(self) -> None:
        # Constant acceleration: S/v + v/a, S = 54849, v = 3000, a = 2000.
        assert meaning().full_travel_s == pytest.approx(54849 / 3000 + 3000 / 2000)

    def test_a_move_too_short_for_its_top_speed_is_told_with_the_speed_it_reaches(self) -> None:
        found = meaning(("top_pps = 3000", "top_pps = 30000"))
        assert found.motor_rpm == pytest.approx((54849 * 2000) ** 0.5 / 800 * 60)

    def test_speed_and_percent_in_mm(self) -> None:
        found = meaning()
        assert found.mm_per_percent == 20
        assert found.motor_rpm == pytest.approx(225)
        # 3000 steps/s, 45600/11 steps a turn, 40 + 2 * 14.731 * 0.5 mm across.
        assert found.fastest_mmps == pytest.approx(3000 / (45600 / 11) * 3.14159265 * 54.731, rel=1e-4)

    def test_the_wrap_margin_leaves_half_a_turn_of_cloth(self) -> None:
        found = meaning()
        assert found.spare_turns == 1.0
        # One turn at a mean diameter of 40 + 2 * 0.5 mm: pi * (D + (2 * 1.5 - 1) * 0.5) = 128.8 mm.
        assert found.spare_mm == pytest.approx(3.14159265 * 41, abs=0.05)

    def test_a_full_move_widens_by_slip_and_scale_on_both_sides(self) -> None:
        expected = 2 * (0.3 + 0.05 * 13.23106563 + 0.002 * 2000)
        assert meaning().full_move_width_mm == pytest.approx(expected)


class TestCautions:
    def test_a_sound_interior_shade_has_none(self) -> None:
        assert meaning().cautions == ()

    def test_an_exterior_shade_wants_wind_protection_at_its_board(self) -> None:
        outside = ('mounting = "interior"', 'mounting = "exterior"')
        assert meaning(outside).cautions == (
            (
                "it hangs outside without wind protection at its board, and a rule on a server dies with the "
                "Wi-Fi: wire a wind contact to the board and set wind_contact = true"
            ),
        )
        wired = (outside[0], outside[1] + "\nwind_contact = true")
        assert meaning(wired).cautions == (
            (
                "it hangs outside: try its wired wind contact, and again every year; nobody else raises it "
                "in a gale"
            ),
        )

    @pytest.mark.parametrize(
        ("holds", "words", "where"),
        [
            ('"nowhere"', "nowhere", "nothing holds the cloth"),
            (
                "[[0, 5], [70.5, 100]]",
                "at 0 to 5 % and 70.5 to 100 % open",
                "only part of the travel is held",
            ),
        ],
    )
    def test_cloth_that_can_fall_is_said(self, holds: str, words: str, where: str) -> None:
        found = meaning(('"everywhere"', holds))
        assert holds_in_words(found.spec) == words
        assert found.cautions == (
            (
                f"without motor current {where}: the hem bar may fall at a power cut or a failed driver; "
                "keep the path clear, support the cloth when you work on it, and expect current in the motor "
                "at rest"
            ),
        )

    def test_a_gear_of_exactly_five_is_doubted_until_the_drive_is_confirmed(self) -> None:
        five = ('"57/11"', "5")
        assert meaning(five).cautions == ()
        first = meaning(five, ("confirmed = true", "confirmed = false")).cautions[0]
        assert first == (
            "the gear is exactly 5: planetary gears sold as 5:1 are commonly 57/11, which would put the hem "
            "bar out by 3.5 % of the drop; count the teeth"
        )

    def test_a_full_move_that_makes_the_position_doubtful_is_said(self) -> None:
        assert meaning(("confirmed = true", "confirmed = false")).cautions == (
            (
                "with a drive that is not confirmed a full move adds 162 mm to what is uncertain, more than "
                "doubtful_mm = 60: a reference will be wanted after it"
            ),
        )

    def test_a_tolerance_that_no_reference_can_meet_is_said(self) -> None:
        assert meaning(("tolerance_mm = 5", "tolerance_mm = 3")).cautions == (
            "its best reference leaves 4 mm, more than tolerance_mm = 3: it can never count as referenced",
        )
        switch = "tolerance_mm = 3\n[shades.study.references]\nupper_switch_mm = -3"
        assert meaning(("tolerance_mm = 5", switch)).cautions == ()

    def test_a_coarse_drive_that_snaps_past_the_tolerance_is_said(self) -> None:
        coarse = [('"57/11"', "1"), ("pulses_per_rev = 800", "pulses_per_rev = 48\nfull_steps_per_rev = 48")]
        assert meaning(*coarse).cautions == (
            (
                "four full steps move the hem bar 14.3 mm, more than tolerance_mm = 5: after a power cut it "
                "can't count as referenced"
            ),
        )


class TestHouseCautions:
    def test_a_broker_on_this_machine_has_none(self) -> None:
        assert house_cautions(house()) == ()

    def test_a_broker_across_the_network_without_tls_is_said(self) -> None:
        far = ('"127.0.0.1"', '"broker.lan"')
        (told,) = house_cautions(house(far))
        assert told == (
            "every request crosses the network to broker.lan unencrypted, and whoever listens there can "
            "move the shades: use tls = true and a broker that asks for passwords"
        )
        assert house_cautions(house((far[0], far[1] + "\ntls = true"))) == ()
        (told,) = house_cautions(house((far[0], far[1] + '\nusername = "hembar"')))
        assert told.startswith("the password and every request cross the network")

    def test_a_password_file_must_be_there_and_private(self, tmp_path: Path) -> None:
        secret = tmp_path / "pw"
        named = ('"127.0.0.1"', f'"127.0.0.1"\nusername = "hembar"\npassword_file = "{secret}"')
        assert house_cautions(house(named)) == (
            (
                f"password_file {secret} isn't there now, or can't be seen by you; the service needs it to "
                "connect"
            ),
        )
        secret.write_text("geheim", encoding="utf-8")
        secret.chmod(0o644)
        assert house_cautions(house(named)) == (
            f"password_file {secret} can be read by every user of this machine: chmod 600",
        )
        secret.chmod(0o600)
        assert house_cautions(house(named)) == ()


def test_a_shade_out_of_service_is_pointed_out() -> None:
    found = meaning(("wraps_left = 1.5\n", "wraps_left = 1.5\nin_service = false\n")).cautions
    assert found == (
        "it is out of service: nothing moves it until `hembar commission study` has handed it over",
    )
