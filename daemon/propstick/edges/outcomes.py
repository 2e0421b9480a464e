"""What the engine said, into tables and back: alarms, notices, briefs, forecasts as they were issued.

Every row has a key that follows from what it says, so saying it again after a crash changes nothing.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from typing import Any, Literal

from sqlalchemy import Connection, Table, select

from propstick.codec import from_text, to_text
from propstick.edges import schema
from propstick.edges.store import Store
from propstick.records import (
    Alarm,
    AlarmChange,
    Brief,
    DayForecast,
    HeatForecast,
    LidOpening,
    NightForecast,
    Notice,
    Outcome,
)

Route = Callable[[Notice], Sequence[str]]
"""The names of the channels a notice goes to."""
IssuedKind = Literal["heat", "nights", "days", "lids"]


def write_outcome(store: Store, connection: Connection, site: int, outcome: Outcome, *, route: Route) -> None:
    """All of it, inside the journal's transaction; new notices are planned for their channels."""
    for change in outcome.changes:
        _write_change(store, connection, site, change)
    for notice in outcome.notices:
        write_notice(store, connection, site, notice, channels=route(notice))
    _write_new(store, connection, schema.briefs, [_brief_row(site, b) for b in outcome.briefs])
    _write_new(store, connection, schema.heat_forecasts, [_heat_row(site, f) for f in outcome.heat])
    forecasts = [_night_row(site, f) for f in outcome.nights] + [_day_row(site, f) for f in outcome.days]
    _write_new(store, connection, schema.forecasts, forecasts)
    _write_new(store, connection, schema.lids, [_lid_row(site, lid) for lid in outcome.lids])


def write_notice(
    store: Store, connection: Connection, site: int, notice: Notice, *, channels: Sequence[str]
) -> None:
    """One notice and its way to each channel. One that is there already keeps the ways it had."""
    row = {"site": site, "id": notice.id, "issued_s": notice.issued_s, "body": to_text(notice)}
    if not _is_new(store, connection, schema.notices, row):
        return
    planned = [
        {"site": site, "notice_id": notice.id, "channel": name, "next_try_s": notice.issued_s}
        for name in channels
    ]
    _write_new(store, connection, schema.outbox, planned)


def issued(connection: Connection, site: int, kind: IssuedKind, from_s: int, to_s: int) -> tuple[Any, ...]:
    """The records of a kind issued from `from_s` to before `to_s`, oldest first."""
    if kind == "heat":
        table = schema.heat_forecasts
        return tuple(
            HeatForecast(
                box=r.box, issued_s=r.issued_s, limit_c=r.limit_cc / 100,
                p20=r.p20_permille / 1000, p30=r.p30_permille / 1000, p60=r.p60_permille / 1000,
            )
            for r in _rows(connection, table, site, table.c.issued_s, from_s, to_s)
        )  # fmt: skip
    if kind in ("nights", "days"):
        table = schema.forecasts
        rows = _rows(connection, table, site, table.c.issued_s, from_s, to_s, kind=kind[:-1])
        return tuple(_night(r) if kind == "nights" else _day(r) for r in rows)
    table = schema.lids
    return tuple(
        LidOpening(box=r.box, time_s=r.time_s, opening=_real(r.opening_percent), known_from=r.known_from)
        for r in _rows(connection, table, site, table.c.time_s, from_s, to_s)
    )


def notices(connection: Connection, site: int, from_s: int, to_s: int) -> tuple[Notice, ...]:
    """Notices issued from `from_s` to before `to_s`."""
    table = schema.notices
    rows = _rows(connection, table, site, table.c.issued_s, from_s, to_s)
    return tuple(from_text(r.body, of=Notice) for r in rows)


def briefs(connection: Connection, site: int, from_s: int, to_s: int) -> tuple[Brief, ...]:
    """Briefs issued from `from_s` to before `to_s`."""
    table = schema.briefs
    rows = _rows(connection, table, site, table.c.issued_s, from_s, to_s)
    return tuple(from_text(r.body, of=Brief) for r in rows)


def _rows(
    connection: Connection, table: Table, site: int, time: Any, from_s: int, to_s: int, **equal: str
) -> Any:
    query = select(table).where(table.c.site == site, time >= from_s, time < to_s)
    for name, value in equal.items():
        query = query.where(table.c[name] == value)
    return connection.execute(query.order_by(time, *table.primary_key.columns))


def _write_new(store: Store, connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(store.insert_new(table), rows)


def _is_new(store: Store, connection: Connection, table: Table, row: dict[str, Any]) -> bool:
    """Writes the row unless it is there; asked by what comes back, since a count means different things."""
    insert = store.insert_new(table).values(row).returning(table.c.id)
    return connection.scalar(insert) is not None


def alarm_row(site: int, alarm: Alarm, changed_s: int) -> dict[str, Any]:
    """The alarm as it stands, in the words of its table."""
    return {
        "site": site,
        "id": alarm.id,
        "box": alarm.box,
        "kind": alarm.kind,
        "state": alarm.state,
        "raised_s": alarm.raised_s,
        "returned_s": alarm.returned_s,
        "changed_s": changed_s,
        "is_over": alarm.state == "normal",
        "body": _json(alarm.to_json()),
    }


def _write_change(store: Store, connection: Connection, site: int, change: AlarmChange) -> None:
    alarm = change.alarm
    row = {
        "site": site,
        "time_s": change.time_s,
        "alarm_id": alarm.id,
        "event": change.event,
        "state": alarm.state,
        "body": _json(alarm.to_json()),
    }
    if not _is_new(store, connection, schema.alarm_changes, row):
        return  # said before the crash; the alarm may have moved on since
    values = alarm_row(site, alarm, change.time_s)
    insert = store.insert(schema.alarms).values(**values)
    moved = {name: value for name, value in values.items() if name not in ("site", "id")}
    connection.execute(
        insert.on_conflict_do_update(
            index_elements=["site", "id"], set_=moved, where=schema.alarms.c.changed_s <= change.time_s
        )
    )


def _brief_row(site: int, brief: Brief) -> dict[str, Any]:
    return {"site": site, "issued_s": brief.issued_s, "which": brief.which, "body": to_text(brief)}


def _heat_row(site: int, forecast: HeatForecast) -> dict[str, Any]:
    return {
        "site": site,
        "issued_s": forecast.issued_s,
        "box": forecast.box,
        "limit_cc": round(forecast.limit_c * 100),
        "p20_permille": round(forecast.p20 * 1000),
        "p30_permille": round(forecast.p30 * 1000),
        "p60_permille": round(forecast.p60 * 1000),
    }


def _night_row(site: int, forecast: NightForecast) -> dict[str, Any]:
    frost = forecast.p_frost
    return {
        **_forecast_row(site, "night", forecast, forecast.min_c),
        "date": forecast.night,
        "lid": "",
        "frost_permille": None if frost is None or math.isnan(frost) else round(frost * 1000),
    }


def _day_row(site: int, forecast: DayForecast) -> dict[str, Any]:
    row = _forecast_row(site, "day", forecast, forecast.max_c)
    return {**row, "date": forecast.day, "lid": forecast.lid, "frost_permille": None}


def _forecast_row(
    site: int, kind: str, forecast: NightForecast | DayForecast, middle_c: float
) -> dict[str, Any]:
    return {
        "site": site,
        "kind": kind,
        "issued_s": forecast.issued_s,
        "box": forecast.box,
        "middle_cc": _hundredths(middle_c),
        "low_cc": _hundredths(forecast.low_c),
        "high_cc": _hundredths(forecast.high_c),
        "method": forecast.method,
    }


def _night(row: Any) -> NightForecast:
    return NightForecast(
        box=row.box, night=row.date, issued_s=row.issued_s, min_c=_real(row.middle_cc),
        low_c=_real(row.low_cc), high_c=_real(row.high_cc), method=row.method,
        p_frost=None if row.frost_permille is None else row.frost_permille / 1000,
    )  # fmt: skip


def _day(row: Any) -> DayForecast:
    return DayForecast(
        box=row.box, day=row.date, issued_s=row.issued_s, lid=row.lid, max_c=_real(row.middle_cc),
        low_c=_real(row.low_cc), high_c=_real(row.high_cc), method=row.method,
    )  # fmt: skip


def _lid_row(site: int, lid: LidOpening) -> dict[str, Any]:
    return {
        "site": site,
        "time_s": lid.time_s,
        "box": lid.box,
        "opening_percent": _hundredths(lid.opening),
        "known_from": lid.known_from,
    }


def _hundredths(value: float | None) -> int | None:
    return None if value is None or not math.isfinite(value) else round(value * 100)


def _real(stored: int | None) -> float:
    return math.nan if stored is None else stored / 100


def _json(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)
