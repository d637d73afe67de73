"""One-way boards of a simulated house: settings drawn in every way they allow, and a board within them."""

from __future__ import annotations

from dataclasses import replace
from random import Random

from bridge.core.spec import OneWayLink, PowerUp, ShadeSpec
from bridge.simulate.fitting import Fitting, OneWayPlan

# A radio hop either way is at most so long while nothing is wrong.
HOPS_S = 0.1
# No progress report is wanted of a board that never reports.
NEVER_S = 1e9
# A board's clock may be out by 5 %; the truth stays inside.
PACE = 0.03
# Signs of life that are no burden on a long run.
BEAT_S = 600.0
SILENT_S = (1300.0, 1500.0)


def how_many(rng: Random, asked: int | None) -> int:
    """Return how many one-way boards a house has beside the others."""
    return rng.choices((0, 1, 2), (72, 22, 6))[0] if asked is None else asked


def draw_link(rng: Random, name: str, holds: object) -> dict[str, object]:
    """Return the link table of a one-way board; where its motor does not hold unpowered it keeps current."""
    retained = rng.random() < 0.5
    unit = rng.choice(("steps", "steps", "turns", "percent open", "percent closed"))
    link: dict[str, object] = {
        "kind": "one-way",
        "topic": f"{name}/target",
        "unit": unit,
        "retained": retained,
        "after_power_up": "retained-target" if retained else "zero",
        "latency_s": rng.uniform(0.3, 1.5),
        "rest_current": rng.random() < (0.5 if holds == "everywhere" else 0.95),
    }
    if unit.startswith("percent"):
        link["decimals"] = rng.randint(0, 2)
    watch = rng.random()
    if watch < 0.65:
        link |= {"alive_topic": f"{name}/alive", "alive_up": "here", "alive_within_s": rng.uniform(*SILENT_S)}
    if watch < 0.45:
        link |= {"alive_gone": "gone", "alive_within_s": rng.uniform(12, 20)}
    if rng.random() < 0.5:
        link |= {"stop_topic": f"{name}/halt", "stop_payload": "halt"}
    return link


def without_senses(table: dict[str, object], fitting: Fitting) -> Fitting:
    """Take from a drawn shade what a one-way board can't have; return its fitting."""
    trust = table["trust"]
    assert isinstance(trust, dict)
    trust["local_button"] = False
    table["references"] = {}
    build = replace(fitting.build, upper_switch_mm=None, lower_switch_mm=None)
    return replace(fitting, build=build, stall=False, progress_s=NEVER_S)


def plan_for(rng: Random, spec: ShadeSpec, fitting: Fitting) -> OneWayPlan:
    """Return a board as its link says, its speed and its delay within what the settings allow."""
    link: OneWayLink = spec.one_way
    alive, stop = link.alive, link.stop
    beats = alive is not None and alive.gone is None
    pace = 1 + PACE * rng.uniform(-1, 1)
    return OneWayPlan(
        id=f"{spec.id}-board",
        channels=(fitting,),
        topic=link.topic,
        unit=link.unit,
        full_steps=link.full_steps,
        power_up=PowerUp(link.power_up),
        pps=max(1, round(spec.top_pps * pace)),
        ramp=max(1, round(spec.ramp_pps2 * pace)),
        delay_s=rng.uniform(0, link.latency_s - HOPS_S),
        rest_current=link.rest_current,
        alive_topic=None if alive is None else alive.topic,
        alive_up=None if alive is None else alive.up,
        alive_gone=None if alive is None else alive.gone,
        beat_s=BEAT_S if beats else None,
        stop_topic=None if stop is None else stop.topic,
        stop_payload=None if stop is None else stop.payload,
    )
