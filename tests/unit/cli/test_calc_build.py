"""The builder's calculators as a person or a program calls them, against values/build.json."""

import json
from pathlib import Path
from typing import Any

import pytest

from bridge.cli.main import main

Entry = dict[str, Any]
VALUES = Path(__file__).parents[2] / "published" / "values" / "build.json"
ENTRIES: list[Entry] = json.loads(VALUES.read_text())["entries"]

STUDY = ["--tube-mm", "40", "--cloth-mm", "0.5", "--drop-mm", "2000", "--wraps-left", "1.5"]
WEIGHTS = ["--width-mm", "1500", "--cloth-kgpm2", "0.45", "--hem-bar-kg", "0.75"]
LIFT = ["lift", *STUDY, *WEIGHTS, "--gear", "57/11", "--gear-efficiency", "0.9", "--friction-nm", "0.05"]
WINDING = ["--holding-torque-nm", "0.4", "--phase-a", "1.7", "--phase-ohm", "1.5", "--phase-mh", "2.8"]
DRIVEN = ["--supply-v", "24", "--pps", "3000", "--pulses-per-rev", "800"]
MOTOR = [*WINDING, *DRIVEN, "--detent-torque-nm", "0.12"]


def of_kind(kind: str) -> pytest.MarkDecorator:
    entries = [entry for entry in ENTRIES if entry["kind"] == kind]
    assert entries
    return pytest.mark.parametrize("entry", entries, ids=[entry["id"] for entry in entries])


def options(values: dict[str, Any]) -> list[str]:
    return [word for name, value in values.items() for word in (f"--{name}", str(value))]


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    code = main(["calc", *words, "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    document: dict[str, Any] = json.loads(out)
    return document


def refusal(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    code = main(["calc", *words])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    where_and_problem, remedy = err.splitlines()
    return f"{where_and_problem}; {remedy.strip()}"


def tube(entry: Entry) -> dict[str, Any]:
    given = entry["inputs"]
    return {"tube-mm": given["tube_outer_diameter_mm"], "cloth-mm": given["fabric_thickness_mm"]}


# -- roll -----------------------------------------------------------------------------------------


@of_kind("roll_length")
def test_roll_gives_the_length_of_turns(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, "roll", *options(tube(entry) | {"turns": entry["inputs"]["turns"]}))
    want = entry["expected"]
    assert found["length_mm"] == pytest.approx(want["length_mm"], abs=entry["tolerance"]["length_mm"])
    assert found["wound_diameter_mm"] == pytest.approx(want["outer_diameter_mm"], abs=1e-9)


@of_kind("roll_turns_for_length")
def test_roll_gives_the_turns_for_a_length(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, "roll", *options(tube(entry) | {"length-mm": entry["inputs"]["length_mm"]}))
    assert found["turns"] == pytest.approx(entry["expected"]["turns"], abs=entry["tolerance"]["turns"])


@of_kind("percent_vs_turns")
def test_roll_gives_percent_open_for_turns(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]
    shade = {"drop-mm": given["drop_mm"], "wraps-left": given["residual_turns_at_bottom"]}
    found = answer(
        capsys, "roll", *options(tube(entry) | shade | {"turns-down": given["turns_lowered_from_top"]})
    )
    for key, name, unit in [
        ("total_turns", "total_turns", "turns"),
        ("lowered_mm", "lowered_mm", "mm"),
        ("percent_open", "percent_open", "percent"),
        ("largest_linear_error_mm", "max_linear_error_mm", "mm"),
    ]:
        assert found[key] == pytest.approx(want[name], abs=within[unit]), key
    linear, half = want["linear_percent_lowered"], want["percent_lowered_at_half_turns"]
    assert found["linear_percent_open"] == pytest.approx(100 - linear, abs=within["percent"])
    assert found["percent_open_at_half_turns"] == pytest.approx(100 - half, abs=within["percent"])


@of_kind("percent_open_to_steps")
def test_roll_gives_steps_for_percent_open(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]
    shade = {
        "drop-mm": given["drop_mm"],
        "wraps-left": given["residual_turns_at_bottom"],
        "percent-open": given["percent_open"],
        "pulses-per-rev": given["pulses_per_motor_rev"],
        "gear": given["gear_ratio"],
    }
    found = answer(capsys, "roll", *options(tube(entry) | shade))
    assert found["turns_down"] == pytest.approx(want["turns_from_top"], abs=within["turns"])
    assert found["steps_exact"] == pytest.approx(want["steps_from_top"], abs=within["steps"])
    assert found["steps"] == want["steps_rounded"]
    assert found["full_travel_steps"] == pytest.approx(want["full_travel_steps"], abs=within["steps"])
    assert found["linear_error_mm"] == pytest.approx(want["hem_error_if_linear_mm"], abs=within["mm"])


def test_roll_finds_the_cloth_or_the_tube_that_a_measured_length_needs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = answer(capsys, "roll", "--tube-mm", "25", "--turns", "10", "--length-mm", "911.0618695")
    assert found["cloth_mm"] == pytest.approx(0.4, abs=1e-6)
    found = answer(capsys, "roll", "--cloth-mm", "0.4", "--turns", "10", "--length-mm", "911.0618695")
    assert found["tube_mm"] == pytest.approx(25, abs=1e-6)


def test_roll_finds_a_measure_of_a_shade_from_its_counted_turns(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["roll", "--tube-mm", "40", "--drop-mm", "2000", "--wraps-left", "1.5"]
    found = answer(capsys, *words, "--total-turns", "13.23106563")
    assert found["cloth_mm"] == pytest.approx(0.5, abs=1e-6)


def test_roll_without_a_place_tells_the_lower_limit(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, "roll", *STUDY)
    assert (found["percent_open"], found["lowered_mm"]) == (pytest.approx(0, abs=1e-9), pytest.approx(2000))
    assert found["turns_down"] == pytest.approx(found["total_turns"])
    assert "steps" not in found


def test_roll_gives_the_steps_of_wound_turns(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["roll", "--tube-mm", "40", "--cloth-mm", "0.5", "--turns", "13"]
    found = answer(capsys, *words, "--pulses-per-rev", "800", "--gear", "57/11")
    assert (found["steps"], found["steps_exact"]) == (53891, pytest.approx(53890.90909))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            "--tube-mm 0 --cloth-mm 0.5 --turns 9",
            "--tube-mm: 0 mm is not greater than 0; give more than 0 mm",
        ),
        ("--tube-mm nan --cloth-mm 0.5 --turns 9", "--tube-mm: 'nan' is not a number"),
        ("--tube-mm 40 --cloth-mm -1 --turns 9", "--cloth-mm: -1 mm is less than 0"),
        ("--tube-mm 40 --cloth-mm 1 --turns -9", "--turns: -9 is less than 0"),
        ("--tube-mm 40 --cloth-mm 1 --length-mm -9", "--length-mm: -9 mm is less than 0"),
        ("--tube-mm 40 --turns 9", "--cloth-mm, --length-mm: missing, and only one of them"),
        ("--tube-mm 40 --cloth-mm 0.5", "--turns, --length-mm: missing, and only one of them"),
        (
            "--tube-mm 40 --cloth-mm 0.5 --turns 10 --length-mm 900",
            "--turns and --length-mm: both are given, and 10 turns hold 1413.72 mm while 900 mm take 6.6150",
        ),
        ("--tube-mm 40 --turns 10 --length-mm 900", "--cloth-mm: 10 turns of 900 mm with --tube-mm 40 leave"),
        ("--cloth-mm 4 --turns 10 --length-mm 900", "--tube-mm: 10 turns of 900 mm with --cloth-mm 4 leave"),
        ("--tube-mm 40 --turns 0 --length-mm 900", "--turns: 0 is not greater than 0"),
        ("--tube-mm 40 --cloth-mm 1 --turns 9 --drop-mm 99", "--turns and --drop-mm: one is about cloth"),
        ("--tube-mm 40 --cloth-mm 0.5 --drop-mm 2000", "--wraps-left: missing; add it"),
        ("--tube-mm 40 --cloth-mm 0.5 --wraps-left 1", "--drop-mm: missing; add it"),
    ],
)
def test_roll_refuses_what_cannot_be(words: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert message in refusal(capsys, "roll", *words.split())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("--percent-open 101", "--percent-open: 101 % is outside 0 to 100 %; 100 is the upper limit"),
        ("--percent-open -1", "--percent-open: -1 % is outside 0 to 100 %"),
        ("--turns-down 14", "--turns-down: 14 turns is outside 0 to 13.2311 turns; the lower limit is at"),
        ("--turns-down 5 --percent-open 5", "--percent-open and --turns-down: both name a place; keep one"),
        ("--pulses-per-rev 800", "--gear: missing; add it"),
        ("--gear 5", "--pulses-per-rev: missing; add it"),
        ("--gear 5 --pulses-per-rev 0", "--pulses-per-rev: 0 is less than 1"),
        ("--gear 5:1 --pulses-per-rev 800", "--gear: '5:1' is not a ratio of motor turns to tube turns"),
        ("--total-turns 10", "give 1460.8 mm of drop for 10 turns, not 2000 mm (which takes 13.231 turns)"),
        ("--total-turns 0", "--total-turns: 0 is not greater than 0"),
    ],
)
def test_roll_refuses_an_impossible_place_or_drive(
    words: str, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert message in refusal(capsys, "roll", *STUDY, *words.split())


# -- gear and move --------------------------------------------------------------------------------


@of_kind("gear_steps")
def test_gear_gives_exact_pulses_and_what_nominal_values_miss(
    entry: Entry, capsys: pytest.CaptureFixture[str]
) -> None:
    given, want = entry["inputs"], entry["expected"]
    words = {
        "pulses-per-rev": given["pulses_per_motor_rev"],
        "gear": f"{given['ring_teeth'] + given['sun_teeth']}/{given['sun_teeth']}",
        "turns": given["output_turns"],
        "full-steps": given["full_steps_per_rev"],
    }
    nominal = {"nominal-ratio": 5, "nominal-step-deg": 0.35}
    found = answer(capsys, "gear", *options(words | nominal))
    for key, name in [
        ("ratio", "ratio_decimal"),
        ("step_angle_deg", "output_step_angle_deg"),
        ("full_steps_per_turn", "full_steps_per_output_turn"),
        ("pulses_per_turn", "pulses_per_output_turn"),
        ("pulses", "pulses_for_turns"),
        ("error_if_nominal_ratio_pulses", "pulse_error_if_ratio_5"),
        ("error_if_nominal_step_pulses", "pulse_error_if_step_0_35deg"),
    ]:
        assert found[key] == pytest.approx(want[name], rel=entry["tolerance"]["relative"]), key
    assert found["ratio_exact"] == want["ratio"]
    assert answer(capsys, "gear", *options(words)) == found  # 5 and 0.35 are what such a gear is sold as


def test_gear_keeps_decimal_turns_exact_and_tells_no_nominal_step_too_small_to_write(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = answer(capsys, "gear", "--pulses-per-rev", "800", "--gear", "1000", "--turns", "0.1")
    assert (found["pulses_exact"], found["nominal_step_deg"]) == ("80000", None)
    assert found["error_if_nominal_step_pulses"] is None
    assert main(["calc", "gear", "--pulses-per-rev", "800", "--gear", "1000", "--turns", "1e-1"]) == 0


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("--gear 57/11 --turns 1", "--pulses-per-rev: missing"),
        ("--gear 0 --turns 1 --pulses-per-rev 800", "--gear: '0' is not a ratio"),
        ("--gear 5 --turns -1 --pulses-per-rev 800", "--turns: -1 is less than 0"),
        ("--gear 5 --turns inf --pulses-per-rev 800", "--turns: 'inf' is not a number"),
        ("--gear 5 --turns 1 --pulses-per-rev 8.5", "--pulses-per-rev: '8.5' is not a whole number"),
        ("--gear 5 --turns 1 --pulses-per-rev 100", "100 pulses are less than the motor's 200 full steps"),
        ("--gear 5 --turns 1 --pulses-per-rev 800 --full-steps 0", "--full-steps: 0 is less than 1"),
        ("--gear 5 --turns 1 --pulses-per-rev 800 --nominal-ratio 0", "--nominal-ratio: 0 is not greater"),
        ("--gear 5 --turns 1 --pulses-per-rev 800 --nominal-step-deg 0", "--nominal-step-deg: 0 deg is not"),
    ],
)
def test_gear_refuses_what_cannot_be(words: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert message in refusal(capsys, "gear", *words.split())


@of_kind("move_profile")
def test_move_gives_duration_peak_and_ramp(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    words = {
        "steps": given["steps"],
        "top-pps": given["max_steps_per_s"],
        "ramp-pps2": given["accel_steps_per_s2"],
        "start-pps": given["start_speed"],
    }
    found = answer(capsys, "move", *options(words))
    assert found["duration_s"] == pytest.approx(want["duration_s"], rel=within)
    assert found["peak_pps"] == pytest.approx(want["peak_steps_per_s"], rel=within)
    assert found["ramp_steps"] == pytest.approx(want["ramp_steps"], rel=within)
    assert found["shape"] == want["shape"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("--steps 9 --top-pps 0 --ramp-pps2 9", "--top-pps: 0 steps/s is not greater than 0"),
        ("--steps 9 --top-pps 9 --ramp-pps2 0", "--ramp-pps2: 0 steps/s^2 is not greater than 0"),
        ("--steps -9 --top-pps 9 --ramp-pps2 9", "--steps: -9 is less than 0"),
        ("--steps 9 --top-pps 9 --ramp-pps2 9 --start-pps 10", "--top-pps: 9 steps/s is less than 10"),
        ("--steps 9 --top-pps 9", "--ramp-pps2: missing"),
    ],
)
def test_move_refuses_what_cannot_be(words: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert message in refusal(capsys, "move", *words.split())


# -- lift -----------------------------------------------------------------------------------------


def shade_words(given: Entry) -> dict[str, Any]:
    return {
        "tube-mm": given["tube_outer_diameter_mm"],
        "cloth-mm": given["fabric_thickness_mm"],
        "drop-mm": given["drop_m"] * 1000,
        "wraps-left": given["residual_turns_at_bottom"],
        "width-mm": given["width_m"] * 1000,
        "cloth-kgpm2": given["fabric_kg_m2"],
        "hem-bar-kg": given["hem_bar_kg"],
        "gear": given.get("gear_ratio", 1),
    }


@of_kind("lift_torque")
def test_lift_gives_torques_at_a_place(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    losses = {
        "gear-efficiency": given["gear_efficiency"],
        "friction-nm": given["friction_Nm_at_tube"],
        "lowered-mm": given["lowered_m"] * 1000,
    }
    found = answer(capsys, "lift", *options(shade_words(given) | losses))
    for key, name in [
        ("radius_mm", "effective_radius_mm"),
        ("hanging_kg", "hanging_mass_kg"),
        ("tube_torque_nm", "tube_torque_static_Nm"),
        ("tube_torque_lifting_nm", "tube_torque_lifting_Nm"),
        ("motor_torque_nm", "motor_torque_lifting_Nm"),
        ("back_driving_torque_nm", "motor_torque_holding_unpowered_worst_Nm"),
    ]:
        assert found[key] == pytest.approx(want[name], rel=within), key
    assert "verdict" not in found


@of_kind("lift_torque_peak")
def test_lift_gives_the_worst_place(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    want, within = entry["expected"], entry["tolerance"]
    peak = answer(capsys, "lift", *options(shade_words(entry["inputs"])))["peak"]
    assert peak["tube_torque_nm"] == pytest.approx(want["peak_tube_torque_Nm"], rel=within["relative"])
    assert peak["at_lowered_mm"] / 1000 == pytest.approx(want["at_lowered_m"], abs=within["at_lowered_m"])


@of_kind("stepper_LR_limit")
def test_lift_gives_the_winding_limit(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given = entry["inputs"]
    motor = {
        "holding-torque-nm": 0.4,
        "phase-a": given["phase_current_A"],
        "phase-ohm": 1.5,
        "phase-mh": given["phase_inductance_H"] * 1000,
        "supply-v": given["supply_V"],
        "pps": 800,
        "pulses-per-rev": 800,
    }
    found = answer(capsys, *LIFT, *options(motor))
    want = entry["expected"]["max_full_steps_per_s"]
    assert found["top_speed_lr_full_pps"] == pytest.approx(want, rel=entry["tolerance"]["relative"])


@of_kind("stepper_backemf_limit")
def test_lift_gives_the_back_emf_limit(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given = entry["inputs"]
    motor = {
        "holding-torque-nm": given["holding_torque_Nm"],
        "phase-a": given["phase_current_peak_A"],
        "phase-ohm": given["phase_R_ohm"],
        "phase-mh": given["phase_L_H"] * 1000,
        "supply-v": given["supply_V"],
        "pps": 800,
        "pulses-per-rev": 800,
    }
    found = answer(capsys, *LIFT, *options(motor))
    want = entry["expected"]["full_steps_per_s"]
    assert found["top_speed_emf_full_pps"] == pytest.approx(want, rel=entry["tolerance"]["relative"])


def test_lift_judges_a_motor(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, *LIFT, *MOTOR)
    assert found["torque_at_speed_nm"] == pytest.approx(0.4 / 2**0.5)
    assert found["margin"] == pytest.approx(found["torque_at_speed_nm"] / found["peak_motor_torque_nm"])
    assert found["verdict"] == "lifts"
    [(low, high)] = found["holds_asleep"]
    assert (low, high) == (pytest.approx(61.785, abs=0.01), 100)
    assert found["fastest_pps_with_usual_margin"] > 3000
    assert any("may fall" in caution for caution in found["cautions"])
    assert not any("losses" in caution for caution in found["cautions"])


def test_lift_counts_what_the_cable_takes(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, *LIFT, *MOTOR, "--awg", "18", "--cable-m", "10")
    assert found["cable_drop_v"] == pytest.approx(1.7 * 0.4189632546, rel=0.005)
    assert found["driver_v"] == 24 - found["cable_drop_v"]
    assert found["top_speed_lr_full_pps"] == pytest.approx(found["driver_v"] / (2 * 0.0028 * 1.7))


def cautions_of(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    return " ".join(answer(capsys, *words)["cautions"])


def test_lift_warns_of_each_weakness_where_it_shows(capsys: pytest.CaptureFixture[str]) -> None:
    fine = cautions_of(capsys, *LIFT, *MOTOR, "--detent-torque-nm", "0.2")
    for words in ("times the torque", "back-EMF", "takes", "No detent", "asleep: keep it awake"):
        assert words not in fine
    assert "support it" in fine
    assert "licensed electricians prevail" in fine
    fast = cautions_of(capsys, *LIFT, *MOTOR, "--pps", "16000")
    assert "4000 full steps/s are past the back-EMF limit of 2461" in fast
    assert "times the torque asked for" in fast
    starved = cautions_of(capsys, *LIFT, *MOTOR, "--supply-v", "2")
    assert "The full 1.7 A takes 2.55 V, more than the driver's." in starved
    assert "taken to hold nothing asleep" in cautions_of(capsys, *LIFT, *WINDING, *DRIVEN)
    assert "Neither gear losses nor friction" in cautions_of(capsys, "lift", *STUDY, *WEIGHTS, "--gear", "5")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            "--lowered-mm 2001",
            "--lowered-mm: 2001 mm is outside 0 to 2000 mm; give a place between the limits",
        ),
        ("--gear-efficiency 1.2", "--gear-efficiency: 1.2 is more than 1: a gear gives no energy"),
        ("--friction-nm -1", "--friction-nm: -1 N m is less than 0"),
        ("--supply-v 24", "--holding-torque-nm and --phase-a and --phase-ohm"),
        ("--awg 18 --cable-m 5", "--holding-torque-nm and --phase-a"),
    ],
)
def test_lift_refuses_what_cannot_be(words: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert message in refusal(capsys, *LIFT, *words.split())


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("--awg 18", "--cable-m: missing"),
        ("--awg 30 --cable-m 50", "--cable-m: at 1.7 A it takes 57."),
        ("--awg 18 --cable-m 0", "--cable-m: 0 m is not greater than 0"),
        ("--pps 0", "--pps: 0 steps/s is not greater than 0"),
        ("--supply-v 0", "--supply-v: 0 V is not greater than 0"),
        ("--phase-mh 0", "--phase-mh: 0 mH is not greater than 0"),
        ("--full-steps 2", "--full-steps: 2 is less than 4"),
        ("--pulses-per-rev 100", "--pulses-per-rev: 100 pulses are less than the motor's 200 full steps"),
    ],
)
def test_lift_refuses_an_impossible_motor(
    words: str, message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert message in refusal(capsys, *LIFT, *MOTOR, *words.split())


# -- cable ----------------------------------------------------------------------------------------


@of_kind("cable_drop")
def test_cable_gives_the_drop(entry: Entry, capsys: pytest.CaptureFixture[str]) -> None:
    given, want, within = entry["inputs"], entry["expected"], entry["tolerance"]["relative"]
    words = {
        "awg": given["awg"],
        "length-m": given["one_way_length_m"],
        "amps": given["current_A"],
        "parallel": given["parallel_conductors_each_way"],
    }
    found = answer(capsys, "cable", *options(words))
    assert found["ohm_per_km"] == pytest.approx(want["ohm_per_km"], rel=within)
    assert found["loop_ohm"] == pytest.approx(want["loop_resistance_ohm"], rel=within)
    assert found["drop_v"] == pytest.approx(want["voltage_drop_V"], rel=within)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("--awg 41 --length-m 1 --amps 1", "--awg: '41' is not a wire gauge from 0000 to 40"),
        ("--awg 18 --length-m 0 --amps 1", "--length-m: 0 m is not greater than 0"),
        ("--awg 18 --length-m 1 --amps 0", "--amps: 0 A is not greater than 0"),
        ("--awg 18 --length-m 1 --amps 1 --parallel 0", "--parallel: 0 is less than 1"),
        ("--awg 18 --length-m 1", "--amps: missing"),
    ],
)
def test_cable_refuses_what_cannot_be(words: str, message: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert message in refusal(capsys, "cable", *words.split())


# -- for people -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "lines"),
    [
        (["roll", *STUDY, "--percent-open", "50", "--pulses-per-rev", "800", "--gear", "57/11"], ["25548"]),
        (["roll", "--tube-mm", "40", "--cloth-mm", "0.5", "--turns", "13"], ["1899.09 mm"]),
        (["gear", "--pulses-per-rev", "800", "--gear", "57/11", "--turns", "13"], ["592800/11", "1890.91"]),
        (["move", "--steps", "500", "--top-pps", "800", "--ramp-pps2", "400"], ["2.236 s", "too short"]),
        ([*LIFT, *MOTOR], ["0.2828 N m", "2 is common practice", "lifts", "Cautions\n  - "]),
        (["cable", "--awg", "18", "--length-m", "10", "--amps", "2"], ["0.838 V", "Cautions\n  - "]),
    ],
)
def test_the_table_tells_the_result(
    words: list[str], lines: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["calc", *words]) == 0
    shown = capsys.readouterr().out
    for line in lines:
        assert line in shown


@pytest.mark.parametrize("name", ["roll", "gear", "move", "lift", "cable"])
def test_each_help_shows_an_example_that_runs(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["calc", name, "--help"]) == 0
    example = capsys.readouterr().out.split("Example:\n")[1].replace("\\\n", " ")
    command = example.split("\n")[0].split()
    assert command[:3] == ["hembar", "calc", name]
    assert main(command[1:]) == 0
