"""SIGHUP: the real daemon reads its settings again, and no shade moves for it."""

from __future__ import annotations

import signal
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto

STUDY_GEAR = 'gear = "57/11"'


@pytest.fixture
def house(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[House]:
    with running_house(mosquitto, tmp_path) as running:
        running.find_top("study")
        running.ask("study", "60")
        running.wait_at_rest("study", "60")
        yield running


def rewrite(house: House, *changes: tuple[str, str]) -> None:
    text = house.bridge.settings.read_text()
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    house.bridge.settings.write_text(text)


def reload(house: House) -> None:
    assert house.bridge.process is not None
    done = len(house.bridge.logged("settings.reloaded")) + len(house.bridge.logged("settings.kept"))
    house.bridge.process.send_signal(signal.SIGHUP)
    house.ear.wait(
        lambda: (
            len(house.bridge.logged("settings.reloaded")) + len(house.bridge.logged("settings.kept")) > done
        ),
        "the settings are read",
    )


def quiet(house: House, act: Callable[[], None], *, wait_s: float = 1.5) -> None:
    """Do something that moves nothing and orders nothing."""
    since, drop = len(house.ear.messages), house.true_drop_mm("study")
    act()
    time.sleep(wait_s)
    assert house.true_drop_mm("study") == drop
    for board, channel in (("attic-board", 0), ("attic-board", 1), ("stair-board", 0)):
        assert house.ear.motion_orders(board, channel, since=since) == []


def test_a_file_with_faults_keeps_the_old_settings_and_every_fault_is_told(house: House) -> None:
    good = house.bridge.settings.read_text()
    rewrite(house, ("tube_mm = 38.0", "tube_mm = -3"), ("top_pps = 4000", 'top_pps = "fast"'))
    quiet(house, lambda: reload(house))
    faults = [line["fault"] for line in house.bridge.logged("settings.reload.refused")]
    assert len(faults) >= 2
    assert any("tube_mm = -3" in fault for fault in faults)
    assert any("top_pps" in fault for fault in faults)
    house.ask("study", "80")
    house.wait_at_rest("study", "80")
    house.bridge.settings.write_text(good)
    reload(house)
    assert len(house.bridge.logged("settings.reloaded")) == 1


def test_a_file_that_is_gone_keeps_the_old_settings(house: House) -> None:
    house.bridge.settings.unlink()
    quiet(house, lambda: reload(house))
    assert house.bridge.logged("settings.kept")
    house.ask("study", "80")
    house.wait_at_rest("study", "80")


def test_a_changed_trust_counts_at_once_and_ends_no_conversation(house: House) -> None:
    since = len(house.ear.messages)
    rewrite(
        house, ("slip_per_move_mm = 0.1", "slip_per_move_mm = 0.1\ntolerance_mm = 0.2\ndoubtful_mm = 0.3")
    )
    quiet(house, lambda: reload(house))
    house.ear.wait(lambda: house.value("study", "knowledge/grade") == "doubtful", "the new bound counts")
    assert house.ear.orders("attic-board", 0, since=since) == []
    assert len(house.bridge.logged("broker.session.up")) == 1


def test_a_changed_drop_keeps_the_place_in_mm_and_mixes_no_steps(house: House) -> None:
    drop = house.true_drop_mm("study")
    rewrite(house, ("drop_mm = 1800", "drop_mm = 1440"))
    quiet(house, lambda: reload(house))
    house.ear.wait(lambda: house.value("study", "opening/position") == "50", "720 of 1440 mm")
    house.ask("study", "100")
    house.wait_at_rest("study", "100")
    house.ask("study", "50")
    house.wait_at_rest("study", "50")
    # The real roll carries more cloth than the new settings say, so a step moves it by a little more.
    assert abs(house.true_drop_mm("study") - drop) < 50


def test_another_gear_gets_no_orders_from_a_board_that_counts_otherwise(house: House) -> None:
    rewrite(house, (STUDY_GEAR, 'gear = "5"'))
    quiet(house, lambda: reload(house))
    house.ear.wait(lambda: "pulses a turn" in house.value("study", "$alert/drive"), "the alert says so")
    quiet(house, lambda: house.ear.say("homie/5/hembar-study/opening/position/set", "20"))
    quiet(house, lambda: house.press("study", "up"))
    rewrite(house, ('gear = "5"', STUDY_GEAR))
    reload(house)
    house.ear.wait(lambda: house.value("study", "$alert/drive") == "", "the alert is gone")
    house.press("study", "up")
    house.wait_at_rest("study", "100")
    assert house.claim_holds("study")


def test_a_removed_shade_goes_from_the_tree_state_first_and_comes_back_when_it_is_added(house: House) -> None:
    good = house.bridge.settings.read_text()
    start = good.index("[shades.landing]")
    house.bridge.settings.write_text(good[:start])
    since = len(house.ear.messages)
    quiet(house, lambda: reload(house))
    house.ear.wait(lambda: house.value("landing", "$description") == "", "its device is gone", within_s=15)
    gone = [
        each.topic for each in house.ear.messages[since:] if "-landing/" in each.topic and not each.payload
    ]
    assert gone[0].endswith("/$state")
    house.ear.wait(lambda: house.ear.latest("homie/5/hembar/$state") == b"ready", "the root is ready")
    assert b"hembar-landing" not in (house.ear.latest("homie/5/hembar/$description") or b"")
    assert house.value("study", "opening/position") == "60"
    house.bridge.settings.write_text(good)
    reload(house)
    house.ear.wait(lambda: house.value("landing", "$state") == "ready", "its device is back", within_s=15)
    assert b"hembar-landing" in (house.ear.latest("homie/5/hembar/$description") or b"")


def test_a_request_under_way_survives_what_does_not_concern_it(house: House) -> None:
    house.ask("study", "10")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    rewrite(house, ('name = "Kitchen"', 'name = "Scullery"'))
    reload(house)
    house.wait_at_rest("study", "10")
    ends = [line for line in house.bridge.logged("request.ended") if line["want"] == "10 %"]
    assert [line["fate"] for line in ends] == ["reached"]
    assert house.claim_holds("study")


def test_a_request_under_way_in_old_steps_ends_once_and_the_shade_halts(house: House) -> None:
    house.ask("study", "10")
    house.ear.wait(lambda: house.motion("study") == "lowering", "it sets off")
    rewrite(house, ("drop_mm = 1800", "drop_mm = 1700"))
    reload(house)
    house.ear.wait(lambda: house.motion("study") == "still", "it halts", within_s=10)
    assert house.true_percent("study") > 15
    ends = [line for line in house.bridge.logged("request.ended") if line["want"] == "10 %"]
    assert [line["fate"] for line in ends] == ["failed"]
    assert "settings were changed" in ends[0]["why"]
    time.sleep(0.5)
    low, high = (float(house.value("study", f"knowledge/{end}")) for end in ("low", "high"))
    assert low <= 100 * (1 - house.true_drop_mm("study") / 1700) <= high


def test_another_broker_is_gone_to_and_the_old_one_told(
    house: House, brokers: Callable[..., Mosquitto]
) -> None:
    other = brokers()
    rewrite(house, (f"port = {house.mosquitto.port}", f"port = {other.port}"))
    reload(house)
    house.ear.wait(
        lambda: house.ear.latest("homie/5/hembar/$state") == b"disconnected",
        "the old broker is told",
        within_s=10,
    )
    house.ear.wait(lambda: " as hembar-demo " in other.log, "it is at the new one", within_s=10)


def test_the_service_manager_is_told_of_a_reload(
    mosquitto: Mosquitto, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """sd_notify(3): RELOADING=1 with MONOTONIC_USEC, and READY=1 once it is over."""
    end = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    end.bind(str(tmp_path / "notify"))
    end.settimeout(10)
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    with running_house(mosquitto, tmp_path) as house:
        assert "READY=1" in end.recv(4096).decode()
        before = time.monotonic()
        reload(house)
        said = [end.recv(4096).decode().splitlines() for _ in range(2)]
    end.close()
    assert said[0][0] == "RELOADING=1"
    name, usec = said[0][1].split("=")
    assert name == "MONOTONIC_USEC"
    assert before <= int(usec) / 1e6 <= time.monotonic()
    assert said[1][0] == "READY=1"
