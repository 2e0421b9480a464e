"""What the tests of the parts ask of a store again and again."""

from datetime import UTC, datetime

from sqlalchemy import text

from propstick.edges.journal import Journal
from propstick.records import Outcome, Reading

DAY_S = 86_400


def at(*date):
    return int(datetime(*date, tzinfo=UTC).timestamp())


NOW_S = at(2026, 2, 20)
"""Today, as far as these tests are concerned."""


def parts_of(store, table="readings"):
    """Rows by part, and parts without any."""
    with store.read() as connection:
        query = "SELECT inhrelid::regclass::text FROM pg_inherits WHERE inhparent = to_regclass(:t)"
        names = connection.scalars(text(query), {"t": table}).all()
        return {n: connection.scalar(text(f"SELECT count(*) FROM {n}")) for n in sorted(names)}


def commit(store, *times_s, site="home", value=1.0):
    readings = [Reading("28-1", time_s * 1000, value) for time_s in times_s]
    Journal(store, site).commit(row_s=max(times_s), readings=readings, outcome=Outcome())


def plan_of(store, statement):
    with store.read() as connection:
        return "\n".join(connection.scalars(text(f"EXPLAIN (COSTS OFF) {statement}")))
