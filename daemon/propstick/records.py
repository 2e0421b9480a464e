"""Small frozen values that cross layers: alarms, notices, briefs, forecasts as issued.

`to_json()` of each gives the object of the external contract; keys are only ever added.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from propstick.times import utc_text

AlarmKind = Literal[
    "heat", "heat-ahead", "fast-rise", "frost", "frost-ahead", "soil-cold", "soil-hot", "lid-loose",
    "no-shelter", "probe-silent", "probe-stuck", "probe-jump", "probe-disagrees", "watch-late",
    "clock-unset", "store-trouble", "push-trouble", "dry",
]  # fmt: skip
Doubt = Literal["changed", "watered", "dimmed", "pressed", "as-outside"]
"""Why a box is known less surely: it no longer fits what was learnt of it; its bed was watered; something
keeps the sun off it; its air probe reads as the soil; or as the outside, with the lid shown shut."""
AlarmState = Literal[
    "normal", "unacknowledged", "acknowledged", "returned", "shelved", "suppressed", "out-of-service"
]
"""IEC 62682 / ISA-18.2. `returned`: to normal, not yet acknowledged."""
Advice = Literal["open", "prop", "close", "cover", "uncover", "air", "leave"]


@dataclass(frozen=True)
class Reading:
    """One value as sensed. Identity is (probe, time)."""

    probe: str
    time_ms: int
    value: float | None
    """Raw, uncorrected [°C, % or 0–1]; None if the probe answered with nothing that is a number."""
    flags: int = 0


def _when(time_s: float | None) -> str | None:
    return None if time_s is None else utc_text(time_s)


def _rounded(value: float | None, digits: int = 2) -> float | None:
    return None if value is None else round(float(value), digits)


@dataclass(frozen=True, kw_only=True)
class Alarm:
    """One alarm from the row its on-delay was met until a person has seen its end.

    Attributes:
        id: Stable and deterministic, `<box>.<kind>[.<probe>].<raised>`: a rerun makes the same one.
        begun_s: First row of the crossing; `raised_s` is the row at which the on-delay was met.
        peak_c: Highest value since `begun_s` (lowest, for cold alarms).
        lead_minutes: From the first notice (of `heat-ahead` or `heat`) to the start of the crossing.
        outcome: Of a forecasting alarm: `came`, `withdrawn` or `open`.
    """

    id: str
    box: str
    kind: AlarmKind
    state: AlarmState
    raised_s: int
    begun_s: int
    probe: str | None = None
    place: str | None = None
    returned_s: int | None = None
    acknowledged_s: int | None = None
    shelved_until_s: int | None = None
    value_c: float | None = None
    limit_c: float | None = None
    peak_c: float | None = None
    peak_s: int | None = None
    eta_s: int | None = None
    eta_low_s: int | None = None
    eta_high_s: int | None = None
    lead_minutes: float | None = None
    outcome: str | None = None
    urgency: str = "Immediate"
    severity: str = "Moderate"
    certainty: str = "Observed"
    message: str = ""

    def to_json(self) -> dict[str, Any]:
        """The alarm object of API, MQTT, replay and export alike."""
        return {
            "id": self.id,
            "box": self.box,
            "kind": self.kind,
            "state": self.state,
            "raised": utc_text(self.raised_s),
            "begun": utc_text(self.begun_s),
            "returned": _when(self.returned_s),
            "acknowledged": _when(self.acknowledged_s),
            "shelved_until": _when(self.shelved_until_s),
            "probe": self.probe,
            "place": self.place,
            "value_c": _rounded(self.value_c),
            "limit_c": _rounded(self.limit_c),
            "peak_c": _rounded(self.peak_c),
            "peak_at": _when(self.peak_s),
            "eta": _when(self.eta_s),
            "eta_low": _when(self.eta_low_s),
            "eta_high": _when(self.eta_high_s),
            "lead_minutes": _rounded(self.lead_minutes, 1),
            "outcome": self.outcome,
            "urgency": self.urgency,
            "severity": self.severity,
            "certainty": self.certainty,
            "message": self.message,
        }


AlarmEvent = Literal[
    "raised", "updated", "acknowledged", "returned", "shelved", "unshelved", "suppressed",
    "unsuppressed", "out-of-service", "in-service", "escalated",
]  # fmt: skip


@dataclass(frozen=True)
class AlarmChange:
    """One step in an alarm's life: the alarm as it stands after the event."""

    time_s: int
    event: AlarmEvent
    alarm: Alarm


@dataclass(frozen=True, kw_only=True)
class Notice:
    """What reaches a phone. At least once, with an id that lets a receiver drop doubles."""

    id: str
    issued_s: int
    boxes: tuple[str, ...]
    kinds: tuple[str, ...]
    text: str
    to: str = "person"
    alarm_ids: tuple[str, ...] = ()
    urgency: str = "Immediate"
    severity: str = "Moderate"
    certainty: str = "Observed"
    escalation: int = 0
    """0 for the first telling; 1, 2 … for each step of the escalation plan."""

    def to_json(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "issued": utc_text(self.issued_s),
            "boxes": list(self.boxes),
            "kinds": list(self.kinds),
            "to": self.to,
            "text": self.text,
            "alarms": list(self.alarm_ids),
            "urgency": self.urgency,
            "severity": self.severity,
            "certainty": self.certainty,
            "escalation": self.escalation,
        }


@dataclass(frozen=True, kw_only=True)
class BriefLine:
    """What to do with one lid, by when, and why in one clause."""

    box: str
    advice: Advice
    reason: str
    by_s: int | None = None
    opening: float | None = None

    def to_json(self) -> dict[str, Any]:
        return {
            "box": self.box,
            "advice": self.advice,
            "by": _when(self.by_s),
            "opening": _rounded(self.opening),
            "reason": self.reason,
        }


@dataclass(frozen=True, kw_only=True)
class Brief:
    """The message before leaving home, or before dusk. Once a local date each."""

    issued_s: int
    which: Literal["morning", "evening"]
    date: date
    lines: tuple[BriefLine, ...]
    text: str

    def as_notice(self) -> Notice:
        """The brief as what is handed to a channel."""
        stamp = utc_text(self.issued_s).replace("-", "").replace(":", "")
        return Notice(
            id=f"{stamp}.brief-{self.which}",
            issued_s=self.issued_s,
            boxes=tuple(line.box for line in self.lines),
            kinds=("brief",),
            text=self.text,
            urgency="Future",
            severity="Minor",
            certainty="Likely",
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "issued": utc_text(self.issued_s),
            "which": self.which,
            "date": self.date.isoformat(),
            "lines": [line.to_json() for line in self.lines],
            "text": self.text,
        }


@dataclass(frozen=True, kw_only=True)
class HeatForecast:
    """Chance that a crossing begins within 20, 30 and 60 minutes."""

    box: str
    issued_s: int
    limit_c: float
    p20: float
    p30: float
    p60: float

    def to_json(self) -> dict[str, Any]:
        return {
            "box": self.box,
            "issued": utc_text(self.issued_s),
            "limit_c": _rounded(self.limit_c),
            "p20": _rounded(self.p20, 3),
            "p30": _rounded(self.p30, 3),
            "p60": _rounded(self.p60, 3),
        }


@dataclass(frozen=True, kw_only=True)
class NightForecast:
    """The lowest air from issue to the night's end, with a 90 % interval."""

    box: str
    night: date
    issued_s: int
    min_c: float
    low_c: float
    high_c: float
    p_frost: float | None
    method: str = ""
    """Which method decided; a plain one where ours is not better."""

    def to_json(self) -> dict[str, Any]:
        return {
            "issued": utc_text(self.issued_s),
            "min_c": _rounded(self.min_c),
            "low_c": _rounded(self.low_c),
            "high_c": _rounded(self.high_c),
            "p_frost": _rounded(self.p_frost, 3),
            "method": self.method,
        }


@dataclass(frozen=True, kw_only=True)
class DayForecast:
    """The day's highest air with the lid so, with a 90 % interval."""

    box: str
    day: date
    issued_s: int
    lid: Literal["closed", "propped", "open", "as-is"]
    max_c: float
    low_c: float
    high_c: float
    method: str = ""

    def to_json(self) -> dict[str, Any]:
        return {
            "issued": utc_text(self.issued_s),
            "lid": self.lid,
            "max_c": _rounded(self.max_c),
            "low_c": _rounded(self.low_c),
            "high_c": _rounded(self.high_c),
            "method": self.method,
        }


@dataclass(frozen=True, kw_only=True)
class LidOpening:
    """The lid's opening from a moment on, and how it is known."""

    box: str
    time_s: int
    opening: float
    known_from: Literal["told", "contact", "estimate"]

    def to_json(self) -> dict[str, Any]:
        return {
            "box": self.box,
            "time": utc_text(self.time_s),
            "opening": _rounded(self.opening),
            "from": self.known_from,
        }


@dataclass(frozen=True, kw_only=True)
class BoxNow:
    """One box at the last row, for the live view.

    Attributes:
        doubt: Why its forecasts are less sure than usual; None where they are not.
    """

    box: str
    air_c: float | None
    soil_c: float | None
    humidity_pct: float | None
    rise_c_per_h: float | None
    soil_rise_c_per_h: float | None
    lid: float | None
    lid_from: str | None
    cover: float | None
    heat_c: float | None
    frost_c: float | None
    prop_c: float | None
    doubt: Doubt | None = None


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What should happen after a block. Returned by `advance`, never done by it.

    Attributes:
        flags: Final `Flag` bits of every cell of the block, shape (n, p).
        now: The boxes and `outside` at the last row.
    """

    flags: Any = None
    changes: tuple[AlarmChange, ...] = ()
    notices: tuple[Notice, ...] = ()
    briefs: tuple[Brief, ...] = ()
    heat: tuple[HeatForecast, ...] = ()
    nights: tuple[NightForecast, ...] = ()
    days: tuple[DayForecast, ...] = ()
    lids: tuple[LidOpening, ...] = ()
    now: tuple[BoxNow, ...] = field(default_factory=tuple)
