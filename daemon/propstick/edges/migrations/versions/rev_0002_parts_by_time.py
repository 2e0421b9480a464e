"""How long each site keeps its readings; on PostgreSQL the large tables in parts by time.

A table that is there cannot be given parts, so its rows move into a new one of the same name: all in this
transaction, while others wait, and with room for both until it ends. The release before runs on either.
"""

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_TABLES = (
    # table, its time, key, what a second comes to as a fraction, months a part
    ("readings", "time_ms", "site, time_ms, probe", (1000, 1), 1),
    ("reading_hours", "hour", "site, probe, hour", (1, 3600), 12),
    ("heat_forecasts", "issued_s", "site, issued_s, box", (1, 1), 12),
)
_EARLIEST_S = 946_684_800
"""2000: what is older was read under an unset clock and stays in the rest, as does what is to come."""


def upgrade() -> None:
    op.add_column("sites", sa.Column("keep_days", sa.Integer(), nullable=True))
    if op.get_bind().dialect.name != "sqlite":
        for table, column, key, per_s, months in _TABLES:
            _part(table, column, key, per_s, months)


def _part(table: str, column: str, key: str, per_s: tuple[int, int], months: int) -> None:
    op.execute(f"ALTER TABLE {table} RENAME TO {table}_whole")
    op.execute(f"ALTER INDEX pk_{table} RENAME TO pk_{table}_whole")
    op.execute(f"CREATE TABLE {table} (LIKE {table}_whole INCLUDING DEFAULTS) PARTITION BY RANGE ({column})")
    op.create_primary_key(f"pk_{table}", table, key.split(", "))
    if table == "heat_forecasts":
        op.create_foreign_key(f"fk_{table}_site", table, "sites", ["site"], ["id"])
    op.execute(f"CREATE TABLE {table}_rest PARTITION OF {table} DEFAULT")
    for year, month in _months_of(f"{table}_whole", column, per_s, months):
        first = _value(year, month, per_s)
        stop = _value(year + (month + months - 1) // 12, (month + months - 1) % 12 + 1, per_s)
        name = f"{table}_{year}" + (f"_{month:02}" if months == 1 else "")
        op.execute(f"CREATE TABLE {name} PARTITION OF {table} FOR VALUES FROM ({first}) TO ({stop})")
    op.execute(f"INSERT INTO {table} SELECT * FROM {table}_whole")
    op.execute(f"DROP TABLE {table}_whole")


def _months_of(table: str, column: str, per_s: tuple[int, int], months: int) -> list[tuple[int, int]]:
    """(year, first month) of every part that has rows, up to this month."""
    days = op.get_bind().execute(
        sa.text(
            f"SELECT DISTINCT {column} * {per_s[1]}::bigint / {per_s[0]} / 86400 FROM {table} "
            f"WHERE {column} * {per_s[1]}::bigint / {per_s[0]} BETWEEN :first AND extract(epoch FROM now())"
        ),
        {"first": _EARLIEST_S},
    )
    dates = [datetime.fromtimestamp(day * 86_400, UTC) for (day,) in days]
    return sorted({(at.year, (at.month - 1) // months * months + 1) for at in dates})


def _value(year: int, month: int, per_s: tuple[int, int]) -> int:
    return int(datetime(year, month, 1, tzinfo=UTC).timestamp()) * per_s[0] // per_s[1]
