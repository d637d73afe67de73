"""What drives a shade, asked before anything moves: which board, or where a one-way board begins."""

from __future__ import annotations

from bridge.adapters.broker.workbench import Workbench
from bridge.cli.commission_asking import Asker
from bridge.cli.commission_link import boards_found, retained_target
from bridge.cli.commission_progress import Progress
from bridge.core.commissioning.state import Question
from bridge.core.errors import RequestError
from bridge.core.shade.units import count_of
from bridge.core.spec import ShadeSpec
from bridge.core.values import ShadeId
from bridge.settings.plain import Settings


def shade_of(settings: Settings, shade: str) -> ShadeSpec:
    """Return a shade of the settings; a new one must be described there first.

    Raises:
        RequestError: it is not.
    """
    known = {spec.id: spec for spec in settings.house.shades}
    if shade not in known:
        raise RequestError(
            where=f"shade {shade!r}",
            problem=f"there is no [shades.{shade}] in {settings.origin}",
            remedy=f"name one of {', '.join(known)}; for a new one copy [shades.study] and its tables from "
            "config/hembar.toml, put in what you have measured and guess the rest",
        )
    return known[ShadeId(shade)]


def choose(bench: Workbench, asker: Asker, settings: Settings, spec: ShadeSpec, progress: Progress) -> bool:
    """Ask for what drives the shade, and where it begins; False when that was put away."""
    if progress.before.two_way:
        return _choose_board(bench, asker, settings.broker.boards_root, spec, progress)
    return _one_way_begins(bench, asker, spec, progress)


def _choose_board(bench: Workbench, asker: Asker, root: str, spec: ShadeSpec, progress: Progress) -> bool:
    found = boards_found(bench, root)
    names = [f"{board}/{channel}" for board, channels in found.items() for channel in channels]
    written = f"{spec.contract.board}/{spec.contract.channel}"
    text = (
        "Boards that are up on this broker, with their channels:",
        *(f"  {name}{'   (in the settings)' if name == written else ''}" for name in names),
        *(() if names else ("  none: check their power, Wi-Fi and the broker in their board.json",)),
        f"Which one drives {spec.name}?",
    )
    question = Question(
        key="board", text=text, hint="board/channel", default=written if written in names else None
    )
    while (said := asker.ask(question)) not in names:
        if said == "quit":
            return False
        print(f"board: {said!r} is not among them")
    board, _, channel = said.rpartition("/")
    progress.board, progress.channel = board, int(channel)
    return True


def _one_way_begins(bench: Workbench, asker: Asker, spec: ShadeSpec, progress: Progress) -> bool:
    link = spec.one_way
    target = retained_target(bench, spec) if link.retained else None
    believes = f"to be at its retained target, {target}" if target is not None else "to be at 0"
    progress.count = 0 if target is None else count_of(spec, target)
    return asker.agreed(
        "believes",
        f"A one-way board never reports, so you are its eyes. Its topic is {link.topic}.",
        "Support the cloth, and switch the board off and on now: then it believes",
        f"{believes}, wherever it hangs. Is it done?",
    )
