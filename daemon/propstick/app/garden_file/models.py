"""The garden file's tables as pydantic models: every key with its range and its default.

Only here do the file's words live; `facts.py` turns them into the frozen facts of `garden.py`. A key that
ends in `_c` may be written with `_f` instead: `load.py` converts before these models look.
Defaults are those of the dataclasses wherever they have one, so that there is one place to change.
"""

from __future__ import annotations

import re
from datetime import time
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from propstick.app.garden_file.settings import (
    ApiSettings,
    MqttSettings,
    OneWireSettings,
    StoreSettings,
)
from propstick.errors import InputError
from propstick.garden import RESERVED, Box, Garden, Glazing, LidKind, NoticeSettings, Person, Place, Site
from propstick.times import hours_minutes, zone

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
COMPASS = {
    "north": 0.0, "north-east": 45.0, "east": 90.0, "south-east": 135.0,
    "south": 180.0, "south-west": 225.0, "west": 270.0, "north-west": 315.0,
}  # fmt: skip
LARGEST_CORRECTION_C = 5.0


def _name(text: str) -> str:
    if not re.fullmatch(r"[a-z0-9-]{1,40}", text):
        raise ValueError("a name of small letters, digits and hyphens, at most 40")
    return text


def _box_name(text: str) -> str:
    if text in RESERVED:
        raise ValueError(f"another name: {text!r} is reserved")
    return _name(text)


def _probe_id(text: str) -> str:
    if not re.fullmatch(r"[^\s#+,;\"']{1,80}", text):
        raise ValueError("a probe's id such as '28-3c01b556e1a2' or 'node/name', without spaces")
    return text


def _zone_name(text: str) -> str:
    try:
        zone(text)
    except InputError:
        raise ValueError("a time zone of the IANA list such as 'Europe/Dublin'") from None
    return text


def _clock(value: Any) -> time:
    if isinstance(value, time):
        return value
    try:
        return hours_minutes(value)
    except (InputError, AttributeError):
        raise ValueError("a time of day such as '07:30'") from None


def _bearing(value: Any) -> float:
    if isinstance(value, str) and value in COMPASS:
        return COMPASS[value]
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 360:
        raise ValueError(f"degrees clockwise from north, 0 to 360, or one of {', '.join(COMPASS)}")
    return float(value) % 360.0


def _month_day(value: Any) -> tuple[int, int]:
    match = re.fullmatch(r"(\d\d)-(\d\d)", value) if isinstance(value, str) else None
    if not match or not (1 <= int(match[1]) <= 12 and 1 <= int(match[2]) <= 31):
        raise ValueError("month and day such as '04-20'")
    return int(match[1]), int(match[2])


def _url_such_as(*examples: str) -> AfterValidator:
    def checked(text: str) -> str:
        if not re.match(r"[a-zA-Z][a-zA-Z0-9+.-]*://\S", text):
            like = " or ".join(f"'{example}'" for example in examples)
            raise ValueError(f"an address that begins with its kind, such as {like}")
        return text

    return AfterValidator(checked)


def _push_entry(value: Any) -> Any:
    """A bare address is short for an entry without a name."""
    return {"url": value} if isinstance(value, str) else value


Name = Annotated[str, AfterValidator(_name)]
BoxName = Annotated[str, AfterValidator(_box_name)]
ProbeId = Annotated[str, AfterValidator(_probe_id)]
ZoneName = Annotated[str, AfterValidator(_zone_name)]
Clock = Annotated[time, BeforeValidator(_clock)]
Bearing = Annotated[float, BeforeValidator(_bearing)]
MonthDay = Annotated[tuple[int, int], BeforeValidator(_month_day)]
PushUrl = Annotated[str, _url_such_as("mailto://…", "json://…")]
StoreUrl = Annotated[str, _url_such_as("sqlite:///propstick.db", "postgresql+psycopg://…")]
WebUrl = Annotated[str, _url_such_as("https://…", "http://…")]


def _temperature(low: float, high: float, default: float | None = None) -> Any:
    return Field(default, ge=low, le=high, allow_inf_nan=False, json_schema_extra={"is": "temperature"})


def _difference(low: float, high: float, default: float | None = None) -> Any:
    return Field(default, ge=low, le=high, allow_inf_nan=False, json_schema_extra={"is": "difference"})


def _number(low: float, high: float, default: Any = None) -> Any:
    return Field(default, ge=low, le=high, allow_inf_nan=False)


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, validate_default=False)


class SiteTable(_Table):
    """`[site]`."""

    name: Name = Site.name
    latitude: float | None = _number(-90, 90)
    longitude: float | None = _number(-180, 180)
    zone: ZoneName | None = None
    unit: Literal["C", "F"] = Site.unit


class PersonTable(_Table):
    """`[person]`: when a hand can be on the lid."""

    leaves: Clock | None = None
    back: Clock | None = None
    bed: Clock = Person.bed
    rises: Clock = Person.rises
    away_days: list[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]] = list(WEEKDAYS[:5])
    helper: Name | None = None


class AlarmsTable(_Table):
    """`[alarms]` and `[box.alarms]`: the fields of `limits.Limits`."""

    heat_c: float | None = _temperature(10, 50)
    prop_c: float | None = _temperature(5, 45)
    frost_c: float | None = _temperature(-15, 10)
    soil_cold_c: float | None = _temperature(-5, 25)
    soil_hot_c: float | None = _temperature(10, 50)
    dry_pct: float | None = _number(0, 100)
    deadband_c: float | None = _difference(0.1, 5)
    on_delay_s: int | None = _number(0, 3600)
    off_delay_s: int | None = _number(0, 7200)
    fast_rise_c: float | None = _difference(1, 30)
    fast_rise_minutes: float | None = _number(2, 60)
    fast_rise_within_c: float | None = _difference(0, 40)
    no_shelter_c: float | None = _difference(0, 10)
    disagree_c: float | None = _difference(0.5, 20)
    silent_minutes: float | None = _number(2, 1440)
    stuck_air_hours: float | None = _number(0.5, 168)
    stuck_soil_hours: float | None = _number(1, 720)


class BoxTable(_Table):
    """One `[[box]]`."""

    name: BoxName
    spot: Name | None = None
    floor_m2: float = _number(0.05, 20, Box.floor_m2)
    glazing: Glazing = Box.glazing
    tilt_deg: float = _number(0, 90, Box.tilt_deg)
    faces: Bearing = Box.faces_deg
    lid_kind: LidKind = Box.lid_kind
    arm_opens_c: float | None = _temperature(5, 40)
    reaction_minutes: float = _number(1, 240, Box.reaction_minutes)
    alarms: AlarmsTable = AlarmsTable()


class ObstacleTable(_Table):
    """One of a spot's `obstacles`."""

    bearing_from_deg: float = _number(0, 360, ...)
    bearing_to_deg: float = _number(0, 360, ...)
    height_deg: float = _number(0, 90, ...)
    leafless_until: MonthDay | None = None


class SpotTable(_Table):
    """One `[[spot]]`."""

    name: BoxName
    obstacles: list[ObstacleTable] = []


class ProbeTable(_Table):
    """One `[[probe]]`: in a box or outside, or, loose, on a spot."""

    id: ProbeId
    box: Name | None = None
    spot: Name | None = None
    place: Place
    correction_c: float = _difference(-LARGEST_CORRECTION_C, LARGEST_CORRECTION_C, 0.0)
    every_s: float | None = _number(1, 3600)


class PushEntryTable(_Table):
    """One of `[push] urls` when it has a name, or its address lies in a file."""

    name: Name | None = None
    url: PushUrl | None = None
    url_file: str | None = None


class PushTable(_Table):
    """`[push]`: whom to tell, and when."""

    urls: list[Annotated[PushEntryTable, BeforeValidator(_push_entry)]] = []
    quiet_from: Clock | None = None
    quiet_until: Clock | None = None
    escalation_minutes: list[Annotated[float, Field(ge=1, le=1440)]] = []
    notify_return: bool = NoticeSettings.notify_return
    morning_before_minutes: float = _number(0, 240, NoticeSettings.morning_before_minutes)
    evening_before_minutes: float = _number(0, 240, NoticeSettings.evening_before_minutes)
    twelve_hour: bool | None = None
    decimal_comma: bool = NoticeSettings.decimal_comma


class MqttTable(_Table):
    """`[mqtt]`: the broker."""

    host: str = MqttSettings.host
    port: int = _number(1, 65535, MqttSettings.port)
    username: str | None = None
    password_file: str | None = None
    tls: bool = MqttSettings.tls
    ca_file: str | None = None
    version: Literal["5", "3.1.1"] = MqttSettings.version
    client_id: Name | None = None
    keepalive_s: int = _number(5, 3600, MqttSettings.keepalive_s)


class StoreTable(_Table):
    """`[store]`."""

    url: StoreUrl = StoreSettings.url
    backup_folder: str | None = None
    backup_keep: int = _number(1, 366, StoreSettings.backup_keep)
    keep_days: int = _number(0, 36_500, StoreSettings.keep_days)


class ApiTable(_Table):
    """`[api]`: the page and the HTTP interface."""

    listen: str = ApiSettings.listen
    port: int = _number(1, 65535, ApiSettings.port)
    address: WebUrl | None = None


class OneWireTable(_Table):
    """`[onewire]`."""

    tree: str = str(OneWireSettings.tree)


class WatchTable(_Table):
    """`[watch]`: the daemon itself."""

    step_s: int = _number(2, 300, Garden.step_s)
    heartbeat_url: WebUrl | None = None
    heartbeat_url_file: str | None = None


class GardenTable(_Table):
    """The whole file."""

    site: SiteTable = SiteTable()
    person: PersonTable = PersonTable()
    box: list[BoxTable] = []
    spot: list[SpotTable] = []
    probe: list[ProbeTable] = []
    alarms: AlarmsTable = AlarmsTable()
    push: PushTable = PushTable()
    mqtt: MqttTable | None = None
    store: StoreTable = StoreTable()
    api: ApiTable = ApiTable()
    onewire: OneWireTable = OneWireTable()
    watch: WatchTable = WatchTable()
