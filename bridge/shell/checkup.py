"""Looking a house over from its broker: blocking, on a connection of its own; what it means is said in core.

Nothing that is published here moves a shade or is acted on: the order that tests a right repeats one that the
board has acted on already, and boards take no notice of such a one.
"""

from __future__ import annotations

import ctypes
import json
import ssl
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from bridge.adapters.broker import claim, homie
from bridge.adapters.broker.examining import Examination
from bridge.adapters.broker.memory import MemoryShelf
from bridge.adapters.broker.messages import Address, Incoming
from bridge.adapters.doors import read_json
from bridge.adapters.links import contract
from bridge.core.checkup import CertificateSeen, ChannelSeen, RightSeen, Seen
from bridge.core.contract import VERSION, Do, Order
from bridge.core.errors import LinkError
from bridge.core.events import LinkHeard, ReportHeard
from bridge.core.spec import ContractLink, ShadeSpec
from bridge.core.values import BoardId, GroupId, Moment, ShadeId
from bridge.settings.plain import Settings
from bridge.shell.addresses import address_of
from bridge.shell.charge import FORGETFUL

OLDER = ("term", "kept_since", "stalls")
CLAIMS_WITHIN_S = 1.0
# adjtimex(2): what it returns for a clock that nobody keeps.
_TIME_ERROR = 5
_TIMEX_BYTES = 512
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
        orders = self._harmless_orders(reports, claims)
        stranger, stranger_orders = self._stranger(orders)
        need = self._largest()
        ours = {board for board, _ in self._shades}
        return Seen(
            now_utc=self._now,
            clock_set=clock_set(),
            encrypted=self._address.tls or _near(self._address.host),
            certificates=tuple(self._certificates()),
            rights=tuple(self._rights(orders, claims)),
            stranger=stranger,
            stranger_orders=stranger_orders,
            retained_orders=tuple(each.topic for each in visit.held([f"{root}/+/+/order"])),
            retained_wishes=tuple(each.topic for each in visit.held([f"{broker.tree_root}/5/+/+/+/set"])),
            need_bytes=need,
            passed=self._passes(need),
            packet_max=visit.packet_max,
            remembers=self._remembers(forgot=f"$alert/{FORGETFUL}" in shown),
            bridge_state=shown.get("$state", b"").decode("utf-8", "replace"),
            alerts=tuple(
                payload.decode("utf-8", "replace")
                for topic, payload in shown.items()
                if topic.startswith("$alert/") and not topic.endswith(FORGETFUL)
            ),
            claims=tuple((each.bridge, each.term) for each in claims),
            boards=tuple((board, links.get(board, "")) for board in sorted(ours)),
            strange_boards=tuple(sorted(set(links) - ours)),
            channels=tuple(self._channels(reports, unread)),
        )

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

    def _harmless_orders(
        self, reports: dict[Channel, ReportHeard], claims: list[claim.Claim]
    ) -> list[tuple[str, bytes]]:
        """Return for each channel a question that its board takes for one it has answered already."""
        claimed = max((each.term for each in claims), default=0)
        found = []
        for (board, channel), heard in reports.items():
            report = heard.report
            order = Order(
                do=Do.TELL,
                term=max(claimed, report.term or 0),
                boot=report.boot,
                seq=report.seq,
                seen=report.n,
            )
            found.append(contract.encode(order, root=self._root, board=board, channel=channel))
        return found

    def _rights(self, orders: list[tuple[str, bytes]], claims: list[claim.Claim]) -> Iterator[RightSeen]:
        broker, visit = self._settings.broker, self._visit
        for topic, payload in orders:
            yield RightSeen(topic=topic, passes=visit.allowed(topic, payload))
        if claims:  # the same words once more
            said = claim.written(claims[-1], boards_root=self._root)
            yield RightSeen(topic=said.topic, passes=visit.allowed(said.topic, said.payload, retain=True))
        shelf = MemoryShelf(boards_root=self._root, device=broker.root_device)
        topic = shelf.written(ShadeId("doctor"), None).topic
        yield RightSeen(topic=topic, passes=visit.allowed(topic, b"{}"))
        children = [f"{broker.root_device}-{shade.id}" for shade in self._settings.house.shades]
        for device in (broker.root_device, *children):
            topic = f"{broker.tree_root}/5/{device}/$log/debug"
            yield RightSeen(topic=topic, passes=visit.allowed(topic, b"looked over by hembar doctor"))

    def _stranger(self, orders: list[tuple[str, bytes]]) -> tuple[bool | None, bool | None]:
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
                passing = [visit.allowed(topic, payload) for topic, payload in orders]
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
    """Return whether the kernel holds its clock to be kept right; None where it does not say.

    Source: adjtimex(2), which only reads when `modes` is 0.
    """
    try:
        state = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.create_string_buffer(_TIMEX_BYTES))
    except (AttributeError, OSError):
        return None
    return None if state < 0 else state != _TIME_ERROR


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
