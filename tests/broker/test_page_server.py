"""The page of the real daemon on a real broker with real boards: what it shows, takes and survives."""

from __future__ import annotations

import json
import signal
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from tests.house_process import House, running_house
from tests.mosquitto import Mosquitto
from tests.page_client import Client, Listener, free_port, listening, shade_in

pytestmark = pytest.mark.broker
WINDOWS = Path(__file__).parents[2] / "bridge" / "simulate" / "demo_windows.toml"


@pytest.fixture
def served(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[tuple[House, Client]]:
    port = free_port()
    with running_house(mosquitto, tmp_path, more=f"[page]\nport = {port}\n\n{WINDOWS.read_text()}") as house:
        client = Client(port)
        client.wait_open()
        yield house, client


def test_a_move_asked_on_the_page_is_shown_while_it_goes_and_when_it_is_there(
    served: tuple[House, Client],
) -> None:
    house, page = served
    house.find_top("study")
    with listening(page.port) as looking:
        looking.wait(lambda event, _: event == "house", "the house")
        status, said = page.change("/api/shades/study/ask", {"open_pct": 40})
        assert (status, said) == (200, {"taken": True, "refused": []})
        looking.wait(lambda _, said: shade_in(said, "study").get("motion") == "lowering", "study is lowering")
        there = looking.wait(
            lambda event, said: (
                event == "change"
                and (shade_in(said, "study").get("open_pct"), shade_in(said, "study").get("motion"))
                == (40, "still")
            ),
            "study at 40 %",
            within_s=30,
        )[0]
    shown = shade_in(there, "study")
    assert shown["low_pct"] <= house.true_percent("study") <= shown["high_pct"]
    assert shown["hold_until"] is not None
    assert float(house.value("study", "knowledge/width")) == shown["width_mm"]
    assert house.value("study", "opening/position") == "40"


def test_a_reference_by_hand_is_led_by_its_states(served: tuple[House, Client]) -> None:
    house, page = served
    house.find_top("study")
    assert page.change("/api/shades/study/approach", {"place": "lower"})[0] == 200

    def state() -> dict[str, object]:
        return dict(shade_in(page.said("/api/house"), "study")["reference"])

    assert state()["state"] == "approaching"

    def waits() -> bool:
        time.sleep(0.2)  # the page bounds how often it is asked
        return state()["state"] == "waiting"

    house.ear.wait(waits, "it waits for a person", within_s=40)
    assert (state()["place"], state()["until"] is not None) == ("lower", True)
    assert page.change("/api/shades/study/confirm", {"place": "lower"}) == (
        200,
        {"taken": True, "refused": []},
    )
    shown = shade_in(page.said("/api/house"), "study")
    assert (shown["reference"]["state"], shown["last_reference"]["place"]) == ("none", "lower limit by hand")
    assert page.change("/api/shades/landing/approach", {"place": "lower"})[0] == 409


def test_pause_lock_and_stop_are_the_house_s_own(served: tuple[House, Client]) -> None:
    house, page = served
    assert page.change("/api/pause", {"on": True})[0] == 200
    assert page.change("/api/lock", {"on": True})[0] == 200
    shown = page.said("/api/house")
    assert (shown["paused"], shown["locked"]) == (True, True)
    status, said = page.change("/api/shades/study/ask", {"button": "up"})
    assert (status, said["error"]) == (409, "refused")
    assert "service lock" in said["problem"]
    for path in ("/api/stop", "/api/shades/study/release"):
        status, said = page.change(path, {})
        assert (status, said["taken"]) == (409, False), "under the lock nothing leaves, a stop neither"
        assert "service lock" in said["problem"]
    assert page.change("/api/lock", {"on": False})[0] == 200
    assert page.change("/api/stop", {})[0] == 200
    house.ear.wait(lambda: house.ear.latest("homie/5/hembar/service/lock") == b"false", "the tree says so")


def test_the_day_the_journal_and_care_tell_what_happened(served: tuple[House, Client]) -> None:
    house, page = served
    house.find_top("study")
    today = page.said("/api/day")
    study = today["shades"]["study"]
    lengths = {
        len(today["utc_s"]),
        *(len(study[name]) for name in ("lit", "far_up_m", "far_m", "planned_pct")),
    }
    assert len(lengths) == 1
    components = page.said("/api/openapi.json")["components"]
    for path, model in (
        ("/api/day", "DaySaid"),
        ("/api/house", "HouseSaid"),
        ("/api/care", "CareSaid"),
        ("/api/journal", "JournalSaid"),
    ):
        described = {"$ref": f"#/components/schemas/{model}", "components": components}
        Draft202012Validator(described).validate(page.said(path))
    assert study["happened"][-1]["open_pct"] == pytest.approx(100, abs=1)
    tomorrow = date.fromisoformat(today["date"]) + timedelta(days=1)
    assert page.said(f"/api/day?date={tomorrow}")["shades"]["study"]["happened"] == []
    found = page.said("/api/journal?search=reference&shade=study")["entries"]
    assert [each["what"] for each in found if each["what"] == "shade.reference.met"] == [
        "shade.reference.met"
    ]
    assert page.said("/api/journal?search=nothing-of-the-kind") == {"entries": [], "older": None}
    care = next(each for each in page.said("/api/care")["shades"] if each["id"] == "study")
    assert [met["landmark"] for met in care["health"]["met"]] == ["upper switch"]


def test_pages_of_the_journal_follow_each_other_without_gap_or_repetition(
    served: tuple[House, Client],
) -> None:
    house, page = served
    house.find_top("study")
    for pct in range(90, 96):
        assert page.change("/api/shades/study/ask", {"open_pct": pct})[0] == 200
    page.change("/api/lock", {"on": True})
    house.ear.wait(lambda: house.motion("study") == "still", "study rests")
    whole = [(each["row"], each["text"]) for each in page.said("/api/journal?limit=200")["entries"]]
    found: list[tuple[int, str]] = []
    query = "limit=3"
    while query:
        part = page.said(f"/api/journal?{query}")
        found += [(each["row"], each["text"]) for each in part["entries"]]
        query = f"limit=3&before={part['older']}" if part["older"] is not None else ""
    assert found == whole
    assert len(whole) > 6


def test_open_streams_do_not_keep_the_daemon_from_stopping(served: tuple[House, Client]) -> None:
    house, page = served
    listeners = [Listener(page.port) for _ in range(20)]
    for each in listeners:
        each.wait(lambda event, _: event == "house", "the house")
    process = house.bridge.process
    assert process is not None
    began = time.monotonic()
    process.send_signal(signal.SIGTERM)
    assert process.wait(5) == 0
    took_s = time.monotonic() - began
    for each in listeners:
        each.wait(lambda event, _: event == "end", "the last word")
        assert each.ended.wait(2)
        each.close()
    assert took_s < 1.0


def test_other_settings_open_and_close_the_page_while_the_house_goes_on(served: tuple[House, Client]) -> None:
    house, page = served
    text = house.bridge.settings.read_text()
    other = Client(free_port())
    house.bridge.settings.write_text(text.replace(f"port = {page.port}", f"port = {other.port}"))
    reload(house)
    other.wait_open()
    with pytest.raises(OSError, match="refused"):
        page.get("/")
    house.bridge.settings.write_text(text.replace(f"[page]\nport = {page.port}", ""))
    reload(house)
    house.ear.wait(lambda: _closed(other), "the page is closed")
    house.find_top("study")


def test_another_key_is_taken_up_without_a_restart_and_ends_what_the_old_one_opened(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    file, port = tmp_path / "key", free_port()
    old, new = "the-key-of-last-summer", "the-key-after-the-guests-left"
    file.write_text(f"{old}\n")
    names = 'behind_proxy = ["192.0.2.1"]\nallowed_hosts = ["shades.home.arpa"]'
    table = f'[page]\nport = {port}\n{names}\ntoken_file = "{file}"\n'
    with running_house(mosquitto, tmp_path, more=table) as house:
        page = Client(port)
        page.wait_open()
        assert page.get("/api/house", Authorization=f"Bearer {old}")[0] == 200
        cookie = page.entered(old)
        assert page.get("/api/house", Cookie=cookie)[0] == 200
        with listening(port, Cookie=cookie) as looking:
            looking.wait(lambda event, _: event == "house", "the house")
            file.write_text("short\n")
            reload(house)
            house.ear.wait(lambda: bool(house.bridge.logged("page.key.kept")), "a key that is none is told")
            assert page.get("/api/house", Cookie=cookie)[0] == 200
            assert not looking.ended.is_set()
            file.write_text(f"{new}\n")
            reload(house)
            house.ear.wait(lambda: bool(house.bridge.logged("page.key.changed")), "the new key is told")
            assert looking.ended.wait(10)
        page.wait_open()
        assert page.get("/api/house", Cookie=cookie)[0] == 401
        assert page.get("/api/house", Authorization=f"Bearer {old}")[0] == 401
        assert page.get("/api/house", Authorization=f"Bearer {new}")[0] == 200
        assert page.get("/api/house", Cookie=page.entered(new))[0] == 200
        text = house.bridge.log.read_text()
        assert old not in text
        assert new not in text


def reload(house: House) -> None:
    assert house.bridge.process is not None
    house.bridge.process.send_signal(signal.SIGHUP)


def _closed(page: Client) -> bool:
    try:
        page.get("/")
    except OSError:
        return True
    return False


def test_a_port_that_is_taken_leaves_the_house_unharmed(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running_house(mosquitto, tmp_path, more=f"[page]\nport = {mosquitto.port}\n") as house:
        house.ear.wait(lambda: bool(house.bridge.logged("page.server.failed")), "it is told")
        house.find_top("study")


def test_without_the_table_nothing_of_the_web_is_loaded(mosquitto: Mosquitto, tmp_path: Path) -> None:
    with running_house(mosquitto, tmp_path) as house:
        house.find_top("study")
        assert house.bridge.process is not None
        maps = Path(f"/proc/{house.bridge.process.pid}/maps").read_text()
        assert "numpy" not in maps
        assert json.dumps(house.bridge.lines()).count("page.server") == 0
