"""`hembar check FILE`: what the settings mean, or everything that is wrong with them."""

from __future__ import annotations

import argparse
import json
import sys
import textwrap
from typing import TYPE_CHECKING, Any

from bridge.cli.parser import HelpFormatter

if TYPE_CHECKING:
    from bridge.adapters.broker.listen import Listen
    from bridge.core.spec import ShadeSpec
    from bridge.settings.faults import ConfigFaults
    from bridge.settings.meaning import ShadeMeaning
    from bridge.settings.plain import Settings

EXIT_CONFIG = 78
_WIDTH = 100
_LABEL = 18


def add_command(
    subparsers: argparse._SubParsersAction[argparse.ArgumentParser],
) -> None:  # argparse has no public name
    """Add `check` to the commands."""
    parser = subparsers.add_parser(
        "check",
        help="say what a settings file means, or everything that is wrong with it",
        description="Reads a settings file; no shade moves. Exit 0, or 78 and every fault on standard error.",
        epilog="Example:\n  hembar check /etc/hembar/hembar.toml",
        formatter_class=HelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", metavar="FILE", help="the settings, a TOML file")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check the file; return the exit code."""
    from bridge.settings.faults import ConfigFaults  # noqa: PLC0415 - other commands need not wait for pydantic
    from bridge.settings.load import load  # noqa: PLC0415 - as above
    from bridge.settings.meaning import house_cautions, shade_meaning  # noqa: PLC0415 - as above
    from bridge.settings.rules_in_words import wind_cautions  # noqa: PLC0415 - as above

    try:
        settings = load(args.file)
    except ConfigFaults as faults:
        print(faults, file=sys.stderr)
        if args.json:
            print(json.dumps(_faults_json(faults), indent=2))
        return EXIT_CONFIG
    meanings = [
        shade_meaning(spec, wind_contact=spec.id in settings.wind_contacts) for spec in settings.house.shades
    ]
    cautions = house_cautions(settings) + wind_cautions(settings)
    if args.json:
        print(json.dumps(_json(settings, meanings, cautions), indent=2, ensure_ascii=False))
    else:
        print("\n".join(_lines(settings, meanings, cautions)))
    return 0


def _lines(settings: Settings, meanings: list[ShadeMeaning], cautions: tuple[str, ...]) -> list[str]:
    from bridge.settings.listening import in_words  # noqa: PLC0415 - as above
    from bridge.settings.meaning import SAFETY  # noqa: PLC0415 - as above

    broker = settings.broker
    count = "1 shade" if len(meanings) == 1 else f"{len(meanings)} shades"
    lines = [
        f"{settings.site.name}: {count}; no fault found in {settings.origin}",
        *_row("broker", f"{broker.host} port {broker.port}{', TLS' if broker.tls else ''}"),
        *_row("topics", f"boards under {broker.boards_root}, device tree under {broker.tree_root}"),
    ]
    lines += [line for listen in settings.listens for line in _row("listens", in_words(listen))]
    lines += _shared_lines(settings)
    lines += [line for caution in cautions for line in _row("! caution", caution)]
    for meaning in meanings:
        lines += ["", *_shade_lines(meaning)]
    return [*lines, "", *(line for text in SAFETY for line in textwrap.wrap(text, _WIDTH))]


def _shared_lines(settings: Settings) -> list[str]:
    from bridge.settings.power import raise_in_words, supply_in_words, supply_meanings  # noqa: PLC0415 - as above
    from bridge.settings.rules_in_words import (  # noqa: PLC0415 - as above
        retract_in_words,
        rules_in_words,
        sensor_in_words,
    )

    house = settings.house
    raised = raise_in_words(house, settings.raise_all_within_s)
    rows = [("supply", supply_in_words(each)) for each in supply_meanings(house)]
    rows += [("raising all", raised)] if raised else []
    rows += [("sensor", sensor_in_words(each)) for each in house.sensors]
    rows += [("rule", each) for each in rules_in_words(house)]
    retract = retract_in_words(house)
    rows += [("in the wind", retract)] if retract else []
    rows += [
        ("group", f"{each.id}: {', '.join(each.members)}{'; level' if each.level else ''}")
        for each in house.groups
    ]
    return [line for label, text in rows for line in _row(label, text)]


def _shade_lines(meaning: ShadeMeaning) -> list[str]:
    from bridge.settings.faults import number  # noqa: PLC0415 - as above
    from bridge.settings.meaning import holds_in_words, link_in_words  # noqa: PLC0415 - as above

    spec, roll = meaning.spec, meaning.spec.travel.roll
    exact = meaning.pulses_per_turn
    decimal = "" if exact.denominator == 1 else f" = {float(exact):.4f}"
    rows = (
        ("link", f"{link_in_words(spec)}; {spec.mounting}"),
        (
            "roll",
            (
                f"tube {roll.tube_mm:.4g} mm, cloth {roll.cloth_mm:.4g} mm, drop {roll.drop_mm:.5g} mm, "
                f"wraps left {roll.wraps_left:.4g}"
            ),
        ),
        ("turns", f"{meaning.total_turns:.3f} between the limits"),
        ("steps a turn", f"{exact}{decimal}"),
        (
            "full travel",
            (
                f"{meaning.full_travel_steps} steps in {meaning.full_travel_s:.1f} s; hem bar up to "
                f"{meaning.fastest_mmps:.0f} mm/s, motor {meaning.motor_rpm:.0f} rpm"
            ),
        ),
        ("one percent", f"{number(meaning.mm_per_percent)} mm of drop"),
        (
            "cloth build-up",
            (
                f"turns taken as proportional to drop would hang the hem bar up to "
                f"{meaning.largest_linear_error_mm:.1f} mm too low"
            ),
        ),
        (
            "wrap margin",
            (
                f"half a turn of cloth always stays: nothing is ordered deeper than "
                f"{meaning.spare_mm:.0f} mm below the lower limit"
            ),
        ),
        ("a full move", f"adds {meaning.full_move_width_mm:.1f} mm to what is uncertain"),
        ("unpowered", f"the motor holds the cloth {holds_in_words(spec)}"),
        *(("! caution", caution) for caution in meaning.cautions),
    )
    title = spec.id if spec.name == spec.id else f"{spec.id}: {spec.name}"
    return [title, *(line for label, text in rows for line in _row(label, text))]


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(
        text, _WIDTH, initial_indent=f"  {label:<{_LABEL - 2}}", subsequent_indent=" " * _LABEL
    )


def _json(settings: Settings, meanings: list[ShadeMeaning], cautions: tuple[str, ...]) -> dict[str, Any]:
    from bridge.settings.meaning import SAFETY  # noqa: PLC0415 - as above

    return {
        "file": settings.origin,
        "house": settings.site.name,
        "shades": [_shade_json(meaning) for meaning in meanings],
        **_shared_json(settings),
        "listens": [_listen_json(listen) for listen in settings.listens],
        "cautions": list(cautions),
        "safety": list(SAFETY),
    }


def _shared_json(settings: Settings) -> dict[str, Any]:
    from bridge.core.command.supply import worst_raise_s  # noqa: PLC0415 - as above
    from bridge.settings.power import supply_meanings  # noqa: PLC0415 - as above
    from bridge.settings.rules_in_words import rules_in_words, worst_retract_s  # noqa: PLC0415 - as above

    supplies = [
        {
            "id": each.spec.id,
            "amps": each.spec.amps,
            "shades": [shade.id for shade in each.shades],
            "moving_a": each.moving_a,
            "standing_a": each.standing_a,
        }
        for each in supply_meanings(settings.house)
    ]
    return {
        "supplies": supplies,
        "raise_all_s": worst_raise_s(settings.house),
        "sensors": [
            {"id": each.id, "kind": each.kind, "stale_s": each.stale_s} for each in settings.house.sensors
        ],
        "rules": list(rules_in_words(settings.house)),
        "wind_retract_s": worst_retract_s(settings.house),
        "raise_all_within_s": settings.raise_all_within_s,
        "groups": [
            {"id": each.id, "members": list(each.members), "level": each.level}
            for each in settings.house.groups
        ],
    }


def _shade_json(meaning: ShadeMeaning) -> dict[str, Any]:
    spec, roll = meaning.spec, meaning.spec.travel.roll
    return {
        "id": spec.id,
        "name": spec.name,
        "mounting": str(spec.mounting),
        **_link_json(spec),
        "tube_mm": roll.tube_mm,
        "cloth_mm": roll.cloth_mm,
        "drop_mm": roll.drop_mm,
        "wraps_left": roll.wraps_left,
        "total_turns": meaning.total_turns,
        "pulses_per_turn": str(meaning.pulses_per_turn),
        "full_travel_steps": meaning.full_travel_steps,
        "full_travel_s": meaning.full_travel_s,
        "fastest_mmps": meaning.fastest_mmps,
        "motor_rpm": meaning.motor_rpm,
        "mm_per_percent": meaning.mm_per_percent,
        "largest_linear_error_mm": meaning.largest_linear_error_mm,
        "spare_turns": meaning.spare_turns,
        "spare_mm": meaning.spare_mm,
        "full_move_width_mm": meaning.full_move_width_mm,
        "unpowered_holds_pct": [list(pair) for pair in spec.unpowered_holds],
        "cautions": list(meaning.cautions),
    }


def _link_json(spec: ShadeSpec) -> dict[str, Any]:
    from bridge.core.spec import ContractLink  # noqa: PLC0415 - as above

    link = spec.link
    if isinstance(link, ContractLink):
        return {"board": link.board, "channel": link.channel}
    return {
        "topic": link.topic,
        "unit": link.unit,
        "retained": link.retained,
        "power_up": link.power_up,
        "latency_s": link.latency_s,
        "alive_topic": None if link.alive is None else link.alive.topic,
        "stop_topic": None if link.stop is None else link.stop.topic,
    }


def _listen_json(listen: Listen) -> dict[str, Any]:
    return {
        "topic": listen.topic,
        "shade": listen.shade,
        "group": listen.group,
        "says": listen.says,
        "words": list(listen.words),
        "pointer": listen.pointer,
        "source": listen.source,
        "retained": listen.retained,
        "qos": listen.qos,
    }


def _faults_json(faults: ConfigFaults) -> dict[str, Any]:
    return {
        "file": faults.where,
        "faults": [
            {"where": fault.where, "problem": fault.problem, "remedy": fault.remedy}
            for fault in faults.faults
        ],
    }
