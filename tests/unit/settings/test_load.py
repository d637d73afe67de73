import datetime as dt
import re
import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.adapters.page.options import PageSettings
from bridge.core.errors import ConfigError
from bridge.core.spec import ContractLink, Mounting, Reference
from bridge.settings.faults import ConfigFaults, listed
from bridge.settings.load import SIZE_MAX, load, load_text
from bridge.settings.model import SettingsFile
from bridge.settings.plain import Settings
from bridge.simulate.demo_house import NOMINAL

EXAMPLE = Path(__file__).parents[3] / "config" / "hembar.toml"

SITE = """
[site]
name = "Gull House"
latitude_deg = 38.5
longitude_deg = -28.5
timezone = "Atlantic/Azores"
[broker]
host = "127.0.0.1"
"""
SHADE = """
[shades.study]
mounting = "interior"
tube_mm = 40
cloth_mm = 0.5
drop_mm = 2000
wraps_left = 1.5
drive = { pulses_per_rev = 800, gear = "57/11", top_pps = 3000, ramp_pps2 = 2000 }
link = { kind = "contract", board = "attic-board", channel = 0 }
unpowered = { holds = "everywhere" }
"""


def read(text: str) -> Settings:
    return load_text(text, origin="house.toml")


def faults_of(text: str) -> list[str]:
    with pytest.raises(ConfigFaults) as caught:
        read(text)
    return [str(fault) for fault in caught.value.faults]


def only_fault(text: str) -> str:
    faults = faults_of(text)
    assert len(faults) == 1, faults
    return faults[0]


def shade_with(old: str, new: str) -> str:
    assert old in SHADE
    return SITE + SHADE.replace(old, new)


class TestGoodFiles:
    def test_the_example_loads_and_the_editors_model_agrees(self) -> None:
        settings = load(EXAMPLE)
        assert [shade.id for shade in settings.house.shades] == ["study", "kitchen", "landing"]
        SettingsFile.model_validate(tomllib.loads(EXAMPLE.read_text(encoding="utf-8")))

    def test_the_example_is_the_demo_house_as_its_owner_measured_it(self) -> None:
        for shade in load(EXAMPLE).house.shades:
            roll, nominal = shade.travel.roll, NOMINAL[shade.id]
            assert (roll.tube_mm, roll.cloth_mm, roll.drop_mm, roll.wraps_left) == (
                nominal.tube_mm,
                nominal.cloth_mm,
                nominal.drop_mm,
                nominal.wraps_left,
            )
            assert (shade.contract.board, shade.contract.channel) == (nominal.board, nominal.channel)
            assert (shade.top_pps, shade.ramp_pps2) == (nominal.top_pps, nominal.ramp_pps2)
            assert shade.unpowered_holds == nominal.holds
            assert shade.overrun_mm > -nominal.upper_stop_mm

    def test_commented_defaults_in_the_example_are_the_defaults(self) -> None:
        text = EXAMPLE.read_text(encoding="utf-8")
        stated = re.sub(r"^# (?=\[|[a-z_0-9]+ = )", "", text, flags=re.MULTILINE)
        shown_only = (
            "username",
            "password_file",
            "ca_file",
            "cert_file",
            "key_file",
            "state_dir",
            "lower_switch_mm",
            "upper_stall_mm",
            "allowed_hosts",
            "token_file",
            "behind_proxy",
        )
        kept = [line for line in stated.splitlines() if not line.startswith(shown_only)]
        assert len(kept) > 100
        read_back = load_text("\n".join(kept), origin=str(EXAMPLE), folder=EXAMPLE.parent)
        # A [[listen]] table has no default to state: two examples stand there, checked on their own.
        assert replace(read_back, listens=(), page=None) == load(EXAMPLE)
        assert read_back.page == PageSettings(), "a [page] table is a wish; its keys have defaults"

    def test_every_value_reaches_its_place(self) -> None:
        settings = read(
            SITE.replace(
                'host = "127.0.0.1"', 'host = "broker.lan"\nusername = "hembar"\npassword_file = "pw"'
            )
            + '[boards]\nroot = "house/boards"\nwait_s = 45\n[tree]\nroot = "tree"\ndevice = "bridge"\n'
            + '[service]\nstate_dir = "/var/lib/hembar"\n'
            + SHADE.replace('mounting = "interior"', 'name = "Study"\nmounting = "exterior"\nhold_min = 90')
            + "trust = { scale_allowance_pct = 0.3, unconfirmed_scale_allowance_pct = 5, overrun_mm = 12 }\n"
            + "references = { upper_switch_mm = -3, repeatability_mm = 0.5 }\nwind_contact = true\n"
        )
        (study,) = settings.house.shades
        assert (settings.house.name, settings.house.board_wait_s) == ("Gull House", 45)
        assert (settings.broker.boards_root, settings.broker.tree_root) == ("house/boards", "tree")
        assert (settings.broker.host, settings.broker.port, settings.broker.root_device) == (
            "broker.lan",
            1883,
            "bridge",
        )
        assert settings.broker.password_file == Path("pw")
        assert settings.state_dir == Path("/var/lib/hembar")
        assert settings.wind_contacts == {"study"}
        assert study.mounting is Mounting.EXTERIOR
        assert study.link == ContractLink(board=study.contract.board, channel=0)
        assert study.travel.drive.gear == Fraction(57, 11)
        assert study.scale_allowance == pytest.approx(0.003)
        assert study.unconfirmed_scale_allowance == pytest.approx(0.05)
        assert study.upper_switch == Reference(at_mm=-3, repeatability_mm=0.5)
        assert study.hold_s == 5400

    def test_what_is_left_out_has_the_stated_defaults(self) -> None:
        settings = read(SITE + SHADE)
        (study,) = settings.house.shades
        assert study.name == "study"
        assert (study.tolerance_mm, study.doubtful_mm, study.overrun_mm) == (5, 60, 10)
        assert (study.scale_allowance, study.unconfirmed_scale_allowance) == (0.002, 0.04)
        assert study.local_button
        assert not study.drive_confirmed
        assert study.upper_switch is study.lower_switch is study.upper_stall is None
        assert (settings.broker.port, settings.broker.tree_root, settings.broker.boards_root) == (
            1883,
            "homie",
            "shade-boards",
        )
        assert settings.state_dir is None

    def test_tls_moves_the_default_port(self) -> None:
        settings = read(SITE + "tls = true\n" + SHADE)
        assert (settings.broker.tls, settings.broker.port) == (True, 8883)

    @pytest.mark.parametrize(
        "missing", ["tube_mm = 40\n", "cloth_mm = 0.5\n", "drop_mm = 2000\n"], ids=lambda line: line[:5]
    )
    def test_turns_stand_in_for_any_one_measure(self, missing: str) -> None:
        # 13.23106563 turns for tube 40, cloth 0.5, drop 2000 and 1.5 wraps left: root of the area integral
        # pi*M*(D + (M + 2w)*t) = drop, found by a root finder outside this project.
        settings = read(SITE + SHADE.replace(missing, "turns = 13.23106563\n"))
        roll = settings.house.shades[0].travel.roll
        assert (roll.tube_mm, roll.cloth_mm, roll.drop_mm) == pytest.approx((40, 0.5, 2000), rel=1e-6)

    def test_turns_within_half_a_percent_only_confirm_the_measures(self) -> None:
        settings = read(shade_with("wraps_left", "turns = 13.17\nwraps_left"))
        assert settings.house.shades[0].travel.roll.drop_mm == 2000

    @pytest.mark.parametrize(
        ("written", "ranges"),
        [
            ('"everywhere"', ((0, 100),)),
            ('"nowhere"', ()),
            ("[[80, 100], [0, 12.5]]", ((0, 12.5), (80, 100))),
        ],
    )
    def test_holding_is_a_word_or_ranges_of_percent_open(
        self, written: str, ranges: tuple[tuple[float, float], ...]
    ) -> None:
        settings = read(shade_with('"everywhere"', written))
        assert settings.house.shades[0].unpowered_holds == ranges

    def test_references_may_lie_as_far_as_the_hem_bar_can_go(self) -> None:
        # The upper end is 10 mm of overrun; half a turn of cloth is left at 2128.8 mm.
        ends = "references = { upper_switch_mm = -10, upper_stall_mm = -10, lower_switch_mm = 2128 }\n"
        (study,) = read(SITE + SHADE + ends).house.shades
        assert study.lower_switch == Reference(at_mm=2128, repeatability_mm=1)
        assert study.upper_switch == study.upper_stall == Reference(at_mm=-10, repeatability_mm=1)

    def test_relative_paths_start_from_the_folder_of_the_file(self, tmp_path: Path) -> None:
        file = tmp_path / "house.toml"
        file.write_text(SITE + 'username = "u"\npassword_file = "pw"\n' + SHADE, encoding="utf-8")
        assert load(file).broker.password_file == tmp_path / "pw"

    def test_a_byte_order_mark_and_windows_lines_do_no_harm(self, tmp_path: Path) -> None:
        file = tmp_path / "house.toml"
        file.write_bytes(b"\xef\xbb\xbf" + (SITE + SHADE).replace("\n", "\r\n").encode())
        assert load(file).site == read(SITE + SHADE).site


class TestFilesThatCannotBeRead:
    def fault(self, path: Path) -> str:
        with pytest.raises(ConfigFaults) as caught:
            load(path)
        return str(caught.value)

    def test_a_missing_file(self, tmp_path: Path) -> None:
        path = tmp_path / "none.toml"
        assert self.fault(path) == (
            f"{path}: there is no such file; check the path, or start from config/hembar.toml"
        )

    def test_a_folder(self, tmp_path: Path) -> None:
        assert self.fault(tmp_path) == (
            f"{tmp_path}: this is a folder; name the settings file in it, such as hembar.toml"
        )

    def test_a_path_through_a_file(self, tmp_path: Path) -> None:
        (tmp_path / "a").touch()
        path = tmp_path / "a" / "b"
        assert self.fault(path) == (
            f"{path}: it can't be read: Not a directory; check the path and its permissions"
        )

    def test_a_path_that_no_file_can_have(self) -> None:
        assert "it can't be read" in self.fault(Path("a\0b"))

    def test_bytes_that_are_not_utf_8(self, tmp_path: Path) -> None:
        path = tmp_path / "latin.toml"
        path.write_bytes('[site]\nname = "Möwe"'.encode("latin-1"))
        assert self.fault(path) == (
            f"{path}: byte 0xf6 at line 2, column 10 is not UTF-8; save the file as UTF-8"
        )

    def test_a_file_too_large_to_be_settings(self, tmp_path: Path) -> None:
        path = tmp_path / "big.toml"
        path.write_bytes(b"#" * (SIZE_MAX + 1))
        assert self.fault(path) == f"{path}: it is larger than 4096 KiB; name the settings file itself"
        path.write_bytes(b"#" * SIZE_MAX)
        assert "larger" not in self.fault(path)

    def test_what_is_not_toml_is_told_with_line_and_column(self) -> None:
        fault = only_fault("[site]\nname = Gull House\n")
        assert fault.startswith("house.toml: this is not TOML: ")
        assert "line 2, column 8" in fault
        assert fault.endswith("; mend that line; text needs quotes, and each key stands once")

    @pytest.mark.parametrize(
        "text", ["x = " + "[" * 20000, "x = " + "9" * 5000, 'a."\x00" = 1', "\ud800"], ids=len
    )
    def test_hostile_toml_is_refused_like_any_other(self, text: str) -> None:
        assert only_fault(text).startswith("house.toml: ")


CASES = tomllib.loads((Path(__file__).parent / "cases" / "faults.toml").read_text(encoding="utf-8"))["case"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_a_fault_is_told_with_place_value_reason_and_remedy(case: dict[str, Any]) -> None:
    text = SITE + SHADE
    for old, new in case.get("changes", []):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    assert only_fault(text + case.get("add", "")) == case["told"]


def test_two_shades_on_one_channel_are_refused() -> None:
    assert only_fault(SITE + SHADE + SHADE.replace("shades.study", "shades.kitchen")) == (
        'house.toml [shades.kitchen.link]: channel 0 of board "attic-board" already drives [shades.study]; '
        "give each shade a channel of its own"
    )


def test_a_house_without_shades_is_refused() -> None:
    assert only_fault(SITE) == (
        "house.toml [shades]: no shade is described; add a table for each, such as [shades.study]"
    )


class TestAllFaultsTogether:
    def test_faults_of_all_parts_are_listed_in_the_order_of_the_file(self) -> None:
        text = (
            SITE.replace("38.5", "98.5").replace("host", "hots")
            + SHADE.replace("40", "4").replace('"57/11"', "5.18").replace("channel = 0", "channel = 64")
            + SHADE.replace("shades.study", "shades.kitchen").replace("wraps_left", "turns = 9\nwraps_left")
        )
        assert [fault.split(";")[0] for fault in faults_of(text)] == [
            "house.toml [site]: latitude_deg = 98.5: it must be at most 90",
            'house.toml [broker]: hots = "127.0.0.1" is not a known key',
            "house.toml [shades.study]: tube_mm = 4: it must be at least 10",
            (
                "house.toml [shades.study.drive]: gear = 5.18: a decimal hides the teeth and its error grows "
                "with every turn"
            ),
            "house.toml [shades.study.link]: channel = 64: it must be at most 63",
            (
                "house.toml [shades.kitchen]: turns = 9, but tube 40 mm, cloth 0.5 mm, drop 2000 mm "
                "and 1.5 wraps left give 13.231 turns"
            ),
        ]

    def test_the_error_is_a_config_error_whose_text_has_a_line_for_each(self) -> None:
        with pytest.raises(ConfigError) as caught:
            read("[site]\n")
        assert str(caught.value).count("\n") == len(faults_of("[site]\n")) - 1 > 3

    def test_a_measure_in_another_unit_hides_no_missing_one(self) -> None:
        text = SITE + SHADE.replace("drop_mm = 2000", "drop_cm = 200").replace("tube_mm = 40", "")
        assert [fault.split(";")[0] for fault in faults_of(text)] == [
            "house.toml [shades.study]: drop_cm = 200 is not a known key",
            (
                "house.toml [shades.study]: tube_mm and turns are missing, and only one of them can be "
                "computed from the others"
            ),
        ]

    def test_a_flood_of_strange_keys_is_counted(self) -> None:
        flood = "".join(f"key{n} = 1\n" for n in range(300))
        faults = faults_of(flood + SITE + SHADE)
        assert len(faults) == 21
        assert faults[-1] == (
            "house.toml: 280 further keys are not known; "
            f"the keys here are {listed(list(SettingsFile.model_fields))}"
        )

    def test_a_flood_of_faults_is_cut_in_print(self) -> None:
        with pytest.raises(ConfigFaults) as caught:
            read(SITE + "".join(f"[shades.s{n}]\n" for n in range(100)))
        lines = str(caught.value).splitlines()
        assert len(lines) == 101
        assert lines[-1] == f"house.toml: {len(caught.value.faults) - 100} further faults; mend these first"

    def test_a_value_where_a_table_belongs(self) -> None:
        assert only_fault("shades = 3\n" + SITE) == (
            "house.toml: shades = 3 must be a table; write it as [shades]"
        )
        assert "house.toml [shades]: study = 3 must be a table; write it as [shades.study]" in faults_of(
            SITE + "[shades]\nstudy = 3\n"
        )
        assert "house.toml: site = [1] must be a table; write it as [site]" in faults_of("site = [1]\n")


scalars = st.one_of(
    st.booleans(),
    st.integers(),
    st.integers(min_value=-(10**400), max_value=10**400),
    st.floats(),
    st.text(max_size=20),
    st.datetimes(),
    st.dates(),
    st.times(),
)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


def toml(value: object) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case int() | float():
            return str(value)
        case str():
            return '"' + "".join(f"\\U{ord(c):08x}" for c in value) + '"'
        case dt.datetime() | dt.date() | dt.time():
            return value.isoformat()
        case list():
            return "[" + ", ".join(toml(each) for each in value) + "]"
        case dict():
            return "{" + ", ".join(f"{toml(key)} = {toml(each)}" for key, each in value.items()) + "}"
        case _:
            raise AssertionError(value)


known_keys = st.sampled_from(sorted(SettingsFile.model_fields))
PLACES = [
    line for line in (SITE + SHADE).splitlines() if " = " in line and not line.startswith(("drive", "link"))
] + ['gear = "57/11"', 'holds = "everywhere"', "channel = 0", "top_pps = 3000", 'board = "attic-board"']


class TestAnyJunk:
    @given(st.text())
    def test_any_text_is_refused_in_printable_words(self, text: str) -> None:
        assert all(fault.isprintable() for fault in faults_of(text))

    @given(st.sampled_from(PLACES), values)
    def test_any_value_at_any_key_is_read_or_refused_as_faults(self, place: str, value: object) -> None:
        key = place.partition(" = ")[0]
        text = (SITE + SHADE).replace(place, f"{key} = {toml(value)}")
        found: tuple[ConfigError, ...] = ()
        try:
            read(text)
        except ConfigFaults as faults:
            found = faults.faults
        assert all(str(fault).isprintable() and fault.remedy for fault in found)

    @given(st.dictionaries(known_keys | st.text(max_size=10), values, max_size=4))
    def test_any_tables_are_refused_as_faults(self, raw: dict[str, object]) -> None:
        text = "\n".join(f"{toml(key)} = {toml(value)}" for key, value in raw.items())
        with pytest.raises(ConfigFaults):
            read(text)

    @given(st.binary(max_size=200))
    def test_any_bytes_are_refused_as_faults(
        self, tmp_path_factory: pytest.TempPathFactory, data: bytes
    ) -> None:
        path = tmp_path_factory.getbasetemp() / "junk.toml"
        path.write_bytes(data)
        with pytest.raises(ConfigFaults):
            load(path)
