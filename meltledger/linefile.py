"""The keys of a line's file and what they may hold; pydantic reads the outside text into these."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final, Literal
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from historian.errors import WrongInput
from historian.retention import duration_ns
from historian.tags import check_path
from historian.units import quantity, ucum


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def _in(unit: str) -> BeforeValidator:
    """A written quantity such as "45 bar", as the number of one unit."""

    def read(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f'write it with its unit, as text: "{value} {unit}"')
        try:
            return quantity(value, unit)
        except WrongInput as error:
            raise ValueError(str(error)) from error

    return BeforeValidator(read)


def _said(check: Any) -> AfterValidator:
    """A check of ours, with its error in pydantic's list."""

    def run(value: str) -> str:
        try:
            return str(check(value))
        except WrongInput as error:
            raise ValueError(str(error)) from error

    return AfterValidator(run)


def _duration(value: str) -> str:
    duration_ns(value)
    return value


def _server(value: str) -> str:
    """The address of a server; what is wrong is not repeated, because it may hold a password."""
    parts = urlsplit(value)
    if parts.username is not None or parts.password is not None:
        raise WrongInput("no user or password here; name the secret's place with token_env or token_file")
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        raise WrongInput("not the address of a server; write http://HOST:8086")
    return value.rstrip("/")


def _variable(value: str) -> str:
    """The name of an environment variable; what is wrong is not repeated, because it may be the secret."""
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", value):
        raise WrongInput("not the name of an environment variable; the token itself never stands here")
    return value


Duration = Annotated[str, _said(_duration)]
Seconds = Annotated[float, _in("s"), Field(gt=0)]
Bar = Annotated[float, _in("bar"), Field(gt=0)]
Degrees = Annotated[float, _in("deg")]
UcumCode = Annotated[str, _said(ucum)]
TagPath = Annotated[str, _said(check_path)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,62}$")]


class Line(_Section):
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


class StoreSection(_Section):
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
    url: Annotated[str, _said(_server)] | None = Field(
        None, description="influxdb, must be there: the server, http://HOST:8086."
    )
    database: Annotated[str, Field(min_length=1)] | None = Field(
        None, description="influxdb, must be there: the database; version 2: the bucket, mapped to this name."
    )
    org: str = Field("", description="influxdb version 2: the organisation.")
    token_env: Annotated[str, _said(_variable)] | None = Field(
        None, description="influxdb: the environment variable that holds the token, or USER:PASSWORD."
    )
    token_file: str | None = Field(
        None, description="influxdb: the file that holds it instead; relative to this file."
    )


OF_EMBEDDED: Final = ("synchronous", "keep_raw", "keep_minute", "keep_hour")
"""Keys of ``[store]`` that a server has no use for."""

OF_INFLUXDB: Final = ("url", "database", "org", "token_env", "token_file")
"""Keys of ``[store]`` that only a server has a use for."""


class SourceTag(_Section):
    """Where one tag comes from."""

    node: str = Field(description="OPC UA node: nsu=URI;s=NAME (kept apart from index order) or ns=4;s=NAME.")
    unit: UcumCode | None = Field(
        None, description="Unit that the machine delivers; canonical when left out."
    )
    deadband: float = Field(0.0, ge=0, description="Smallest change worth reporting, in the tag's unit.")


class Source(_Section):
    """One machine or gateway that delivers tags."""

    name: Name = Field(description="Short name, as it stands in messages.")
    kind: Literal["opcua"] = Field(description="Protocol; OPC UA is the only one so far.")
    endpoint: str = Field(pattern=r"^opc\.tcp://[^/\s]+", description="Address: opc.tcp://HOST:PORT/PATH.")
    security: Literal["None"] = Field(
        "None", description="Security policy; this release reads unsecured ones."
    )
    simulated: bool = Field(False, description="Whether a simulated line stands behind it.")
    clock: Literal["wall", "own"] = Field("wall", description="own: the source runs on a clock of its own.")
    tags: dict[TagPath, SourceTag] = Field(
        min_length=1, description="Canonical tag path → where it comes from."
    )


class Park(_Section):
    """Where the wiper rests."""

    at: Degrees = Field(0.0, description="Angle at rest.", validate_default=False)
    tolerance: Degrees = Field(5.0, description="How far off still counts as parked.", validate_default=False)


class Heater(_Section):
    """One heater plate of the filter, as its name plate says."""

    power: Annotated[float, _in("kW"), Field(gt=0)] | None = Field(None, description="Nominal power.")
    current: Annotated[float, _in("A"), Field(gt=0)] | None = Field(None, description="Nominal current.")


class Cleaning(_Section):
    """What makes the machine clean its screen."""

    because: Literal["load", "clock"] = Field(description="load: the screen is loaded; clock: time is up.")
    tag: TagPath | None = Field(None, description="load: which pressure is watched.")
    above: Bar | None = Field(None, description="load: the pressure that starts a cleaning.")
    held: Seconds | None = Field(None, description="load: how long it must stay above.")
    after: Seconds | None = Field(None, description="clock: time since the last cleaning.")


class Machine(_Section):
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
    screen_area: Annotated[float, _in("cm2"), Field(gt=0)] | None = Field(None, description="melt-filter.")
    fineness: Annotated[float, _in("um"), Field(gt=0)] | None = Field(
        None, description="melt-filter: screen."
    )
    park: Park = Field(default_factory=Park, description="melt-filter: where the wiper rests.")
    heater: Heater = Field(default_factory=Heater, description="melt-filter: one heater plate.")
    cleaning: tuple[Cleaning, ...] = Field((), description="melt-filter: what starts a cleaning.")


class Plan(_Section):
    """What the trial is planned to run at."""

    throughput: Annotated[float, _in("kg/h"), Field(gt=0)] | None = Field(None, description="Planned feed.")


class JournalSection(_Section):
    """Where alarms, acts and notes are kept."""

    path: str | None = Field(
        None, description="File of the journal; journal.db in the store's folder if left out."
    )


class Wall(_Section):
    """The screen on the wall, for the size of the figures."""

    width: Annotated[float, _in("mm"), Field(gt=0)] = Field(description="Width of the picture.")
    distance: Annotated[float, _in("m"), Field(gt=0)] = Field(description="From the screen to the reader.")


class DashboardSection(_Section):
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


class LineFile(_Section):
    """A line's file."""

    line: Line
    store: StoreSection
    source: tuple[Source, ...] = Field(min_length=1)
    machine: tuple[Machine, ...] = ()
    plan: Plan = Field(default_factory=Plan)
    journal: JournalSection = Field(default_factory=JournalSection)
    dashboard: DashboardSection = Field(default_factory=DashboardSection)
    rule: tuple[RuleSection, ...] = ()
