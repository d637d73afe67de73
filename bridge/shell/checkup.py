"""Looking a house over from its broker: blocking, on a connection of its own; what it means is said in core.

Nothing that is published here moves a shade or is acted on: what tests the right to order can be read by no
board, and none answers it; what tests whether requests are heard goes to a place of its own.
"""

from __future__ import annotations

import json
import ssl
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bridge.adapters.broker import claim, homie
from bridge.adapters.broker.examining import Examination
from bridge.adapters.broker.memory import MemoryShelf
from bridge.adapters.broker.messages import Address, Incoming
from bridge.adapters.broker.tree import MARK
from bridge.adapters.doors import read_json
from bridge.adapters.links import contract
from bridge.core.checkup import CertificateSeen, ChannelSeen, RightSeen, Seen
from bridge.core.contract import VERSION
from bridge.core.errors import LinkError
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.spec import ContractLink, ShadeSpec
from bridge.core.values import BoardId, GroupId, Moment, ShadeId
from bridge.settings.plain import Settings
from bridge.shell.addresses import address_of
from bridge.shell.charge import FORGETFUL, SELF_TEST

_PROBE = b"looked over by hembar"
OLDER = ("term", "kept_since", "stalls")
CLAIMS_WITHIN_S = 1.0
# adjtimex(2): what it returns for a clock that nobody keeps.
_TIME_ERROR = 5
_TIMEX_BYTES = 512
_CLOCK_SET = Path("/run/systemd/timesync/synchronized")
_UPTIME = "$SYS/broker/uptime"

Channel = tuple[BoardId, int]


def look_over(settings: Settings) -> Seen:
    """Return what there is to see.

    Raises:
        LinkError: the broker is not there.
        ConfigError: the password file can't be read.
    """
    address = address_of(settings.broker, role="doctor")
    with Examination(address) as visit:
        return _Look(settings, address, visit).seen()


def look_from_within(settings: Settings) -> Seen:
    """Return what a bridge at work looks for by itself: nothing that it knows anyhow, no stranger's visit.

    Raises:
        LinkError: the broker is not there.
        ConfigError: the password file can't be read.
    """
    address = address_of(settings.broker, role="self-test")
    with Examination(address) as visit:
        return _Look(settings, address, visit).seen_from_within()


class _Look:
    """One look, while the visit is open."""

    def __init__(self, settings: Settings, address: Address, visit: Examination) -> None:
        self._settings, self._address, self._visit = settings, address, visit
        self._root = settings.broker.boards_root
        self._now = datetime.now(UTC)
        self._shades: dict[Channel, ShadeSpec] = {
            (shade.link.board, shade.link.channel): shade
            for shade in settings.house.shades
            if isinstance(shade.link, ContractLink)
        }

    def seen(self) -> Seen:
        visit, root = self._visit, self._root
        spoken = visit.held(contract.subscriptions(root))
        links, reports, unread = self._boards(spoken)
        said = map(claim.read, visit.heard([claim.topic_of(root)], within_s=CLAIMS_WITHIN_S))
        claims = [each for each in said if each is not None]
        broker = self._settings.broker
        device = f"{broker.tree_root}/5/{broker.root_device}"
        shown = {each.topic.removeprefix(f"{device}/"): each.payload for each in visit.held([f"{device}/#"])}
        stranger, stranger_orders = self._stranger()
        need = self._largest()
        ours = {board for board, _ in self._shades}
        return Seen(
            now_utc=self._now,
            clock_set=clock_set(),
            encrypted=self._address.tls or _near(self._address.host),
            certificates=tuple(self._certificates()),
            rights=tuple(self._rights(claims)),
            stranger=stranger,
            stranger_orders=stranger_orders,
            retained_orders=self._retained_orders(),
            retained_wishes=self._retained_wishes(),
            need_bytes=need,
            passed=self._passes(need),
            packet_max=visit.packet_max,
            remembers=self._remembers(forgot=f"$alert/{FORGETFUL}" in shown),
            bridge_state=shown.get("$state", b"").decode("utf-8", "replace"),
            alerts=tuple(
                payload.decode("utf-8", "replace")
                for topic, payload in shown.items()
                if topic.startswith("$alert/") and not topic.endswith((FORGETFUL, SELF_TEST))
            ),
            claims=tuple((each.bridge, each.term) for each in claims),
            boards=tuple((board, links.get(board, "")) for board in sorted(ours)),
            strange_boards=tuple(sorted(set(links) - ours)),
            channels=tuple(self._channels(reports, unread)),
        )

    def seen_from_within(self) -> Seen:
        visit = self._visit
        _, reports, unread = self._boards(visit.held(contract.subscriptions(self._root)))
        need = self._largest()
        self._remembers(forgot=False)  # leaves the mark by which a later look knows
        return Seen(
            now_utc=self._now,
            clock_set=clock_set(),
            certificates=tuple(self._certificates()),
            rights=tuple(self._rights([])),
            retained_orders=self._retained_orders(),
            retained_wishes=self._retained_wishes(),
            need_bytes=need,
            passed=self._passes(need),
            packet_max=visit.packet_max,
            channels=tuple(self._channels(reports, unread)),
        )

    def _retained_orders(self) -> tuple[str, ...]:
        return tuple(each.topic for each in self._visit.held([f"{self._root}/+/+/order"]))

    def _retained_wishes(self) -> tuple[str, ...]:
        tree = self._settings.broker.tree_root
        return tuple(each.topic for each in self._visit.held([f"{tree}/5/+/+/+/set"]))

    def _boards(
        self, spoken: Sequence[Incoming]
    ) -> tuple[dict[BoardId, str], dict[Channel, ReportHeard], dict[str, bytes]]:
        """Return what boards say of their links, what channels report, and what can't be read."""
        links: dict[BoardId, str] = {}
        reports: dict[Channel, ReportHeard] = {}
        unread: dict[str, bytes] = {}
        at = Moment(utc=self._now, mono_s=0.0)
        for each in spoken:
            try:
                said = contract.decode(self._root, each.topic, each.payload, retained=True, at=at)
            except LinkError:
                unread[each.topic] = each.payload
                continue
            if isinstance(said, LinkHeard):
                links[said.board] = said.link
            elif isinstance(said, ReportHeard):
                reports[said.board, said.channel] = said
        self._keys = {each.topic: each.payload for each in spoken}
        return links, reports, unread

    def _channels(
        self, reports: dict[Channel, ReportHeard], unread: dict[str, bytes]
    ) -> Iterator[ChannelSeen]:
        for (board, channel), shade in self._shades.items():
            topic = f"{self._root}/{board}/{channel}/report"
            heard = reports.get((board, channel))
            if heard is not None:
                said = _object(self._keys[topic])
                yield ChannelSeen(
                    board=board,
                    channel=channel,
                    shade=shade.id,
                    version=VERSION,
                    missing=tuple(key for key in OLDER if key not in said),
                    pulses_per_turn=heard.report.pulses_per_turn,
                    settings_pulses_per_turn=shade.travel.drive.pulses_per_turn,
                    term=heard.report.term,
                )
            elif topic in unread:
                version = _object(unread[topic]).get("v")
                known = version if isinstance(version, int) and not isinstance(version, bool) else None
                known = None if known == VERSION else known
                yield ChannelSeen(board=board, channel=channel, shade=shade.id, version=known)

    def _rights(self, claims: list[claim.Claim]) -> Iterator[RightSeen]:
        broker, visit = self._settings.broker, self._visit
        for topic, payload in self._probes.items():
            yield RightSeen(topic=topic, passes=self._lets_through(topic, payload))
        if claims:  # the same words once more
            said = claim.written(claims[-1], boards_root=self._root)
            passes = visit.allowed(said.topic, said.payload, retain=True)
            yield RightSeen(topic=said.topic, passes=passes)
        wishes = {f"{broker.tree_root}/5/{device}/{MARK}/set": _PROBE for device in self._devices}
        heard = visit.come_back(wishes, [f"{broker.tree_root}/5/{each}/+/+/set" for each in self._devices])
        for topic, payload in wishes.items():
            back = topic in heard
            # Where it may not ask itself, nothing can be told of what it hears.
            passes = True if back else False if visit.allowed(topic, payload) else None
            yield RightSeen(topic=topic.replace(MARK, "+/+"), passes=passes, hear=True)

    def _lets_through(self, topic: str, payload: bytes) -> bool:
        said = self._visit.allowed(topic, payload)
        return self._visit.comes_back(topic, payload) if said is None else said

    @property
    def _devices(self) -> tuple[str, ...]:
        house, root = self._settings.house, self._settings.broker.root_device
        names: list[ShadeId | GroupId] = [each.id for each in house.shades]
        names += [each.id for each in house.groups]
        return (root, *(f"{root}-{name}" for name in names))

    @property
    def _orders(self) -> dict[str, bytes]:
        """Return something for each channel that its board can't read, and says nothing to."""
        return {
            contract.order_topic(self._root, board=board, channel=channel): b"{}"
            for board, channel in self._shades
        }

    @property
    def _probes(self) -> dict[str, bytes]:
        """Return by topic what may be published there with nobody taking notice."""
        broker = self._settings.broker
        shelf = MemoryShelf(boards_root=self._root, device=broker.root_device)
        logs = {f"{broker.tree_root}/5/{device}/$log/debug": _PROBE for device in self._devices}
        return {**self._orders, shelf.written(ShadeId("doctor"), None).topic: b"{}", **logs}

    def _stranger(self) -> tuple[bool | None, bool | None]:
        """Return whether somebody without a name is let in, and whether an order of theirs passes."""
        nobody = replace(
            self._address,
            client_id="hembar-doctor-nobody",
            username=None,
            password=None,
            cert_file=None,
            key_file=None,
        )
        try:
            with Examination(nobody) as visit:
                passing = [visit.allowed(topic, payload) for topic, payload in self._orders.items()]
        except (LinkError, ssl.SSLError):
            return False, False
        return True, any(passing) if passing else None

    def _passes(self, size: int) -> bool:
        """Say whether a message of so many bytes comes back; a broker may break off over one too large."""
        try:
            with Examination(self._address) as visit:
                return visit.comes_back(f"{self._root}/doctor", b"." * size)
        except LinkError:
            return False

    def _certificates(self) -> Iterator[CertificateSeen]:
        until = self._visit.certificate_until()
        if until is not None:
            yield CertificateSeen(whose="the broker", until_utc=until)
        for whose, path in (("the bridge", self._address.cert_file), ("your CA", self._address.ca_file)):
            if path is not None and (until := _certificate_until(path)) is not None:
                yield CertificateSeen(whose=whose, until_utc=until)

    def _largest(self) -> int:
        """Return the size of the largest message of this house."""
        settings = self._settings
        names: list[ShadeId | GroupId] = [each.id for each in settings.house.shades]
        names += [each.id for each in settings.house.groups]
        root = settings.broker.root_device
        children = tuple(f"{root}-{name}" for name in names)
        described = [homie.root_description(name=settings.site.name, children=children)]
        described += [homie.shade_description(name=each.name, root=root) for each in settings.house.shades]
        return max(map(len, described))

    def _remembers(self, *, forgot: bool) -> bool | None:
        """Return whether what is retained outlives the broker; leaves a mark for the next look."""
        topic = f"{self._root}/doctor"
        started = self._broker_started()
        mark = next((each for each in self._visit.held([topic])), None)
        left = None if mark is None else _mark_left(mark.payload)
        if left is None:
            said = json.dumps({"left_utc": self._now.isoformat(timespec="seconds")}).encode()
            self._visit.allowed(topic, said, retain=True)
        if left is not None and started is not None and left < started:
            return True
        return False if forgot else None

    def _broker_started(self) -> datetime | None:
        for each in self._visit.held([_UPTIME]):
            number = each.payload.split(b" ")[0]
            if number.isdigit() and len(number) < 11:
                return self._now - timedelta(seconds=int(number))
        return None


def clock_set() -> bool | None:
    """Return whether the clock is held to be kept right; None where nobody says.

    Source: adjtimex(2), which only reads when `modes` is 0; a service that may not set the clock may not ask
    it either, so then systemd-timesyncd(8), whose mark stands once the clock has been set.
    """
    try:
        import ctypes  # noqa: PLC0415  where no memory may be made executable, it may fail to load

        state = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (AttributeError, ImportError, MemoryError, OSError):
        state = -1
    if state < 0:
        return True if _CLOCK_SET.exists() else None
    return state != _TIME_ERROR  # type: ignore[no-any-return]  # a C int


def _mark_left(payload: bytes) -> datetime | None:
    said = _object(payload).get("left_utc")
    try:
        left = datetime.fromisoformat(said) if isinstance(said, str) else None
    except ValueError:
        return None
    return None if left is None or left.tzinfo is None else left


def _object(payload: bytes) -> dict[str, object]:
    try:
        said = read_json(payload, where="a message")
    except LinkError:
        return {}
    return said if isinstance(said, dict) else {}


def _certificate_until(path: str) -> datetime | None:
    # The standard library reads a certificate's file in no public function; one is only ever read here.
    decode = getattr(getattr(ssl, "_ssl", None), "_test_decode_cert", None)
    try:
        said = {} if decode is None else decode(path)
    except OSError:
        return None
    ends = said.get("notAfter")
    return datetime.fromtimestamp(ssl.cert_time_to_seconds(ends), UTC) if isinstance(ends, str) else None


def _near(host: str) -> bool:
    return host in {"localhost", "::1"} or host.startswith("127.")
