"""`hembar simulate-boards`: boards that are not there, as real clients of a real broker.

Runs until SIGINT or SIGTERM, then says `off`. SIGKILL is a power cut. Decides nothing.
"""

from __future__ import annotations

import argparse
import asyncio
import signal
from pathlib import Path

from bridge.cli.broker_options import host_and_port
from bridge.cli.parser import HelpFormatter
from bridge.cli.state_folder import made

HELP = "run simulated boards with shades that are not there, against a real broker"


def add_command(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command and its options."""
    parser = subparsers.add_parser(
        "simulate-boards",
        help=HELP,
        description=HELP[0].upper() + HELP[1:] + ".",
        epilog="Example:\n  hembar simulate-boards --broker 127.0.0.1 --state /tmp/boards",
        formatter_class=HelpFormatter,
    )
    parser.add_argument("--broker", required=True, type=_address, metavar="HOST[:PORT]", help="the broker")
    parser.add_argument(
        "--root", default="shade-boards", type=_root, help="first level of the topics (%(default)s)"
    )
    parser.add_argument(
        "--house", default="demo", metavar="FILE.json", help="the house to build (%(default)s)"
    )
    parser.add_argument(
        "--state", required=True, type=Path, metavar="DIR", help="where flash and cloth are kept"
    )
    parser.add_argument(
        "--board", action="append", default=[], metavar="ID", help="run only this board; may be repeated"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the boards until a signal ends them.

    Raises:
        ConfigError: the house file can't be used, or the boards run already.
        RequestError: the state folder can't be made, or the house has no such board.
    """
    return asyncio.run(_run(args))


async def _run(args: argparse.Namespace) -> int:
    from bridge.simulate.client import SimulatedHouse  # noqa: PLC0415  # keeps --help fast
    from bridge.simulate.demo_house import DEMO_HOUSE  # noqa: PLC0415
    from bridge.simulate.house_file import read_house  # noqa: PLC0415

    plan = DEMO_HOUSE if args.house == "demo" else read_house(Path(args.house))
    state = made(args.state, "--state")
    host, port = args.broker
    ended = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, ended.set)
    house = SimulatedHouse(plan, state, host=host, port=port, root=args.root, only=args.board)
    async with house:
        for name, live in house.boards.items():
            shades = ", ".join(f"{n} {fitting.shade}" for n, fitting in enumerate(live.plan.channels))
            print(f"{name} is powered (boot {live.board.boot}); channels: {shades}", flush=True)
        print(f"looking for the broker at {host} port {port}; Ctrl-C ends", flush=True)
        await ended.wait()
    return 0


def _address(text: str) -> tuple[str, int]:
    found = host_and_port(text)
    if found is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no HOST[:PORT], such as 127.0.0.1:1883 or [::1]:1883")
    return found


def _root(text: str) -> str:
    if not text or any(sign in text for sign in "+#\0") or text.startswith(("/", "$")) or text.endswith("/"):
        raise argparse.ArgumentTypeError(f"{text!r} is no topic level; it may not hold + or #, nor end in /")
    return text
