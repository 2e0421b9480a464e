"""A backup put back in place of the store, whole or up to a moment. What was there is set aside."""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, delete, func, select, update
from sqlalchemy.engine import make_url

from propstick.edges import schema
from propstick.edges.copying import copy_rows
from propstick.edges.database import open_store
from propstick.edges.disk import flush
from propstick.edges.history import HOUR_MS, roll_hours
from propstick.edges.lease import living_owners
from propstick.edges.maintenance import quick_check
from propstick.edges.salvage import set_aside
from propstick.edges.schema import REVISION
from propstick.edges.sowing_fields import DATES
from propstick.edges.store import Store
from propstick.errors import StoreError
from propstick.times import utc_text


@dataclass(frozen=True)
class Restored:
    """What stands in the store now.

    Attributes:
        newest_row_s: The last row done, UTC seconds; None if the backup held none.
        aside: Where the former store lies; None if there was none.
    """

    newest_row_s: int | None
    aside: Path | None


def restore(
    backup: Path, url: str, *, now_s: int, force: bool = False, until_s: int | None = None
) -> Restored:
    """Puts a backup in place of the store.

    Args:
        force: Also in place of a store with newer rows; it is set aside, not lost.
        until_s: Leave out everything after this moment, UTC seconds.

    Raises:
        StoreError: the backup is damaged or none of ours; a watch is running; the store is newer.
    """
    if not backup.is_file():
        raise StoreError(f"backup {backup}: no such file", hint="give the file that backup wrote")
    if make_url(url).get_backend_name() == "sqlite":
        return _restore_file(backup, url, now_s=now_s, force=force, until_s=until_s)
    return _restore_server(backup, url, until_s=until_s)


def _restore_file(backup: Path, url: str, *, now_s: int, force: bool, until_s: int | None) -> Restored:
    target = Path(str(make_url(url).database))
    working = target.with_name(f"{target.name}.restoring")
    try:
        newest_s = _prepared(backup, working, until_s)
        _refuse_to_harm(url, newest_s, now_s=now_s, force=force)
        aside = set_aside(url, word="before-restore", now_s=now_s) if target.exists() else None
        os.replace(working, target)
        flush(target.parent)
    except OSError as error:
        raise StoreError(f"restore to {target}: {error.strerror or error}") from error
    finally:
        working.unlink(missing_ok=True)
    return Restored(newest_s, aside)


def _restore_server(backup: Path, url: str, *, until_s: int | None) -> Restored:
    """Into an empty database only: a server's own rows are not set aside by a rename."""
    target = open_store(url)
    working = backup.with_name(f"{backup.name}.restoring")
    try:
        if target.site_names():
            raise StoreError(f"store {target}: holds sites already", hint="restore into an empty database")
        newest_s = _prepared(backup, working, until_s)
        source = open_store(f"sqlite:///{working}", create=False)
        try:
            copy_rows(source, target)
        finally:
            source.close()
    finally:
        working.unlink(missing_ok=True)
        target.close()
    return Restored(newest_s, None)


def _prepared(backup: Path, working: Path, until_s: int | None) -> int | None:
    """A sound copy of the backup, on the disk, up to the moment asked for; its newest row."""
    working.unlink(missing_ok=True)
    os.close(os.open(working, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    shutil.copyfile(backup, working)
    store = open_store(f"sqlite:///{working}", create=False, as_it_is=True)
    try:
        found = quick_check(store)
        if found:
            raise StoreError(
                f"backup {backup}: is damaged ({found})", hint="take an older one", reason="corrupt"
            )
        if (store.revision() or "") < REVISION:
            from propstick.edges import migrations  # costly, and needed for an old backup only

            migrations.upgrade(store)  # the backup itself is the copy before it
        if until_s is not None:
            cut_after(store, until_s)
        with store.write() as connection:
            connection.execute(delete(schema.leases))  # whoever held it held the old store
            newest_s = connection.scalar(select(func.max(schema.progress.c.row_s)))
    finally:
        store.close()
    return newest_s


def _refuse_to_harm(url: str, newest_s: int | None, *, now_s: int, force: bool) -> None:
    """A store in use, or newer than the backup, stays. A damaged one cannot be asked."""
    try:
        present = open_store(url, create=False, as_it_is=True)
    except StoreError as error:
        if error.reason in ("missing", "corrupt"):
            return
        raise
    try:
        owners = living_owners(present, now_s)
        with present.read() as connection:
            present_s = connection.scalar(select(func.max(schema.progress.c.row_s)))
    except StoreError as error:
        if error.reason == "corrupt":
            return
        raise
    finally:
        present.close()
    if owners:
        raise StoreError(
            f"store {url}: a watch is running on it", hint="stop propstick watch first", reason="leased"
        )
    if not force and present_s is not None and (newest_s is None or present_s > newest_s):
        kept = "no rows" if newest_s is None else utc_text(newest_s)
        raise StoreError(
            f"store {url}: has rows until {utc_text(present_s)}, the backup until {kept}",
            hint="--force puts the backup in its place; the present store is kept beside it",
            reason="newer",
        )


def cut_after(store: Store, until_s: int) -> None:
    """Takes out what came after a moment; alarms, sowings and requests go back to how they stood then."""
    with store.write() as connection:
        for table, column, scale in _DATED:
            connection.execute(delete(table).where(table.c[column] > until_s * scale))
        _reroll(store, connection, until_s)
        _reset_alarms(connection, until_s)
        _reset_sowings(connection, until_s)
        gone = ~select(schema.notices.c.id).where(
            schema.notices.c.site == schema.outbox.c.site, schema.notices.c.id == schema.outbox.c.notice_id
        ).exists()  # fmt: skip
        connection.execute(delete(schema.outbox).where(gone))
        untaken = update(schema.requests).where(schema.requests.c.taken_row_s > until_s)
        connection.execute(untaken.values(taken_row_s=None, refused=None))
        back = update(schema.progress).where(schema.progress.c.row_s > until_s)
        connection.execute(back.values(row_s=until_s // 60 * 60, status=None))


_DATED = (
    (schema.readings, "time_ms", 1000),
    (schema.checkpoints, "row_s", 1),
    (schema.news, "time_s", 1),
    (schema.alarm_changes, "time_s", 1),
    (schema.alarms, "raised_s", 1),
    (schema.notices, "issued_s", 1),
    (schema.briefs, "issued_s", 1),
    (schema.heat_forecasts, "issued_s", 1),
    (schema.forecasts, "issued_s", 1),
    (schema.lids, "time_s", 1),
    (schema.requests, "made_s", 1),
)


def _reroll(store: Store, connection: Connection, until_s: int) -> None:
    """The hour that was cut is summed up anew, the later ones are gone."""
    hour = until_s * 1000 // HOUR_MS
    connection.execute(delete(schema.reading_hours).where(schema.reading_hours.c.hour >= hour))
    cursor = connection.connection.cursor()
    for site in connection.scalars(select(schema.sites.c.id)).all():
        roll_hours(store, cursor, site, first_hour=hour, stop_hour=hour + 1)
    cursor.close()


def _reset_alarms(connection: Connection, until_s: int) -> None:
    """Each alarm that changed later stands as its last change before left it."""
    alarms, changes = schema.alarms, schema.alarm_changes
    for alarm in connection.execute(select(alarms).where(alarms.c.changed_s > until_s)).all():
        query = select(changes).where(changes.c.site == alarm.site, changes.c.alarm_id == alarm.id)
        last = connection.execute(
            query.order_by(changes.c.time_s.desc(), changes.c.id.desc()).limit(1)
        ).first()
        mine = (alarms.c.site == alarm.site) & (alarms.c.id == alarm.id)
        if last is None:
            connection.execute(delete(alarms).where(mine))
            continue
        returned = json.loads(last.body)["returned"]
        connection.execute(
            update(alarms)
            .where(mine)
            .values(
                state=last.state,
                is_over=last.state == "normal",
                body=last.body,
                changed_s=last.time_s,
                returned_s=None if returned is None else int(datetime.fromisoformat(returned).timestamp()),
            )
        )


def _reset_sowings(connection: Connection, until_s: int) -> None:
    """Changes undone one by one, the newest first; what was written down later is gone."""
    changes, sowings = schema.sowing_changes, schema.sowings
    query = select(changes).where(changes.c.time_s > until_s).order_by(changes.c.id.desc())
    for change in connection.execute(query).all():
        before: dict[str, Any] = {
            name: date.fromisoformat(old) if name in DATES and old is not None else old
            for name, (old, _new) in json.loads(change.body).items()
        }
        connection.execute(delete(changes).where(changes.c.id == change.id))
        mine = sowings.c.id == change.sowing
        made_s = connection.scalar(select(sowings.c.made_s).where(mine))
        if made_s is not None and made_s <= until_s:
            connection.execute(update(sowings).where(mine).values(**before))
    connection.execute(delete(sowings).where(sowings.c.made_s > until_s))
