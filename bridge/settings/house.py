"""The whole file: its tables in order, then what must fit between them, then the plain Settings."""

from __future__ import annotations

import difflib
import functools
import zoneinfo
from collections.abc import Mapping
from pathlib import Path

from bridge.adapters.broker.listen import Listen
from bridge.core import surroundings
from bridge.core.spec import HouseSpec, OneWayLink, ShadeSpec
from bridge.core.sun import sky
from bridge.core.values import ShadeId
from bridge.settings import model
from bridge.settings.broker_model import BrokerTable
from bridge.settings.explain import read_table, sub_table
from bridge.settings.faults import Place, quoted
from bridge.settings.keys import refuse_unknown
from bridge.settings.levelling import check_level
from bridge.settings.links import check_links
from bridge.settings.listening import Known, read_listens
from bridge.settings.page import read_page
from bridge.settings.plain import BrokerSettings, Settings, Site
from bridge.settings.ruling import read_restraint, read_sensors, with_rules
from bridge.settings.shade import ShadeRead, read_shade
from bridge.settings.sharing import check_raise, read_groups, read_supplies


def read_house(place: Place, raw: Mapping[str, object], folder: Path) -> Settings | None:
    """Return the settings, or None after refusing everything that is wrong with them.

    Args:
        place: The top of the file.
        raw: The file as read.
        folder: What relative paths start from.
    """
    excused = refuse_unknown(place, raw, model.SettingsFile)
    site = _read_site(place, raw, excused)
    broker = read_table(place, raw, "broker", BrokerTable, excused=excused)
    boards = read_table(place, raw, "boards", model.BoardsTable)
    safety = read_table(place, raw, "safety", model.SafetyTable)
    tree = read_table(place, raw, "tree", model.TreeTable)
    service = read_table(place, raw, "service", model.ServiceTable)
    shades = _read_shades(place, raw, excused)
    roots = ((boards or model.BoardsTable()).root, (tree or model.TreeTable()).root)
    check_links(place.inside("shades"), {key: read.link for key, read in shades.items()}, roots)
    if broker:
        _check_broker(place.inside("broker"), broker)
    if boards and tree:
        _check_roots(place, boards, tree)
    if tree:
        _check_device(place, tree, shades)
    device = (tree or model.TreeTable()).device
    groups = read_groups(place, raw, shades=shades.keys(), device=device)
    specs = tuple(read.spec for read in shades.values() if read.spec)
    supplies = read_supplies(place, raw, specs)
    listens = _read_listens(place, raw, boards, tree, shades)
    sensors = read_sensors(place, raw, list(shades))
    restraint = read_restraint(place, raw)
    page = read_page(place, raw, folder)
    specs = with_rules(place, raw, specs, sensors)
    if not (site and restraint and broker and boards and safety and tree and service and specs):
        return None
    house = HouseSpec(
        name=site.name,
        shades=specs,
        board_wait_s=boards.wait_s,
        groups=groups,
        supplies=supplies,
        stagger_s=boards.stagger_s,
        site=_core_site(site),
        sensors=tuple(each.sensor for each in sensors),
        restraint=restraint,
    )
    check_raise(place, house, safety.raise_all_within_s)
    check_level(place, house, {key: read.upper_limit_mm for key, read in shades.items()})
    return Settings(
        house=house,
        site=site,
        broker=_broker(broker, boards, tree, folder),
        state_dir=_path(service.state_dir, folder),
        wind_contacts=frozenset(ShadeId(key) for key, read in shades.items() if read.wind_contact),
        origin=place.origin,
        listens=listens,
        sources=tuple(each.source for each in sensors),
        raise_all_within_s=safety.raise_all_within_s,
        lifts={ShadeId(key): read.lift for key, read in shades.items() if read.lift},
        page=page,
    )


def _read_listens(
    place: Place,
    raw: Mapping[str, object],
    boards: model.BoardsTable | None,
    tree: model.TreeTable | None,
    shades: Mapping[str, ShadeRead],
) -> tuple[Listen, ...]:
    known = Known(
        shades=shades.keys(),
        groups=sub_table(place, raw, "groups", tell=False) or (),
        boards_root=(boards or model.BoardsTable()).root,
        tree_root=(tree or model.TreeTable()).root,
        device=(tree or model.TreeTable()).device,
        others=[topic for read in shades.values() if read.spec for topic in _one_way_topics(read.spec)],
    )
    return read_listens(place, raw, known)


def _one_way_topics(spec: ShadeSpec) -> tuple[str, ...]:
    """Return the topics on which the bridge tells a board without reports where to go."""
    if not isinstance(spec.link, OneWayLink):
        return ()
    return (spec.link.topic,) if spec.link.stop is None else (spec.link.topic, spec.link.stop.topic)


def _read_site(place: Place, raw: Mapping[str, object], excused: frozenset[str]) -> Site | None:
    site = read_table(place, raw, "site", model.SiteTable, excused=excused)
    if site is None:
        return None
    if site.timezone not in _time_zones():
        near = difflib.get_close_matches(site.timezone[:80], _time_zones(), n=1, cutoff=0.5)
        place.inside("site").refuse(
            f"timezone = {quoted(site.timezone)}: no such name in the IANA time zone database",
            f"did you mean {quoted(near[0])}?" if near else 'write it like "Europe/Lisbon"',
        )
        return None
    return Site(
        name=site.name,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        altitude_m=site.altitude_m,
        timezone=site.timezone,
    )


def _core_site(site: Site) -> surroundings.Site:
    place = sky.Place(
        latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, altitude_m=site.altitude_m
    )
    return surroundings.Site(place=place, timezone=site.timezone)


@functools.cache
def _time_zones() -> frozenset[str]:
    return frozenset(zoneinfo.available_timezones())


def _read_shades(place: Place, raw: Mapping[str, object], excused: frozenset[str]) -> dict[str, ShadeRead]:
    here = place.inside("shades")
    tables = sub_table(place, raw, "shades")
    if tables is None:
        return {}
    if not tables and "shades" not in excused:
        here.refuse("no shade is described", "add a table for each, such as [shades.study]")
    found = {}
    for key in tables:
        table = sub_table(here, tables, key)
        if table is not None:
            found[key] = read_shade(here.inside(key), key, table)
    return found


def _check_broker(place: Place, broker: BrokerTable) -> None:
    if broker.password_file and not broker.username:
        place.refuse("password_file is given without username", "add username, or leave out password_file")
    for key in ("ca_file", "cert_file"):
        if getattr(broker, key) and not broker.tls:
            place.refuse(f"{key} is given without TLS", f"add tls = true, or leave out {key}")
    if broker.key_file and not broker.cert_file:
        place.refuse("key_file is given without cert_file", "add cert_file, or leave out key_file")


def _check_roots(place: Place, boards: model.BoardsTable, tree: model.TreeTable) -> None:
    one, other = f"{boards.root}/", f"{tree.root}/"
    if one.startswith(other) or other.startswith(one):
        place.inside("boards").refuse(
            f"root = {quoted(boards.root)} and [tree] root = {quoted(tree.root)} lie within each other",
            "give the boards and the tree topics of their own",
        )


def _check_device(place: Place, tree: model.TreeTable, shades: Mapping[str, ShadeRead]) -> None:
    if tree.device in shades:
        place.inside("shades", tree.device).refuse(
            f"{quoted(tree.device)} is the id of the bridge's own device in the tree",
            "rename the shade, or the device under [tree]",
        )


def _broker(
    broker: BrokerTable, boards: model.BoardsTable, tree: model.TreeTable, folder: Path
) -> BrokerSettings:
    return BrokerSettings(
        host=broker.host,
        port=broker.port or (8883 if broker.tls else 1883),
        username=broker.username,
        password_file=_path(broker.password_file, folder),
        client_id=broker.client_id,
        session_s=broker.session_s,
        tls=broker.tls,
        ca_file=_path(broker.ca_file, folder),
        cert_file=_path(broker.cert_file, folder),
        key_file=_path(broker.key_file, folder),
        boards_root=boards.root,
        tree_root=tree.root,
        root_device=tree.device,
    )


def _path(text: str | None, folder: Path) -> Path | None:
    return None if text is None else folder / text
