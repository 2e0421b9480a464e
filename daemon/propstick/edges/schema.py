"""Every table of the store, said once for SQLite and PostgreSQL.

Times are UTC: milliseconds for readings, seconds elsewhere. Temperatures are integer centi-degrees
(`_cc`), as sensed for readings. What is read back as an object is the text of `codec`; what other
programs read is the JSON of the external contract.

On PostgreSQL the largest tables stand in parts by time (`edges/partitions.py`).

A change here needs a new file under `migrations/versions` and a new `REVISION`; it may only add.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

REVISION = "0002"
"""What this release writes. Revisions are numbers in text and only grow, so `<` means older."""
WORKS_FROM = "0001"
"""The oldest schema this release can work on, should the disk have no room to bring it up to date."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

_Key = BigInteger().with_variant(Integer, "sqlite")
"""A numbered key; SQLite numbers rows by itself only when the type is called INTEGER."""


def _site(**more: bool) -> Column[int]:
    return Column("site", Integer, ForeignKey("sites.id"), nullable=False, **more)


sites = Table(
    "sites",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String, nullable=False, unique=True),
    # How long its readings are kept, for neighbours on a server: months are dropped there for all at once.
    Column("keep_days", Integer),
)

probes = Table(
    "probes",
    metadata,
    Column("id", Integer, primary_key=True),
    _site(),
    Column("name", String, nullable=False),
    UniqueConstraint("site", "name"),
)

readings = Table(
    # No foreign keys: they would be looked up for every reading, and only the journal writes here.
    # Time before probe: a row's readings then lie on one page, a tenth of the writing (measured).
    "readings",
    metadata,
    Column("site", Integer, primary_key=True, autoincrement=False),
    Column("time_ms", BigInteger, primary_key=True, autoincrement=False),
    Column("probe", Integer, primary_key=True, autoincrement=False),
    Column("raw_cc", Integer),
    Column("flags", Integer, nullable=False, server_default="0"),
    sqlite_with_rowid=False,
)

reading_hours = Table(
    # What the good readings of an hour came to, so that a season's chart does not read the season.
    "reading_hours",
    metadata,
    Column("site", Integer, primary_key=True, autoincrement=False),
    Column("probe", Integer, primary_key=True, autoincrement=False),
    Column("hour", Integer, primary_key=True, autoincrement=False),
    Column("low_cc", Integer, nullable=False),
    Column("high_cc", Integer, nullable=False),
    Column("total_cc", BigInteger, nullable=False),
    Column("count", Integer, nullable=False),
    sqlite_with_rowid=False,
)

progress = Table(
    "progress",
    metadata,
    _site(primary_key=True),
    Column("row_s", BigInteger, nullable=False),
    Column("status", LargeBinary),  # JSON deflated: one page a row instead of four
)

leases = Table(
    "leases",
    metadata,
    _site(primary_key=True),
    Column("owner", String, nullable=False),
    Column("taken_s", BigInteger, nullable=False),
    Column("until_s", BigInteger, nullable=False),
)

checkpoints = Table(
    "checkpoints",
    metadata,
    _site(primary_key=True),
    Column("row_s", BigInteger, primary_key=True, autoincrement=False),
    Column("state", LargeBinary, nullable=False),
)

news = Table(
    "news",
    metadata,
    Column("id", _Key, primary_key=True),
    _site(),
    Column("time_s", BigInteger, nullable=False),
    Column("kind", String, nullable=False),
    Column("digest", String, nullable=False),
    Column("body", Text, nullable=False),
    UniqueConstraint("site", "time_s", "digest"),
)

alarms = Table(
    "alarms",
    metadata,
    _site(primary_key=True),
    Column("id", String, primary_key=True),
    Column("box", String, nullable=False),
    Column("kind", String, nullable=False),
    Column("state", String, nullable=False),
    Column("raised_s", BigInteger, nullable=False),
    Column("returned_s", BigInteger),
    Column("changed_s", BigInteger, nullable=False),
    Column("is_over", Boolean(create_constraint=False), nullable=False),
    Column("body", Text, nullable=False),
    Index(None, "site", "raised_s"),
    Index(None, "site", "is_over"),
)

alarm_changes = Table(
    "alarm_changes",
    metadata,
    Column("id", _Key, primary_key=True),
    _site(),
    Column("time_s", BigInteger, nullable=False),
    Column("alarm_id", String, nullable=False),
    Column("event", String, nullable=False),
    Column("state", String, nullable=False),
    Column("body", Text, nullable=False),
    UniqueConstraint("site", "alarm_id", "time_s", "event"),
    Index(None, "site", "time_s"),
)

notices = Table(
    "notices",
    metadata,
    _site(primary_key=True),
    Column("id", String, primary_key=True),
    Column("issued_s", BigInteger, nullable=False),
    Column("body", Text, nullable=False),
    Index(None, "site", "issued_s"),
)

outbox = Table(
    "outbox",
    metadata,
    _site(primary_key=True),
    Column("notice_id", String, primary_key=True),
    Column("channel", String, primary_key=True),
    Column("attempts", Integer, nullable=False, server_default="0"),
    Column("next_try_s", BigInteger),
    Column("delivered_s", BigInteger),
    Column("given_up_s", BigInteger),
    Column("detail", Text, nullable=False, server_default=""),
    Index(None, "site", "next_try_s"),
)

briefs = Table(
    "briefs",
    metadata,
    _site(primary_key=True),
    Column("issued_s", BigInteger, primary_key=True, autoincrement=False),
    Column("which", String, primary_key=True),
    Column("body", Text, nullable=False),
)

heat_forecasts = Table(
    "heat_forecasts",
    metadata,
    _site(primary_key=True),
    Column("issued_s", BigInteger, primary_key=True, autoincrement=False),
    Column("box", String, primary_key=True),
    Column("limit_cc", Integer, nullable=False),
    Column("p20_permille", Integer, nullable=False),
    Column("p30_permille", Integer, nullable=False),
    Column("p60_permille", Integer, nullable=False),
    sqlite_with_rowid=False,
)

forecasts = Table(
    # Nights (`lid` empty, the middle is a minimum) and days (one per lid, the middle is a maximum).
    "forecasts",
    metadata,
    _site(primary_key=True),
    Column("kind", String, primary_key=True),
    Column("issued_s", BigInteger, primary_key=True, autoincrement=False),
    Column("box", String, primary_key=True),
    Column("lid", String, primary_key=True),
    Column("date", Date, nullable=False),
    Column("middle_cc", Integer),
    Column("low_cc", Integer),
    Column("high_cc", Integer),
    Column("frost_permille", Integer),
    Column("method", String, nullable=False),
    sqlite_with_rowid=False,
)

lids = Table(
    "lids",
    metadata,
    _site(primary_key=True),
    Column("time_s", BigInteger, primary_key=True, autoincrement=False),
    Column("box", String, primary_key=True),
    Column("opening_percent", Integer),
    Column("known_from", String, nullable=False),
    sqlite_with_rowid=False,
)

requests = Table(
    "requests",
    metadata,
    Column("id", _Key, primary_key=True),
    _site(),
    Column("made_s", BigInteger, nullable=False),
    Column("kind", String, nullable=False),
    Column("body", Text, nullable=False),
    Column("by", String, nullable=False),
    Column("key", String),
    Column("taken_row_s", BigInteger),
    Column("refused", Text),
    UniqueConstraint("site", "key"),
    Index(None, "site", "taken_row_s"),
)

sowings = Table(
    "sowings",
    metadata,
    Column("id", Integer, primary_key=True),
    _site(),
    Column("made_s", BigInteger, nullable=False),
    Column("crop", String, nullable=False),
    Column("box", String, nullable=False),
    Column("sown", Date),
    Column("first_up", Date),
    Column("half_up", Date),
    Column("flowering", Date),
    Column("first_pick", Date),
    Column("cleared", Date),
    Column("note", Text, nullable=False, server_default=""),
    Column("yield_note", Text, nullable=False, server_default=""),
    Column("yield_g", Integer),
    Column("removed_s", BigInteger),
    Column("key", String),
    UniqueConstraint("site", "key"),
)

sowing_changes = Table(
    "sowing_changes",
    metadata,
    Column("id", _Key, primary_key=True),
    Column("sowing", Integer, ForeignKey("sowings.id"), nullable=False),
    Column("time_s", BigInteger, nullable=False),
    Column("by", String, nullable=False),
    Column("body", Text, nullable=False),
    Index(None, "sowing"),
)

settings = Table(
    "settings",
    metadata,
    Column("name", String, primary_key=True),
    Column("value", Text, nullable=False),
    Column("changed_s", BigInteger, nullable=False),
)

sessions = Table(
    # Only the hash of a token is kept: who reads the file cannot log in with it.
    "sessions",
    metadata,
    Column("token_hash", String, primary_key=True),
    Column("label", String, nullable=False, server_default=""),
    Column("created_s", BigInteger, nullable=False),
    Column("last_seen_s", BigInteger, nullable=False),
    Column("expires_s", BigInteger, nullable=False),
)

answer_tokens = Table(
    # The link in a notice: one answer to one alarm, once.
    "answer_tokens",
    metadata,
    Column("token_hash", String, primary_key=True),
    _site(),
    Column("alarm_id", String, nullable=False),
    Column("action", String, nullable=False),
    Column("made_s", BigInteger, nullable=False),
    Column("expires_s", BigInteger, nullable=False),
    Column("used_s", BigInteger),
)
