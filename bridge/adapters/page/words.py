"""The API's words: what is answered and what is taken, as models from which its description is made.

What a field means stands in its description. Times are aware UTC.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

Percent = Annotated[int, Field(ge=0, le=100)]
Place = Literal["upper", "lower"]


class Said(BaseModel):
    """Something that is answered."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Wanted(BaseModel):
    """Something that is asked; a value of another type is refused, not bent."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class AlertSaid(Said):
    id: str = Field(description="The cause; the same as long as it lasts.")
    text: str = Field(description="What is wrong and what to do.")


class SunSaid(Said):
    azimuth_deg: float = Field(description="Clockwise from true north.")
    elevation_deg: float = Field(description="Of its centre, without refraction.")


class PatchSaid(Said):
    lit: bool = Field(description="The sun shines on the wall of this window.")
    enters: bool = Field(description="There is a sunlit strip on the plane now.")
    near_m: float | None = Field(description="Its near edge, metres from the facade.")
    far_m: float = Field(
        description="Its far edge with the hem bar where it is, at most 20; the farthest possible "
        "where that is unknown; 0 when there is none."
    )


class WindowSaid(Said):
    facade_azimuth_deg: float = Field(description="Where the wall looks to, clockwise from true north.")
    sill_m: float = Field(description="Lower edge of the glass above the floor.")
    head_m: float = Field(description="Upper edge of the glass above the floor.")
    upper_m: float = Field(description="The hem bar above the floor at the upper limit.")
    plane_m: float = Field(description="The plane on which depth is measured, above the floor.")


class NextSaid(Said):
    utc: AwareDatetime
    open_pct: int
    why: str


class ReferenceSaid(Said):
    state: Literal["none", "running", "approaching", "waiting"] = Field(
        description="running: to its switch; approaching: on its way to near a limit; waiting: there, awake, "
        "for a person to jog it to the mark and confirm."
    )
    place: Place | None
    until: AwareDatetime | None = Field(description="So long the motor stays awake for it.")
    ways: list[Literal["switch", "hand"]] = Field(description="How this shade can take a reference.")


class LastReferenceSaid(Said):
    utc: AwareDatetime
    place: str


class AskedSaid(Said):
    open_pct: int | None
    source: str
    utc: AwareDatetime


class ShadeSaid(Said):
    id: str
    name: str
    open_pct: int | None = Field(description="Percent open; null when unknown.")
    target_pct: int | None = Field(description="The last target accepted.")
    low_pct: float = Field(description="The most lowered that it may be.")
    high_pct: float = Field(description="The most raised that it may be.")
    width_mm: float = Field(description="To so many mm the hem bar is known.")
    grade: Literal["referenced", "reckoned", "doubtful", "unknown"]
    motion: Literal["still", "raising", "lowering", "referencing"]
    why: str = Field(description="One sentence.")
    hold_until: AwareDatetime | None = Field(description="The rules leave it alone until then.")
    board: Literal["unheard", "asked", "up", "lost", "off"]
    board_id: str | None
    alerts: list[AlertSaid]
    in_service: bool
    mounting: Literal["interior", "exterior"]
    drop_mm: float
    cloth_width_mm: float | None
    window: WindowSaid | None
    sun: PatchSaid | None
    next: NextSaid | None = Field(description="The next move of the plan.")
    reference: ReferenceSaid
    last_reference: LastReferenceSaid | None
    asked: AskedSaid | None = Field(description="The request that is not reached yet.")


class GroupSaid(Said):
    id: str
    name: str
    members: list[str]
    open_pct: int | None
    target_pct: int | None
    motion: Literal["still", "raising", "lowering", "referencing"] | None
    why: str
    board: Literal["unheard", "asked", "up", "lost", "off"]


class BridgeSaid(Said):
    name: str
    version: str
    timezone: str
    paused: bool
    locked: bool
    in_charge: bool
    broker_up: bool
    alerts: list[AlertSaid]


class HouseSaid(BridgeSaid):
    now: AwareDatetime
    sun: SunSaid | None
    shades: list[ShadeSaid]
    groups: list[GroupSaid]


class MetSaid(Said):
    utc: AwareDatetime
    landmark: str
    off_mm: float | None = Field(description="From the middle of the claim; positive when it hung lower.")
    inside: bool | None = Field(description="The claim held it.")


class ScaleSaid(Said):
    factor: float
    sure: float
    passes: int


class SlipSaid(Said):
    mm_per_move: float
    sure_mm: float
    pairs: int


class HappeningSaid(Said):
    after: AwareDatetime
    before: AwareDatetime
    off_mm: float


class ProposalSaid(Said):
    key: str
    value: str
    why: str


class HealthSaid(Said):
    moves: int
    turns: float
    growth_mm_a_move: float
    moves_a_day: float | None
    days_to_doubt: float | None = Field(description="null: it will not become doubtful by itself.")
    met: list[MetSaid]
    scale: ScaleSaid | None
    slip: SlipSaid | None
    happenings: list[HappeningSaid]
    proposals: list[ProposalSaid]


class ShadeCareSaid(Said):
    id: str
    name: str
    grade: Literal["referenced", "reckoned", "doubtful", "unknown"]
    width_mm: float
    wants_reference: bool
    reference: ReferenceSaid
    alerts: list[AlertSaid]
    board: Literal["unheard", "asked", "up", "lost", "off"]
    health: HealthSaid


class BoardSaid(Said):
    id: str
    state: Literal["unheard", "asked", "up", "lost", "off"]
    boot: int | None
    shades: list[str]


class CareSaid(Said):
    now: AwareDatetime
    house_alerts: list[AlertSaid]
    shades: list[ShadeCareSaid]
    boards: list[BoardSaid]


class MoveSaid(Said):
    utc: AwareDatetime
    from_pct: float
    to_pct: float


class HappenedSaid(Said):
    utc: AwareDatetime
    open_pct: float | None
    held: bool
    gust_mps: float | None


class ShadeDaySaid(Said):
    name: str
    limit_m: float | None
    lit: list[bool]
    far_up_m: list[float] = Field(description="Depth of the sun with the shade up, at most 20.")
    far_m: list[float] = Field(description="The same with the plan.")
    planned_pct: list[float] = Field(description="The plan, which the service follows.")
    planned_since: AwareDatetime | None = Field(
        description="From then on the plan is that in force at each moment, by the journal; before, and if "
        "null, what the rules make of it now."
    )
    rules_pct: list[float] = Field(description="The same when the rules are followed look by look.")
    moves: list[MoveSaid] = Field(description="Of the plan.")
    happened: list[HappenedSaid]


class DaySaid(Said):
    date: str
    timezone: str
    begins: AwareDatetime
    ends: AwareDatetime
    step_s: int
    utc_s: list[int]
    sun_elevation_deg: list[float]
    sun_azimuth_deg: list[float]
    shades: dict[str, ShadeDaySaid]


class EntrySaid(Said):
    row: int
    utc: AwareDatetime
    shade: str | None
    what: str
    level: Literal["debug", "info", "warning", "error"]
    text: str


class JournalSaid(Said):
    entries: list[EntrySaid]
    older: int | None = Field(description="Give it as `before` for what is older; null at the end.")


class RefusedSaid(Said):
    shade: str
    why: str


class TakenSaid(Said):
    taken: Literal[True] = True
    refused: list[RefusedSaid] = Field(default_factory=list, description="Members that could not.")


class RefusalSaid(BaseModel):
    model_config = ConfigDict(extra="forbid")
    taken: Literal[False]
    error: str = Field(description="One fixed word.")
    where: str
    problem: str
    remedy: str
    refused: list[RefusedSaid] | None = None


class AskWanted(Wanted):
    """Exactly one of the three."""

    open_pct: Percent | None = None
    button: Literal["up", "stop", "down"] | None = None
    nudge_pct: Annotated[int, Field(ge=-100, le=100)] | None = None

    @model_validator(mode="after")
    def _one(self) -> AskWanted:
        given = [each for each in (self.open_pct, self.button, self.nudge_pct) if each is not None]
        if len(given) != 1:
            raise ValueError("give exactly one of open_pct, button and nudge_pct")
        return self


class PlaceWanted(Wanted):
    place: Place


class OnWanted(Wanted):
    on: bool


class KeyWanted(Wanted):
    key: Annotated[str, Field(min_length=1, max_length=500)]


class NothingWanted(Wanted):
    """An empty object."""


Document = dict[str, Any]
