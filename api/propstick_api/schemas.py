"""The shapes that go out and come in, as the interface's description shows them. Keys are only added."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from propstick.records import Doubt

ALARM_EXAMPLE = {
    "id": "north.heat.20260412T101500Z", "box": "north", "kind": "heat", "state": "unacknowledged",
    "raised": "2026-04-12T10:15:00Z", "begun": "2026-04-12T10:13:00Z", "returned": None,
    "acknowledged": None, "shelved_until": None, "probe": None, "place": "air", "value_c": 27.6,
    "limit_c": 27.0, "peak_c": 28.1, "peak_at": "2026-04-12T10:18:00Z", "eta": None, "eta_low": None,
    "eta_high": None, "lead_minutes": 24.0, "outcome": None, "urgency": "Immediate",
    "severity": "Severe", "certainty": "Observed", "message": "north is at 27.6 °C: open the lid now",
}  # fmt: skip

Text = Annotated[str, Field(max_length=2000)]


class Out(BaseModel):
    """What goes out; more keys may come with a later release."""

    model_config = ConfigDict(extra="allow")


class In(BaseModel):
    """What comes in: no other keys, no guessing of types."""

    model_config = ConfigDict(extra="forbid", strict=True)


class AlarmOut(Out):
    """One alarm, as everywhere: API, MQTT, replay, export."""

    model_config = ConfigDict(extra="allow", json_schema_extra={"examples": [ALARM_EXAMPLE]})

    id: str
    box: str
    kind: str
    state: Literal[
        "normal", "unacknowledged", "acknowledged", "returned", "shelved", "suppressed", "out-of-service"
    ]
    raised: str
    begun: str | None = None
    returned: str | None
    acknowledged: str | None = None
    shelved_until: str | None = None
    probe: str | None = None
    place: str | None = None
    value_c: float | None = None
    limit_c: float | None = None
    peak_c: float | None = None
    peak_at: str | None = None
    eta: str | None = None
    eta_low: str | None = None
    eta_high: str | None = None
    lead_minutes: float | None = None
    outcome: str | None = None
    urgency: str = ""
    severity: str = ""
    certainty: str = ""
    message: str = ""


class AlarmsOut(Out):
    """Alarms, oldest first; `more`: the older ones of the stretch were left out."""

    alarms: list[AlarmOut]
    more: bool = False


class AskedOut(Out):
    """A request to the watch, which takes it up at its next row."""

    id: int = Field(examples=[17])
    kind: str = Field(examples=["acknowledge"])
    state: Literal["waiting", "taken", "refused"]
    made: str = Field(examples=["2026-04-12T10:16:02Z"])
    taken: str | None = Field(None, description="The row at which the watch took it up")
    refused: str | None = Field(None, description="Why it could not be carried out")
    see: str = Field(description="Where to look what became of it", examples=["/v1/requests/17"])


class ShelveIn(In):
    """Not to hear of an alarm until then: at most four weeks."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"until": "2026-04-12T18:00:00Z"}]})

    until: Annotated[datetime, Field(strict=False, description="RFC 3339, with an offset")]


class LidIn(In):
    """How far the lid is open; null: no longer known."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"opening": 0.3}]})

    opening: Annotated[float, Field(ge=0, le=1)] | None = Field(description="0 (closed) to 1 (fully open)")


class OnIn(In):
    """On, or off."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"on": True}]})

    on: bool


class WateredIn(In):
    """When it was done; without `at`, just now."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"at": "2026-03-15T07:30:00+01:00"}]})

    at: Annotated[datetime | None, Field(strict=False, description="RFC 3339, with an offset")] = None


class SeriesOut(Out):
    """One place of a box: lowest, mean and highest of each bucket, null where nothing was measured."""

    place: str = Field(examples=["air"])
    probes: list[str]
    min: list[float | None]
    mean: list[float | None]
    max: list[float | None]


class HistoryOut(Out):
    """Buckets of time; `time` is where each begins."""

    box: str = Field(examples=["north"])
    bucket_s: float = Field(examples=[3600.0])
    time: list[str]
    series: list[SeriesOut]


class TroubleOut(Out):
    """What a wire or the broker has said of itself for more than a row."""

    part: str = Field(examples=["broker"], description="`broker`, or the name of a wire's bus master")
    found: str = Field(examples=["no answer from 10.0.0.7:1883"])
    since: str = Field(examples=["2026-04-12T10:02:00Z"])


class HealthOut(Out):
    """How the watch does."""

    status: Literal["watching", "late", "not-started", "store-trouble"]
    row: str | None = Field(examples=["2026-04-12T10:16:00Z"])
    age_s: int | None = Field(examples=[21])
    step_s: int = Field(examples=[60])
    streams: int = Field(0, description="Event streams open now")
    troubles: list[TroubleOut] = Field([], description="As of the row: no alarms, but often why there is one")


class PlaceNow(Out):
    """One value, when it was read, how old it was at the row, and how it moves."""

    value: float | None = Field(examples=[22.1])
    rise_per_h: float | None = Field(examples=[3.4])
    read: str | None = Field(examples=["2026-04-12T09:40:00Z"])
    age_s: int | None = Field(None, examples=[0])
    probes: list[str] = []


class RoomNow(Out):
    """How far the air is from a limit: degrees, and minutes as it moves now (null: not towards it)."""

    c: float | None = Field(examples=[4.9])
    minutes: int | None = Field(examples=[86])


class BoxNowOut(Out):
    """One box at the row."""

    box: str = Field(examples=["north"])
    air: PlaceNow
    soil: PlaceNow
    humidity: PlaceNow
    lid: dict[str, float | str | None] = Field(examples=[{"opening": 0.1, "from": "told"}])
    cover: float | None
    limits: dict[str, float | None] = Field(examples=[{"heat_c": 27.0, "prop_c": 24.0, "frost_c": 1.0}])
    alarms: list[str] = Field(description="Ids of its open alarms")
    doubt: Doubt | None = Field(None, description="Why its forecasts are less sure than usual")
    room: dict[str, RoomNow] = Field(description="To the limits `heat`, `prop` and `frost`")
    forecast: dict = Field(description="`heat`, `night` and `day` as last issued")
    advice: dict | None = Field(description="What the newest brief says of it")
    sowings: list[dict] = Field(description="What stands in it")


class NowOut(Out):
    """Everything the page shows, as of one row."""

    now: str = Field(description="When this was sent", examples=["2026-04-12T09:40:21Z"])
    age_s: int = Field(description="Seconds since the row", examples=[21])
    health: Literal["watching", "late", "not-started", "store-trouble"]
    site: str = Field(examples=["garden"])
    time: str = Field(description="The row", examples=["2026-04-12T09:40:00Z"])
    step_s: int = Field(examples=[60])
    unit: str = Field(examples=["C"], description="What the person reads in; figures here are always °C")
    zone: str | None = Field(examples=["Europe/Dublin"])
    boxes: list[BoxNowOut]
    outside: dict | None
    alarms: list[AlarmOut]
    brief: dict | None
    asked: list[dict] = Field(description="Requests the watch has not taken up yet")
    troubles: list[TroubleOut] = Field(description="What wires and broker say of themselves")


_SOWING_EXAMPLE = {"crop": "lettuce", "box": "north", "sown": "2026-03-01", "note": "saved seed"}


class SowingFields(In):
    """The fields of a sowing a person may set."""

    sown: Annotated[date, Field(strict=False)] | None = None
    first_up: Annotated[date, Field(strict=False)] | None = None
    half_up: Annotated[date, Field(strict=False)] | None = None
    flowering: Annotated[date, Field(strict=False)] | None = None
    first_pick: Annotated[date, Field(strict=False)] | None = None
    cleared: Annotated[date, Field(strict=False)] | None = None
    note: Text = ""
    yield_note: Text = ""
    yield_g: Annotated[int, Field(ge=0, le=1_000_000)] | None = None


class SowingIn(SowingFields):
    """A new sowing."""

    model_config = ConfigDict(json_schema_extra={"examples": [_SOWING_EXAMPLE]})

    crop: Annotated[str, Field(min_length=1, max_length=100, pattern=r"\S")]
    box: Annotated[str, Field(min_length=1, max_length=100, description="A box, or `outside`")]


class SowingChangeIn(SowingFields):
    """Some fields anew; null empties a day or a weight. `removed: false` puts a sowing back."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"first_up": "2026-03-12"}]})

    crop: Annotated[str, Field(min_length=1, max_length=100, pattern=r"\S")] = ""
    box: Annotated[str, Field(min_length=1, max_length=100)] = ""
    removed: Literal[False] = False


class SowingOut(Out):
    """A sowing as it is kept."""

    id: int = Field(examples=[3])
    crop: str = Field(examples=["lettuce"])
    box: str = Field(examples=["north"])
    sown: str | None = Field(examples=["2026-03-01"])
    first_up: str | None
    half_up: str | None
    flowering: str | None
    first_pick: str | None
    cleared: str | None
    note: str
    yield_note: str
    yield_g: int | None
    removed: bool


class SowingsOut(Out):
    """Sowings in the order of writing down."""

    sowings: list[SowingOut]
