"""The form of the settings file: tables, keys, units, bounds and defaults, for loader and editors.

Bounds catch a wrong unit or a slip of the keyboard; what must fit together is checked in `shade.py` and
`house.py`. A description completes "add drop_mm: ..." and is what an editor shows.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from bridge.settings.broker_model import BrokerTable
from bridge.settings.fields import FilePath, Gear, Holds, Id, Line, Table, Topic
from bridge.settings.lift_model import LiftTable, MotorTable
from bridge.settings.listen_fields import HeardTopic, Pointer, Words
from bridge.settings.page_model import PageTable
from bridge.settings.rule_model import RestraintTable, RuleTable, SensorTable, WindowTable


class SiteTable(Table):
    """Where the house stands."""

    name: Line = Field(description="What people call the house.")
    latitude_deg: float = Field(ge=-90, le=90, description="Latitude in degrees, north positive.")
    longitude_deg: float = Field(ge=-180, le=180, description="Longitude in degrees, east positive.")
    altitude_m: float = Field(default=0.0, ge=-450, le=9000, description="Height above sea level in m.")
    timezone: str = Field(description='Time zone by its IANA name, such as "Europe/Lisbon".')


class BoardsTable(Table):
    """How the bridge speaks with the boards."""

    root: Topic = Field(
        default="shade-boards", description="Topic under which boards report and take orders."
    )
    wait_s: float = Field(
        default=30.0, ge=1, le=3600, description="How long a request waits for a lost board, in seconds."
    )
    stagger_s: float = Field(
        default=1.0,
        ge=0,
        le=60,
        description="Least time between two starts in the minute after power has returned, in seconds.",
    )


class SafetyTable(Table):
    """What the house has to be able to do."""

    raise_all_within_s: float | None = Field(
        default=None,
        gt=0,
        le=3600,
        description="Longest time until every exterior shade is up, in seconds; the check refuses more.",
    )


class SupplyTable(Table):
    """A power supply of motors."""

    amps: float = Field(
        gt=0, le=200, description="What the shades on it may draw together, in A at the supply's output."
    )


class GroupTable(Table):
    """Shades that people ask for together."""

    name: Line | None = Field(default=None, description="What people call the group; its id by default.")
    members: list[Id] = Field(min_length=1, max_length=200, description="Ids of the shades in it.")
    level: bool = Field(
        default=False,
        description="Their upper limits have one height, and their hem bars keep level when all are asked.",
    )


class TreeTable(Table):
    """The device tree that dashboards read."""

    root: Topic = Field(default="homie", description="Topic under which the device tree stands.")
    device: Id = Field(default="hembar", description="Id of the bridge's own device in the tree.")


class ServiceTable(Table):
    """The service on this machine."""

    state_dir: FilePath | None = Field(
        default=None, description="Folder of the journal, relative to the settings file."
    )


class NamesPart(Table):
    """What a shade is called and how it hangs."""

    name: Line | None = Field(default=None, description="What people call the shade; its id by default.")
    mounting: Literal["interior", "exterior"] = Field(
        description='On which side of the glass the cloth hangs: "interior" or "exterior".'
    )
    upper_limit_mm: float | None = Field(
        default=None, gt=0, le=20000, description="Height of the upper limit above the floor in mm."
    )
    hold_min: float = Field(
        default=120.0,
        ge=0,
        le=7 * 24 * 60,
        description="How long the rules leave the shade alone after a person's request, in minutes.",
    )
    in_service: bool = Field(
        default=True,
        description="The bridge may move the shade; false while somebody commissions or repairs it.",
    )
    wind_contact: bool = Field(
        default=False, description="The board has a wired wind contact that raises the shade by itself."
    )


class RollPart(Table):
    """The roll; one of tube_mm, cloth_mm, drop_mm and turns may be left out, it is computed."""

    tube_mm: float | None = Field(
        default=None, ge=10, le=250, description="Outer diameter of the bare tube in mm."
    )
    cloth_mm: float | None = Field(
        default=None, ge=0.05, le=5, description="Thickness of one layer of cloth in mm."
    )
    drop_mm: float | None = Field(
        default=None, ge=100, le=15000, description="Cloth paid out from the upper to the lower limit in mm."
    )
    turns: float | None = Field(
        default=None, ge=0.5, le=200, description="Tube turns counted between the limits."
    )
    wraps_left: float = Field(
        ge=1, le=50, description="Turns of cloth still on the tube at the lower limit, counted, at least 1."
    )


class DriveTable(Table):
    """Motor, driver and gear."""

    pulses_per_rev: int = Field(
        ge=4, le=204800, description="Driver pulses for one turn of the motor shaft, micro-stepping included."
    )
    gear: Gear = Field(
        description='Motor turns for one tube turn, exact: a fraction such as "57/11", or a whole number.'
    )
    full_steps_per_rev: int = Field(
        default=200, ge=4, le=2000, description="Full steps of the motor for one turn of its shaft."
    )
    top_pps: int = Field(ge=1, le=200000, description="Top speed in steps per second.")
    ramp_pps2: int = Field(
        ge=1, le=10_000_000, description="Acceleration and braking in steps per second squared."
    )
    confirmed: bool = Field(
        default=False, description="You have measured the drive over the full drop, so its scale is trusted."
    )


class LinkTable(Table):
    """How the bridge talks to the shade's channel."""

    kind: Literal["contract"] = Field(description='"contract": a two-way board that reports.')
    board: Id = Field(description="Id of the board, as it calls itself on the broker.")
    channel: int = Field(default=0, ge=0, le=63, description="Motor channel on that board, from 0.")


class OneWayTable(Table):
    """How the bridge talks to a board that obeys and never reports."""

    kind: Literal["one-way"] = Field(description='"one-way": a board that obeys and never reports.')
    topic: Topic = Field(description="Topic on which the board takes its target.")
    unit: Literal["steps", "turns", "percent open", "percent closed"] = Field(
        description='What a target means: "steps" or tube "turns" below the upper limit, "percent open" or '
        '"percent closed" of the board\'s own steps.'
    )
    decimals: int | None = Field(
        default=None,
        ge=0,
        le=6,
        description="Decimals of a target; 3 for turns and 0 for the others by default.",
    )
    full_turns: float | None = Field(
        default=None,
        ge=0.5,
        le=200,
        description="Tube turns from 0 to 100 percent on the board; those between the limits by default.",
    )
    retained: bool = Field(description="Publish targets retained, so that the board finds its last one.")
    after_power_up: Literal["retained-target", "zero"] = Field(
        description='What the board believes once it has power: to be at its "retained-target", or at "zero".'
    )
    latency_s: float = Field(
        default=1.0, ge=0, le=60, description="How late the board may begin to obey, in seconds."
    )
    rest_current: bool = Field(default=False, description="The board leaves the motor's current on at rest.")
    alive_topic: Topic | None = Field(
        default=None,
        description="Topic that tells whether the board is there: its will, or its signs of life.",
    )
    alive_up: Line | None = Field(
        default=None, description="What that topic says while the board is there; any message by default."
    )
    alive_gone: Line | None = Field(
        default=None, description="What that topic says once the board is gone; nothing by default."
    )
    alive_within_s: float = Field(
        default=30.0,
        ge=1,
        le=3600,
        description="By how many seconds after it the topic has told a loss of power; also the age at which "
        "a sign of life is too old.",
    )
    stop_topic: Topic | None = Field(
        default=None, description="Topic on which the board halts, if it has one."
    )
    stop_payload: Line | None = Field(default=None, description="What has to be sent there to halt it.")


class TrustTable(Table):
    """How far positions are trusted."""

    tolerance_mm: float = Field(
        default=5.0, gt=0, le=500, description="Up to this width in mm a position is referenced."
    )
    doubtful_mm: float = Field(
        default=60.0, gt=0, le=5000, description="Beyond this width in mm a position is doubtful."
    )
    slip_per_move_mm: float = Field(
        default=0.3, ge=0, le=100, description="Half-width in mm that each move adds."
    )
    slip_per_turn_mm: float = Field(
        default=0.05, ge=0, le=100, description="Half-width in mm that each tube turn adds."
    )
    scale_allowance_pct: float = Field(
        default=0.2, ge=0, le=50, description="Error of the distance in percent once the drive is confirmed."
    )
    unconfirmed_scale_allowance_pct: float = Field(
        default=4.0, ge=0, le=50, description="Error of the distance in percent before that."
    )
    overrun_mm: float = Field(
        default=10.0, ge=0, le=1000, description="How far the hem bar can rise above the upper limit in mm."
    )
    hand_repeatability_mm: float = Field(
        default=2.0, gt=0, le=100, description="Half-width in mm of a person's confirmation at a mark."
    )
    local_button: bool = Field(default=True, description="Somebody can move the shade at its board.")


class UnpoweredTable(Table):
    """What the cloth does without motor current."""

    holds: Holds = Field(
        description="Where the unpowered motor holds the cloth: "
        '"everywhere", "nowhere", ranges of percent open, or "computed" from lift and motor.'
    )


class ReferencesTable(Table):
    """Events that pin the position; each is given by the drop at which it happens."""

    upper_switch_mm: float | None = Field(
        default=None, ge=-1000, le=15000, description="Drop in mm at which the upper switch closes."
    )
    lower_switch_mm: float | None = Field(
        default=None, ge=0, le=16000, description="Drop in mm at which the lower switch closes."
    )
    upper_stall_mm: float | None = Field(
        default=None,
        ge=-1000,
        le=0,
        description="Drop in mm, 0 or less, of the upper stop; give it only if stalling there is safe.",
    )
    repeatability_mm: float = Field(
        default=1.0, gt=0, le=100, description="Half-width in mm of where switches and stop really act."
    )
    by_itself: bool = Field(
        default=False,
        description="In doubt, the shade may find its upper end without being asked, outside quiet hours, "
        "once a day at most.",
    )


class PowerTable(Table):
    """What a shade's motor draws from its supply, driver included."""

    supply: Id = Field(description="Id of the supply that feeds the motor.")
    moving_a: float = Field(gt=0, le=50, description="Drawn while it moves, in A at the supply's output.")
    standstill_a: float = Field(
        default=0.0, ge=0, le=50, description="Drawn while it stands still with current, in A."
    )


class ShadeTable(RollPart, NamesPart):
    """One shade."""

    drive: DriveTable = Field(description="Motor, driver and gear.")
    link: LinkTable | OneWayTable = Field(
        discriminator="kind", description="How the bridge talks to the shade's channel."
    )
    unpowered: UnpoweredTable = Field(description="What the cloth does without motor current.")
    trust: TrustTable = Field(default_factory=TrustTable, description="How far positions are trusted.")
    references: ReferencesTable = Field(
        default_factory=ReferencesTable, description="Events that pin the position."
    )
    window: WindowTable | None = Field(
        default=None, description="The window that it hangs at, for rules that look at the sun."
    )
    power: PowerTable | None = Field(
        default=None, description="What its motor draws; without it no supply is reckoned with."
    )
    lift: LiftTable | None = Field(default=None, description="What has to be lifted, for the sizing.")
    motor: MotorTable | None = Field(default=None, description="What lifts it, for the sizing.")


class ListenTable(Table):
    """A topic that a dashboard or voice assistant publishes, and what follows it."""

    topic: HeardTopic = Field(description="The topic that is published, without wildcards.")
    shade: Id | None = Field(default=None, description="Id of the shade that follows.")
    group: Id | None = Field(default=None, description="Id of the group that follows, instead of a shade.")
    says: (
        Literal[
            "percent open",
            "percent closed",
            "fraction open",
            "fraction closed",
            "byte open",
            "byte closed",
        ]
        | None
    ) = Field(
        default=None,
        description="What a number there means: percent 0 to 100, fraction 0 to 1, byte 0 to 255; the "
        "full number is fully open, or fully closed.",
    )
    words: Words = Field(
        default_factory=dict,
        description="Words that are published there, and what each means: a whole percent open, "
        '"up", "stop" or "down".',
    )
    pointer: Pointer | None = Field(
        default=None,
        description='JSON pointer (RFC 6901) to the number or word, such as "/position", in a JSON message.',
    )
    source: Line | None = Field(
        default=None, description="Who asks, as shown in reasons; the topic by default."
    )
    retained: bool = Field(
        default=False,
        description="Take retained messages too; the broker hands the last one back at each connection.",
    )
    qos: int = Field(default=1, ge=0, le=2, description="Quality of service asked of the broker.")


class SettingsFile(Table):
    """Settings of a hembar house: a TOML file."""

    site: SiteTable = Field(description="Where the house stands.")
    broker: BrokerTable = Field(description="How to reach the MQTT broker.")
    boards: BoardsTable = Field(
        default_factory=BoardsTable, description="How the bridge speaks with the boards."
    )
    safety: SafetyTable = Field(
        default_factory=SafetyTable, description="What the house has to be able to do."
    )
    tree: TreeTable = Field(default_factory=TreeTable, description="The device tree that dashboards read.")
    service: ServiceTable = Field(default_factory=ServiceTable, description="The service on this machine.")
    page: PageTable | None = Field(default=None, description="The page for a browser, and its API.")
    shades: dict[str, ShadeTable] = Field(
        min_length=1,
        description="One table per shade, [shades.<id>]; ids have a-z, 0-9 and inner hyphens.",
    )
    groups: dict[str, GroupTable] = Field(
        default_factory=dict, description="Shades that people ask for together, [groups.<id>]."
    )
    supplies: dict[str, SupplyTable] = Field(
        default_factory=dict, description="The power supplies of the motors, [supplies.<id>]."
    )
    sensors: dict[str, SensorTable] = Field(
        default_factory=dict, description="The sensors that rules look at, [sensors.<id>]."
    )
    restraint: RestraintTable = Field(
        default_factory=RestraintTable, description="How sparingly the rules move shades."
    )
    rule: list[RuleTable] = Field(
        default_factory=list,
        description="The rules, one [[rule]] table for each; of two that ask the contrary the first wins.",
    )
    listen: list[ListenTable] = Field(
        default_factory=list,
        description="Topics of dashboards and voice assistants, one [[listen]] table for each.",
    )
