"""The real daemon on the broker that `config/` describes: its own CA, names, and rights that hold."""

import asyncio
import json
import signal
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.adapters.broker.examining import Examination
from bridge.adapters.broker.oneshot import Visit
from bridge.core.errors import LinkError
from bridge.simulate.client import SimulatedHouse
from bridge.simulate.demo_house import DEMO_HOUSE, NOMINAL
from tests.running import Bridge
from tests.secured import PASSWORD, Secured, secured_broker, secured_settings

pytestmark = pytest.mark.broker

BOARDS = tuple(board.id for board in DEMO_HOUSE.boards)


@pytest.fixture
def secured(tmp_path: Path) -> Iterator[Secured]:
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = secured_broker(folder, boards=BOARDS)
    yield broker
    broker.stop()


async def test_a_shade_moves_with_certificates_passwords_and_rights_in_force(
    secured: Secured, tmp_path: Path
) -> None:
    bridge = Bridge(
        secured_settings(secured, tmp_path / "house.toml"), tmp_path / "state", tmp_path / "bridge.log"
    )
    boards = SimulatedHouse(
        DEMO_HOUSE, tmp_path / "boards", host="127.0.0.1", port=secured.board_port, password=PASSWORD
    )
    async with boards:
        bridge.start()
        try:
            await asyncio.to_thread(_moved_by_a_dashboard, secured)
        finally:
            bridge.stop()
        study = NOMINAL["study"]
        true_mm = boards.truth()[study.board, study.channel].drop_mm
    assert true_mm == pytest.approx(0.6 * study.drop_mm, abs=30), bridge.log.read_text()[-2000:]
    denied = [line for line in secured.log.splitlines() if "Denied" in line and "/visit/" not in line]
    assert not denied


def _moved_by_a_dashboard(secured: Secured) -> None:
    def shows(**wanted: str) -> bool:
        values, there = house.follow(
            "hembar-study",
            lambda said: all(
                said.get(key.replace("__", "/")) == text.encode() for key, text in wanted.items()
            ),
            within_s=40,
        )
        assert there, values
        return there

    with Visit(secured.address("dashboard")) as house:
        shows(**{"$state": "ready"})
        assert house.ask("hembar-study", "opening/button", b"up", within_s=10).taken
        shows(knowledge__grade="referenced", opening__motion="still")
        assert house.ask("hembar-study", "opening/position", b"40", within_s=10).taken
        shows(opening__position="40", opening__motion="still")


def test_what_the_access_list_denies_the_bridge_is_in_its_log(secured: Secured, tmp_path: Path) -> None:
    acl = secured.folder / "hembar.acl"
    rights = acl.read_text().replace("topic readwrite homie/5/#", "topic readwrite homie/5/hembar/#")
    acl.write_text(rights)
    secured.process.send_signal(signal.SIGHUP)  # it reads its access list again
    bridge = Bridge(
        secured_settings(secured, tmp_path / "house.toml"), tmp_path / "state", tmp_path / "bridge.log"
    )
    bridge.start()
    try:
        until_s = time.monotonic() + 10
        while not (dropped := bridge.logged("broker.message.dropped")):
            assert time.monotonic() < until_s, bridge.log.read_text()[-2000:]
            time.sleep(0.05)
    finally:
        bridge.stop()
    assert dropped[0]["topic"].startswith("homie/5/hembar-")
    assert "access list denies it" in dropped[0]["reason"]


def test_a_board_writes_its_own_reports_and_nothing_else(secured: Secured) -> None:
    own, other = BOARDS[0], BOARDS[1]
    with Examination(secured.board_address(own)) as board:
        assert board.allowed(f"shade-boards/{own}/0/report", b"{}")
        assert board.allowed(f"shade-boards/{own}/link", b"{}")
        for topic in (
            f"shade-boards/{other}/0/report",
            f"shade-boards/{other}/link",
            f"shade-boards/{own}/0/order",
            f"shade-boards/{other}/0/order",
            "shade-boards/claim",
            "shade-boards/memory/hembar/study",
            "homie/5/hembar-study/opening/position/set",
            "homie/5/hembar/$state",
        ):
            assert board.allowed(topic, b"{}") is False, topic


def test_a_dashboard_asks_and_neither_orders_nor_claims(secured: Secured) -> None:
    with Examination(secured.address("dashboard")) as dashboard:
        assert dashboard.allowed("homie/5/hembar-study/opening/button/set", b"stop")
        for topic in (
            f"shade-boards/{BOARDS[0]}/0/order",
            "shade-boards/claim",
            "homie/5/hembar-study/opening/position",
            "homie/5/hembar-study/$state",
        ):
            assert dashboard.allowed(topic, b"{}") is False, topic


def test_nobody_comes_in_without_a_certificate_or_with_a_wrong_password(secured: Secured) -> None:
    nobody = replace(secured.address("hembar"), cert_file=None)
    with pytest.raises(LinkError), Visit(nobody):
        pass
    stranger = replace(secured.board_address(BOARDS[0]), password="guess")
    with pytest.raises(LinkError, match="refused the connection"), Visit(stranger):
        pass
    assert json.dumps(PASSWORD) not in secured.log
