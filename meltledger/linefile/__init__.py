"""The keys of a line's file and what they may hold; pydantic reads the outside text into these."""

from __future__ import annotations

from typing import Annotated, Final, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ConfigDict, Field, field_validator

from historian.written import Section, quantity_in
from meltledger.linefile.digest import DigestSection
from meltledger.linefile.metrics import MetricsSection
from meltledger.linefile.mqtt_json import MqttJsonSection
from meltledger.linefile.opcua import OpcUaSection
from meltledger.linefile.sensors import SensorsSection
from meltledger.linefile.source import SourceSection, TagSection
from meltledger.linefile.sparkplug import SparkplugSection
from meltledger.linefile.words import (
    Bar,
    Degrees,
    Duration,
    Name,
    Place,
    Seconds,
    TagPath,
    checked,
    http_server,
    variable,
)

__all__ = [
    "OF_EMBEDDED",
    "OF_INFLUXDB",
    "DigestSection",
    "LineFile",
    "Machine",
    "MetricsSection",
    "MqttJsonSection",
    "OpcUaSection",
    "Place",
    "RuleSection",
    "Source",
    "SourceSection",
    "SparkplugSection",
    "StoreSection",
    "TagSection",
]

Source = Annotated[OpcUaSection | MqttJsonSection | SparkplugSection, Field(discriminator="kind")]
"""A ``[[source]]``: which keys it has depends on its kind."""


class Line(Section):
    """Who the line is and where it stands."""

    name: Name = Field(description="Short name of the line: lower case, digits, hyphens.")
    zone: str = Field(description="IANA time zone of the site; storage is UTC all the same.")

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise ValueError(f"'{value}' is no IANA time zone; write one such as Europe/Madrid") from error
        return value


class StoreSection(Section):
    """Where the samples are kept, and how long."""

    kind: Literal["embedded", "influxdb"] = Field(
        "embedded", description="embedded: on this host, no server needed; influxdb: on an InfluxDB server."
    )
    path: str = Field(
        description="Folder of the store, journal and trial record; relative to this file. "
        "influxdb: what waits for the server is here."
    )
    synchronous: Literal["full", "normal"] = Field(
        "full",
        description="embedded. full: every commit is on disk; normal: a power cut may take the last ones.",
    )
    keep_raw: Duration | None = Field(
        None, description="embedded: how long samples stay, such as 400d or 10y; for ever when left out."
    )
    keep_minute: Duration | None = Field(None, description="embedded: how long one-minute rollups stay.")
    keep_hour: Duration | None = Field(None, description="embedded: how long one-hour rollups stay.")
    url: Annotated[str, checked(http_server)] | None = Field(
        None, description="influxdb, must be there: the server, http://HOST:8086."
    )
    database: Annotated[str, Field(min_length=1)] | None = Field(
        None, description="influxdb, must be there: the database; version 2: the bucket, mapped to this name."
    )
    org: str = Field("", description="influxdb version 2: the organisation.")
    token_env: Annotated[str, checked(variable)] | None = Field(
        None, description="influxdb: the environment variable that holds the token, or USER:PASSWORD."
    )
    token_file: str | None = Field(
        None, description="influxdb: the file that holds it instead; relative to this file."
    )


OF_EMBEDDED: Final = ("synchronous", "keep_raw", "keep_minute", "keep_hour")
"""Keys of ``[store]`` that a server has no use for."""

OF_INFLUXDB: Final = ("url", "database", "org", "token_env", "token_file")
"""Keys of ``[store]`` that only a server has a use for."""


class Park(Section):
    """Where the wiper rests."""

    at: Degrees = Field(0.0, description="Angle at rest.", validate_default=False)
    tolerance: Degrees = Field(5.0, description="How far off still counts as parked.", validate_default=False)


class Heater(Section):
    """One heater plate of the filter, as its name plate says."""

    power: Annotated[float, quantity_in("kW"), Field(gt=0)] | None = Field(None, description="Nominal power.")
    current: Annotated[float, quantity_in("A"), Field(gt=0)] | None = Field(
        None, description="Nominal current."
    )


class Cleaning(Section):
    """What makes the machine clean its screen."""

    because: Literal["load", "clock"] = Field(description="load: the screen is loaded; clock: time is up.")
    tag: TagPath | None = Field(None, description="load: which pressure is watched.")
    above: Bar | None = Field(None, description="load: the pressure that starts a cleaning.")
    held: Seconds | None = Field(None, description="load: how long it must stay above.")
    after: Seconds | None = Field(None, description="clock: time since the last cleaning.")


class Machine(Section):
    """One machine of the line, in flow order."""

    kind: Literal["doser", "extruder", "melt-filter", "pelletizer", "water", "dryer"] = Field(
        description="What it is; pages list the machines in the order of the file."
    )
    zones: int | None = Field(None, ge=1, le=40, description="extruder: heated barrel zones.")
    plates: int | None = Field(None, ge=1, le=64, description="melt-filter: heater plates round the housing.")
    plates_out_permitted: int = Field(
        0, ge=0, description="melt-filter: plates that may be out, only by the maker's manual."
    )
    permitted_by: str | None = Field(None, description="melt-filter: who entered that, by name.")
    screen_area: Annotated[float, quantity_in("cm2"), Field(gt=0)] | None = Field(
        None, description="melt-filter."
    )
    fineness: Annotated[float, quantity_in("um"), Field(gt=0)] | None = Field(
        None, description="melt-filter: screen."
    )
    park: Park = Field(default_factory=Park, description="melt-filter: where the wiper rests.")
    heater: Heater = Field(default_factory=Heater, description="melt-filter: one heater plate.")
    cleaning: tuple[Cleaning, ...] = Field((), description="melt-filter: what starts a cleaning.")


class Plan(Section):
    """What the trial is planned to run at."""

    throughput: Annotated[float, quantity_in("kg/h"), Field(gt=0)] | None = Field(
        None, description="Planned feed."
    )


class JournalSection(Section):
    """Where alarms, acts and notes are kept."""

    path: str | None = Field(
        None, description="File of the journal; journal.db in the store's folder if left out."
    )


class Wall(Section):
    """The screen on the wall, for the size of the figures."""

    width: Annotated[float, quantity_in("mm"), Field(gt=0)] = Field(description="Width of the picture.")
    distance: Annotated[float, quantity_in("m"), Field(gt=0)] = Field(
        description="From the screen to the reader."
    )


class DashboardSection(Section):
    """How the pages are shown."""

    wall: Wall | None = Field(None, description="The screen on the wall.")
    port: int = Field(8050, ge=1, le=65535, description="Port of the pages.")


class RuleSection(BaseModel):
    """One rule's own settings; further keys are the rule's parameters, written with their unit."""

    model_config = ConfigDict(extra="allow", frozen=True)

    kind: str = Field(description="Which rule.")
    enabled: bool = Field(True, description="Whether it is judged.")
    priority: Literal["high", "medium", "low", "journal"] | None = Field(None, description="How soon.")
    advice: str | None = Field(None, max_length=400, description="The site's own words.")
    latching: bool | None = Field(None, description="Whether its alarms stay until somebody resets them.")


class LineFile(Section):
    """A line's file."""

    line: Line
    store: StoreSection
    source: tuple[Source, ...] = Field(min_length=1)
    machine: tuple[Machine, ...] = ()
    plan: Plan = Field(default_factory=Plan)
    journal: JournalSection = Field(default_factory=JournalSection)
    dashboard: DashboardSection = Field(default_factory=DashboardSection)
    metrics: MetricsSection | None = None
    digest: DigestSection | None = None
    sensors: SensorsSection = Field(default_factory=SensorsSection)
    rule: tuple[RuleSection, ...] = ()
