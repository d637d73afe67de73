"""The [[listen]] tables: topics that a dashboard or voice assistant publishes, and the shade that follows.

Each table is read alone, then held against the house: the shade must be there, and the topic must not be one
that the bridge publishes itself.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from bridge.adapters.broker.listen import Listen, Says, word_means
from bridge.settings import model
from bridge.settings.explain import read_part
from bridge.settings.faults import Place, listed, quoted, shown
from bridge.settings.keys import refuse_unknown

TABLES_MAX = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the tables are held against.

    Attributes:
        shades: Ids of the shades.
        groups: Ids of the groups.
        boards_root: Topic under which the boards report and take orders.
        tree_root: Topic under which the device tree stands.
        device: Id of the bridge's own device in the tree.
        others: Further topics that the bridge publishes.
    """

    shades: Collection[str]
    groups: Collection[str]
    boards_root: str
    tree_root: str
    device: str
    others: Collection[str] = ()


def read_listens(place: Place, raw: Mapping[str, object], known: Known) -> tuple[Listen, ...]:
    """Return the tables under `listen`, refusing everything that is wrong with them."""
    tables = raw.get("listen", [])
    if not isinstance(tables, list) or not all(isinstance(each, dict) for each in tables):
        place.refuse(f"listen = {shown(tables)} must be tables", "write each as [[listen]]")
        return ()
    if len(tables) > TABLES_MAX:
        place.refuse(f"{len(tables)} [[listen]] tables", f"at most {TABLES_MAX} are read")
        return ()
    found: list[tuple[Place, Listen]] = []
    for number, table in enumerate(tables, 1):
        here = place.item("listen", number)
        listen = _read(here, table, known)
        if listen is not None:
            _check_against(here, listen, found)
            found.append((here, listen))
    return tuple(listen for _, listen in found)


def _read(place: Place, raw: Mapping[str, object], known: Known) -> Listen | None:
    part = read_part(place, raw, model.ListenTable, excused=refuse_unknown(place, raw, model.ListenTable))
    if part is None:
        return None
    _check_topic(place, part.topic, known)
    _check_follower(place, part, known)
    if part.says is None and not part.words:
        place.refuse(
            "neither says nor words is given",
            f"add says = {quoted(Says.PERCENT_OPEN)}, or another of {listed(list(Says), 'or')}, or words",
        )
    return Listen(
        topic=part.topic,
        shade=part.shade,
        group=part.group,
        says=None if part.says is None else Says(part.says),
        words={word: meaning for word, value in part.words.items() if (meaning := word_means(value))},
        pointer=part.pointer,
        source=part.source or part.topic,
        retained=part.retained,
        qos=part.qos,
    )


def _check_topic(place: Place, topic: str, known: Known) -> None:
    own = _own(topic, known)
    place_of_ours = "is a topic" if own == topic else f"lies under {quoted(own)}"
    if own:
        place.refuse(
            f"topic = {quoted(topic)} {place_of_ours}, where the bridge and its boards speak",
            "listen to the dashboard's own topic; the tree's topics that end in /set are heard anyway",
        )


def _own(topic: str, known: Known) -> str:
    """Return the topic of ours that `topic` is or lies under; "" when it is a stranger's."""
    tree = f"{known.tree_root}/5/"
    device = topic.removeprefix(tree).split("/")[0] if topic.startswith(tree) else ""
    if device == known.device or device.startswith(f"{known.device}-"):
        return f"{tree}{device}"
    if topic == known.boards_root or topic.startswith(f"{known.boards_root}/"):
        return known.boards_root
    return topic if topic in known.others else ""


def _check_follower(place: Place, part: model.ListenTable, known: Known) -> None:
    if (part.shade is None) == (part.group is None):
        problem = "shade and group are both given" if part.shade else "neither shade nor group is given"
        place.refuse(problem, 'name the one that follows, such as shade = "study"')
        return
    kind, name, names = (
        ("shade", part.shade, known.shades) if part.shade else ("group", part.group, known.groups)
    )
    if name not in names:
        place.refuse(
            f"{kind} = {quoted(name or '')}: there is no such {kind}",
            f"name one of {listed(sorted(names), 'or')}" if names else f"add [{kind}s.{name}]",
        )


def _check_against(place: Place, listen: Listen, found: list[tuple[Place, Listen]]) -> None:
    for there, other in found:
        if other.topic != listen.topic:
            continue
        follower, its = (listen.shade, listen.group), (other.shade, other.group)
        if (listen.pointer, follower) == (other.pointer, its):
            place.refuse(
                f"topic = {quoted(listen.topic)}: {there.table} reads the same for the same",
                "keep one of the two; a table may have says and words together",
            )
        elif (listen.retained, listen.qos) != (other.retained, other.qos):
            place.refuse(
                f"topic = {quoted(listen.topic)}: {there.table} has another retained or qos",
                "give both tables of a topic the same",
            )


def in_words(listen: Listen) -> str:
    """Say what follows a topic, and how it is read."""
    follower = f"shade {listen.shade}" if listen.shade else f"group {listen.group}"
    words = f"{len(listen.words)} words" if len(listen.words) > 1 else "1 word" if listen.words else ""
    read = " or ".join(part for part in (listen.says or "", words) if part)
    at = "" if listen.pointer is None else f" at {quoted(listen.pointer)}"
    kept = "; retained messages count" if listen.retained else ""
    return f"{listen.topic}{at} ({read}) moves {follower}{kept}"
