"""Level groups of a simulated house: some of its shades hang in a row and are asked together."""

from __future__ import annotations

from random import Random

# Of the houses that can have one, so that about 28 % of all have it: one house in four has a single shade.
SHARE = 0.34
HEIGHT_MM = 2300.0
ROOM_A = 0.01


def draw_row(rng: Random, tables: dict[str, dict[str, object]], shared: dict[str, object]) -> None:
    """Add to the settings a level group of two or more shades whose boards report, in some houses.

    Their supply is made strong enough for all of them at once, as the settings demand.
    """
    able = sorted(name for name, table in tables.items() if _reports(table))
    if len(able) < 2 or rng.random() >= SHARE:
        return
    members = sorted(rng.sample(able, rng.randint(2, len(able))))
    for name in members:
        tables[name]["upper_limit_mm"] = HEIGHT_MM
    groups = shared.setdefault("groups", {})
    assert isinstance(groups, dict)
    groups["row"] = {"members": members, "level": True}
    supplies = shared.get("supplies")
    if isinstance(supplies, dict):
        least = sum(_draws_a(table, moving=name in members) for name, table in tables.items())
        supplies["rail"]["amps"] = max(supplies["rail"]["amps"], least + ROOM_A)


def _reports(table: dict[str, object]) -> bool:
    link = table["link"]
    assert isinstance(link, dict)
    return bool(link["kind"] == "contract")


def _draws_a(table: dict[str, object], *, moving: bool) -> float:
    power = table["power"]
    assert isinstance(power, dict)
    drawn: float = power["moving_a"] if moving else power["standstill_a"]
    return drawn
