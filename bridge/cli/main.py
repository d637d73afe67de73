"""The `hembar` command: picks the subcommand named, imports only that, and turns errors into exit codes.

Exit codes: 0 done, 1 refused by the house, 2 usage or an impossible argument, 69 no broker,
78 bad config. A new subcommand is a module of this package with `add_command(subparsers)` and a
line in `COMMANDS`.
"""

import os
import sys
from collections.abc import Sequence
from importlib import import_module

from bridge.cli.parser import Parser
from bridge.core.errors import BridgeError, ConfigError, LinkError, RequestError

# name, one-line help, module that has add_command(subparsers)
COMMANDS = (
    ("demo", "a simulated house with the real service, and a short story", "bridge.cli.demo"),
    ("run", "the service itself: serve the house in a settings file", "bridge.cli.run"),
    ("status", "one line a shade: percent, band, grade, motion, why", "bridge.cli.status"),
    ("watch", "one line for each change of a shade, as it happens", "bridge.cli.watch"),
    ("move", "ask for a percent open, or up, stop, down, +10 or -10", "bridge.cli.move"),
    ("release", "end a shade's hold: the rules may move it again", "bridge.cli.release"),
    ("pause", "the rules of the whole house rest, or are at work again", "bridge.cli.pause"),
    ("lock", "the service lock: no order at all leaves, for work on a shade", "bridge.cli.lock"),
    ("reference", "pin a position: by its switch, or led by hand at a mark", "bridge.cli.reference"),
    ("confirm", "tell it that the hem bar hangs at its upper or lower limit now", "bridge.cli.confirm"),
    ("commission", "lead a person at a new shade to settings that can be trusted", "bridge.cli.commission"),
    (
        "listen-in",
        "hear a dashboard's topic and propose the [[listen]] settings for it",
        "bridge.cli.listen_in",
    ),
    ("calc", "the builder's calculators", "bridge.cli.calc"),
    ("size", "whether a shade's motor, supply and cable suit it, and what would", "bridge.cli.size"),
    ("check", "say what settings mean, or everything that is wrong with them", "bridge.cli.check"),
    (
        "simulate-boards",
        "run simulated boards and shades against a real broker",
        "bridge.cli.simulate_boards",
    ),
    ("schema", "print the JSON Schema of the settings file, for editors", "bridge.cli.schema"),
    ("year", "try the rules on a weather year, beside habits without rules", "bridge.cli.year"),
    ("day", "a day of each shade: sun, depth, plan, and what really happened", "bridge.cli.day"),
    ("sunmap", "a window's year by month and hour: where the sun is too deep", "bridge.cli.sunmap"),
    ("backup", "settings, journal and the broker's memory in one file", "bridge.cli.backup"),
    ("restore", "go on from a backup on this machine", "bridge.cli.restore"),
    ("doctor", "look broker, boards and machine over, and say what to put right", "bridge.cli.doctor"),
    ("health", "what the references say of each shade: width, errors, scale, slip", "bridge.cli.health"),
    ("page-key", "the page's address with its key, as a QR code for a phone", "bridge.cli.page_key"),
    ("why", "why a shade is where it is: the rule, those that lost, the next look", "bridge.cli.why"),
    ("replay", "derive every decision of a journal again and find any difference", "bridge.cli.replay"),
    ("bench", "measure the way from a request to an order, and what the service takes", "bridge.cli.bench"),
    ("completion", "print a script that completes this command in your shell", "bridge.cli.completion"),
    ("soak", "simulate houses with every fault and check every invariant", "bridge.cli.soak"),
)

EXIT_CODES = ((RequestError, 2), (LinkError, 69), (ConfigError, 78))
# As a shell reports an end by SIGINT or SIGPIPE.
INTERRUPTED, READER_GONE = 130, 141


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        return _run(words)
    except BridgeError as error:
        print(f"{error.where}: {error.problem}\n  {error.remedy}", file=sys.stderr)
        return next((code for kind, code in EXIT_CODES if isinstance(error, kind)), 1)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has left; the interpreter would complain while flushing at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return READER_GONE


def _run(words: list[str]) -> int:
    parser = _parser()
    try:
        args = parser.parse_args(words)
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else 0
    if args.version:
        from importlib.metadata import version  # noqa: PLC0415  slow, and rarely asked for

        print(f"hembar {version('hembar')}")
        return 0
    if args.command is None:
        parser.print_help(sys.stderr)
        return 2
    code: int = args.run(args)
    sys.stdout.flush()
    return code


def whole_parser() -> Parser:
    """Return the command tree with every branch imported, as only a walk through all of it needs."""
    parser = _parser()
    parser.build = None
    subparsers = next(each for each in parser._actions if each.dest == "command")  # noqa: SLF001
    for _, _, module in COMMANDS:
        import_module(module).add_command(subparsers)
    return parser


def _parser() -> Parser:
    """Return the command tree, of which only the branch that is named gets imported."""
    parser = Parser(
        prog="hembar",
        description="Moves motorised roller shades in percent open and says where they are.",
        epilog="Hobby control software: not a safety device, not certified. Shades can move unattended.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="store_true", help="print the version and exit")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND")

    def build(named: str | None) -> None:
        for name, help_line, module in COMMANDS:
            if name == named:
                import_module(module).add_command(subparsers)
            else:
                subparsers.add_parser(name, help=help_line)

    parser.build = build
    return parser
