"""`hembar calc`: the builder's calculators, each a command of its own."""

from typing import TYPE_CHECKING

from bridge.cli.parser import HelpFormatter, Parser

if TYPE_CHECKING:
    from bridge.cli.answers import Subparsers

_BUILDING = ("roll", "gear", "move", "lift", "cable")
_SUN_AND_WIND = ("sun", "daylight", "sunlit-year", "cloth", "wind")


def add_command(subparsers: "Subparsers") -> None:
    """Register `calc`; the sun's libraries are loaded only for its own calculators."""
    parser = subparsers.add_parser(
        "calc",
        help="the builder's calculators",
        description="The builder's calculators. Each prints a table, or one JSON object with --json.",
        epilog="Example:\n  hembar calc gear --pulses-per-rev 800 --gear 57/11 --turns 13\n\n"
        "`hembar calc CALCULATOR --help` shows one for each.",
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    calculators = parser.add_subparsers(dest="calculator", required=True, metavar="CALCULATOR")

    def build(named: str | None) -> None:
        if named not in _SUN_AND_WIND:
            from bridge.cli import calc_build  # noqa: PLC0415  loaded where it is named

            calc_build.add_commands(calculators)
        if named not in _BUILDING:
            from bridge.cli import calc_sun  # noqa: PLC0415  loaded where it is named

            calc_sun.add_commands(calculators)

    assert isinstance(parser, Parser)
    parser.build = build
