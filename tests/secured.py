"""The broker of `config/mosquitto.conf` and `config/mosquitto.acl`, with a CA and names of its own."""

import getpass
import shutil
import socket
import subprocess
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from random import SystemRandom

import trustme

from bridge.adapters.broker.messages import Address
from bridge.adapters.broker.oneshot import Visit
from bridge.core.errors import LinkError
from tests.mosquitto import PORTS, mosquitto_program
from tests.running import settings_for

CONFIG = Path(__file__).parents[1] / "config"
PASSWORD = "a password of the boards"
READY_WITHIN_S = 10.0


@dataclass
class Secured:
    """A running broker and whom it knows."""

    folder: Path
    ca: trustme.CA
    tls_port: int
    board_port: int
    process: subprocess.Popen[bytes]
    until: datetime | None = None

    @property
    def log(self) -> str:
        return (self.folder / "mosquitto.log").read_text(errors="replace")

    def certificate(self, name: str) -> Path:
        """Return a PEM file with a certificate of that common name, and its key."""
        path = self.folder / f"{name}.pem"
        if not path.exists():
            made = self.ca.issue_cert(f"{name}@house.example", common_name=name, not_after=self.until)
            made.private_key_and_cert_chain_pem.write_to_path(str(path))
        return path

    def address(self, name: str) -> Address:
        return Address(
            host="127.0.0.1",
            port=self.tls_port,
            client_id=f"test-{name}",
            tls=True,
            ca_file=str(self.folder / "ca.pem"),
            cert_file=str(self.certificate(name)),
        )

    def board_address(self, name: str) -> Address:
        return Address(
            host="127.0.0.1",
            port=self.board_port,
            client_id=f"test-{name}",
            username=name,
            password=PASSWORD,
        )

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(10)


def secured_broker(
    folder: Path, *, boards: tuple[str, ...], acl: str | None = None, until: datetime | None = None
) -> Secured:
    """Start the broker of the example files with paths and ports put in.

    Args:
        folder: Where all its files are.
        boards: Who has a password.
        acl: Stands in for the example's access list.
        until: When the certificates expire.
    """
    ca = trustme.CA()
    ca.cert_pem.write_to_path(str(folder / "ca.pem"))
    server = ca.issue_cert("127.0.0.1", not_after=until)
    server.cert_chain_pems[0].write_to_path(str(folder / "broker.pem"))
    server.private_key_pem.write_to_path(str(folder / "broker-key.pem"))
    (folder / "hembar.acl").write_text(acl or (CONFIG / "mosquitto.acl").read_text())
    _passwords(folder / "passwords", boards)
    tls_port, board_port = _free_ports()
    text = (CONFIG / "mosquitto.conf").read_text()
    text = text.replace("/etc/mosquitto/certs/", f"{folder}/").replace("/etc/mosquitto/", f"{folder}/")
    text = text.replace("/var/lib/mosquitto/", f"{folder}/")
    text = text.replace("listener 8883", f"listener {tls_port} 127.0.0.1")
    text = text.replace("listener 1883", f"listener {board_port} 127.0.0.1")
    text += f"\nuser {getpass.getuser()}\nlog_dest stderr\nlog_type all\n"
    (folder / "mosquitto.conf").write_text(text)
    with (folder / "mosquitto.log").open("wb") as log:
        process = subprocess.Popen(
            [mosquitto_program(), "-c", str(folder / "mosquitto.conf")],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
        )
    broker = Secured(folder, ca, tls_port, board_port, process, until)
    _wait_until_it_answers(broker)
    return broker


def secured_settings(broker: Secured, to: Path) -> Path:
    """Write the demo house's settings for this broker, by the bridge's own name and certificate."""
    path = settings_for(broker.tls_port, to)
    more = f'tls = true\nca_file = "{broker.folder}/ca.pem"\ncert_file = "{broker.certificate("hembar")}"\n'
    path.write_text(path.read_text().replace("client_id = ", f"{more}client_id = ", 1))
    return path


def _passwords(path: Path, names: tuple[str, ...]) -> None:
    program = shutil.which("mosquitto_passwd")
    assert program is not None, "mosquitto_passwd comes with Debian's mosquitto"
    path.touch(mode=0o600)
    for name in names:
        subprocess.run([program, "-b", str(path), name, PASSWORD], check=True, capture_output=True)


def _free_ports() -> tuple[int, int]:
    found: list[int] = []
    for port in SystemRandom().sample(PORTS, k=50):
        with socket.socket() as trial:
            try:
                trial.bind(("127.0.0.1", port))
            except OSError:
                continue
        found.append(port)
        if len(found) == 2:
            break
    return found[0], found[1]


def _wait_until_it_answers(broker: Secured) -> None:
    until = time.monotonic() + READY_WITHIN_S
    while True:
        assert broker.process.poll() is None, broker.log
        try:
            with Visit(broker.address("hembar")):
                return
        except LinkError:
            assert time.monotonic() < until, broker.log
            time.sleep(0.02)
