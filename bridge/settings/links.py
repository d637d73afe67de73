"""The `link` table of a shade: one of two kinds, and what must fit together in it and around it."""

from __future__ import annotations

from collections.abc import Mapping

from bridge.adapters.links.one_way import read_number
from bridge.core.shade.travel import Travel
from bridge.core.spec import AliveTopic, ContractLink, OneWayLink, PowerUp, StopTopic, Unit
from bridge.core.values import BoardId
from bridge.settings import model
from bridge.settings.explain import read_table
from bridge.settings.faults import Place, number, quoted, shown_key

LinkRead = ContractLink | model.OneWayTable
_PERCENTS = (Unit.PERCENT_OPEN, Unit.PERCENT_CLOSED)


def read_link(place: Place, raw: Mapping[str, object], excused: frozenset[str]) -> LinkRead | None:
    """Read the link table as its kind wants it, refusing what is wrong with it."""
    table = raw.get("link")
    if isinstance(table, dict) and table.get("kind") == "one-way":
        link = read_table(place, raw, "link", model.OneWayTable, excused=excused)
        return link if link and _fits_together(place.inside("link"), link) else None
    contract = read_table(place, raw, "link", model.LinkTable, excused=excused)
    return ContractLink(board=BoardId(contract.board), channel=contract.channel) if contract else None


def core_link(read: LinkRead, travel: Travel) -> ContractLink | OneWayLink:
    """Return the link as the core has it."""
    if isinstance(read, ContractLink):
        return read
    unit = Unit(read.unit)
    by_default = 3 if unit is Unit.TURNS else 0
    full = None if read.full_turns is None else travel.drive.steps_for_turns(read.full_turns)
    return OneWayLink(
        topic=read.topic,
        unit=unit,
        decimals=by_default if read.decimals is None else read.decimals,
        full_steps=travel.lower_steps if full is None else round(full),
        retained=read.retained,
        power_up=PowerUp(read.after_power_up),
        latency_s=read.latency_s,
        rest_current=read.rest_current,
        alive=_alive(read),
        stop=None
        if read.stop_topic is None
        else StopTopic(topic=read.stop_topic, payload=read.stop_payload or ""),
    )


def _alive(read: model.OneWayTable) -> AliveTopic | None:
    if read.alive_topic is None:
        return None
    return AliveTopic(
        topic=read.alive_topic, up=read.alive_up, gone=read.alive_gone, within_s=read.alive_within_s
    )


def _fits_together(place: Place, link: model.OneWayTable) -> bool:
    """Refuse each pair of keys that can't be meant together; say whether there was none."""
    found = [*_power_up_faults(link), *_scale_faults(link), *_topic_faults(link)]
    for problem, remedy in found:
        place.refuse(problem, remedy)
    return not found


def _power_up_faults(link: model.OneWayTable) -> list[tuple[str, str]]:
    believes = PowerUp(link.after_power_up)
    if believes is PowerUp.RETAINED_TARGET and not link.retained:
        problem = 'after_power_up = "retained-target" with retained = false: there is none to begin from'
        return [(problem, "set retained = true, or say what the board believes without a retained target")]
    if believes is PowerUp.ZERO and link.retained:
        problem = (
            'after_power_up = "zero" with retained = true: after every power cut the board would run its '
            "whole retained target again from where it hangs, past the end of the cloth"
        )
        return [(problem, "set retained = false, and clear what the topic retains while the board is off")]
    return []


def _scale_faults(link: model.OneWayTable) -> list[tuple[str, str]]:
    unit, found = Unit(link.unit), []
    if unit is Unit.STEPS and link.decimals:
        found.append((f"decimals = {link.decimals} with whole steps", "leave decimals out"))
    if unit not in _PERCENTS and link.full_turns is not None:
        found.append(
            (
                f"full_turns = {number(link.full_turns)} is for percent only, not for {unit}",
                "leave full_turns out",
            )
        )
    return found


def _topic_faults(link: model.OneWayTable) -> list[tuple[str, str]]:
    found = []
    if link.alive_topic is None and (link.alive_up is not None or link.alive_gone is not None):
        found.append(("alive_up and alive_gone are given without alive_topic", "add alive_topic"))
    if link.alive_topic is not None and link.alive_topic in (link.topic, link.stop_topic):
        found.append(
            (
                f"alive_topic = {quoted(link.alive_topic)} is where the board takes orders",
                "name another topic",
            )
        )
    if link.alive_up is not None and link.alive_up == link.alive_gone:
        found.append(
            ("alive_up and alive_gone are the same word", "give each its own, or leave out alive_up")
        )
    if (link.stop_topic is None) != (link.stop_payload is None):
        found.append(("stop_topic and stop_payload go together", "give both, or neither"))
    elif link.stop_topic == link.topic and _is_target(link.stop_payload):
        found.append((f"stop_payload = {quoted(str(link.stop_payload))} is a target too", "name a word"))
    return found


def _is_target(payload: str | None) -> bool:
    return payload is not None and read_number("stop_payload", payload.encode()) is not None


def check_surroundings(
    place: Place,
    link: LinkRead,
    trust: model.TrustTable,
    references: model.ReferencesTable,
    *,
    wind_contact: bool,
) -> None:
    """Refuse what would move or pin a shade unheard, since a one-way board never reports."""
    if isinstance(link, ContractLink):
        return
    if trust.local_button:
        place.inside("trust").refuse(
            "local_button is true, and nobody is told what it does at a one-way board",
            "set local_button = false once there is no button that moves the shade by itself",
        )
    if wind_contact:
        place.refuse(
            "wind_contact is true, and nobody is told when it raises a shade at a one-way board",
            'give the shade a board that reports, kind = "contract"; else its place is wrong after a gust',
        )
    for key in ("upper_switch_mm", "lower_switch_mm", "upper_stall_mm"):
        if getattr(references, key) is not None:
            place.inside("references").refuse(
                f"{key} is given, and a one-way board never tells that it was met",
                f"leave out {key}; a person's confirmation is the reference",
            )


def topics_of(link: LinkRead | None) -> tuple[str, ...]:
    """Return the topics on which a one-way board takes orders."""
    if link is None or isinstance(link, ContractLink):
        return ()
    return (link.topic,) if link.stop_topic in (None, link.topic) else (link.topic, str(link.stop_topic))


def check_links(place: Place, links: Mapping[str, LinkRead | None], roots: tuple[str, ...]) -> None:
    """Refuse two shades on one channel or topic, and one-way topics under a root of the bridge's own."""
    channels: dict[ContractLink, str] = {}
    topics: dict[str, str] = {}
    for key, link in links.items():
        here = place.inside(key, "link")
        if isinstance(link, ContractLink):
            owner = channels.setdefault(link, key)
            if owner != key:
                here.refuse(
                    f"channel {link.channel} of board {quoted(link.board)} already drives "
                    f"[shades.{shown_key(owner)}]",
                    "give each shade a channel of its own",
                )
            continue
        for topic in topics_of(link):
            owner = topics.setdefault(topic, key)
            root = next((root for root in roots if f"{topic}/".startswith(f"{root}/")), None)
            if owner != key:
                here.refuse(
                    f"topic {quoted(topic)} already drives [shades.{shown_key(owner)}]",
                    "give each shade topics of its own",
                )
            elif root is not None:
                here.refuse(
                    f"topic {quoted(topic)} lies under {quoted(root)}, where the bridge itself speaks",
                    "give the board a topic outside, or move that root",
                )
