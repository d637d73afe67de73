"""Settings as the rest of the bridge sees them: plain values without a trace of the file's form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bridge.adapters.broker.listen import Listen
from bridge.adapters.page.options import PageSettings
from bridge.adapters.sensors.source import Source
from bridge.core.shade.lifting import Lifting
from bridge.core.shade.motor import Motor
from bridge.core.shade.sizing import Feed
from bridge.core.spec import HouseSpec
from bridge.core.values import ShadeId


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the house stands.

    Attributes:
        name: What people call the house.
        latitude_deg: North positive.
        longitude_deg: East positive.
        altitude_m: Above sea level.
        timezone: Name in the IANA time zone database, known to this machine.
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    timezone: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """How to reach the broker and what to call things there.

    Attributes:
        host: Name or address.
        port: TCP port.
        username: None to connect without one.
        password_file: Its first line is the password; None without one.
        client_id: Stem of the ids of the bridge's connections.
        session_s: How long the broker keeps requests while the bridge restarts.
        tls: Encrypt, and check the broker's certificate.
        ca_file: Certificates to trust instead of the machine's own.
        cert_file: The certificate that the bridge shows; None to show none.
        key_file: Its key; None when that stands in `cert_file`.
        boards_root: Topic under which the boards report and take orders.
        tree_root: Topic under which the device tree stands.
        root_device: Id of the bridge's own device in the tree.
    """

    host: str
    port: int
    username: str | None
    password_file: Path | None
    client_id: str
    session_s: int
    tls: bool
    ca_file: Path | None
    cert_file: Path | None
    key_file: Path | None
    boards_root: str
    tree_root: str
    root_device: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftRead:
    """What the settings tell of the weight on a shade and of its motor.

    Attributes:
        lifting: The weight; None when it is not told.
        motor: The motor; None when it is not told.
        feed: Its supply and cable, told with the motor.
    """

    lifting: Lifting | None = None
    motor: Motor | None = None
    feed: Feed | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything the owner has written.

    Attributes:
        house: The shades and how they are driven.
        site: Where the house stands.
        broker: How to reach the broker.
        state_dir: Where the journal is kept; None leaves it to the command line.
        wind_contacts: Shades whose board has a wired wind contact that raises them by itself.
        origin: The file, as messages name it.
        listens: Topics of dashboards and voice assistants.
        sources: Topics of sensors.
        lifts: What is told of the weight and the motor of each shade.
        page: How the page is served; None when it is not.
        raise_all_within_s: The owner's bound on the time until every exterior shade is up; None without one.
    """

    house: HouseSpec
    site: Site
    broker: BrokerSettings
    state_dir: Path | None
    wind_contacts: frozenset[ShadeId]
    origin: str
    listens: tuple[Listen, ...] = ()
    sources: tuple[Source, ...] = ()
    raise_all_within_s: float | None = None
    lifts: Mapping[ShadeId, LiftRead] = field(default_factory=dict)
    page: PageSettings | None = None
