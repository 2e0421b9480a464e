"""The first schema: readings, what the engine said, requests, sowings, access."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "reading_hours",
        sa.Column("site", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("probe", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("hour", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("low_cc", sa.Integer(), nullable=False),
        sa.Column("high_cc", sa.Integer(), nullable=False),
        sa.Column("total_cc", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("site", "probe", "hour", name="pk_reading_hours"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "readings",
        sa.Column("site", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("time_ms", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("probe", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("raw_cc", sa.Integer(), nullable=True),
        sa.Column("flags", sa.Integer(), server_default="0", nullable=False),
        sa.PrimaryKeyConstraint("site", "time_ms", "probe", name="pk_readings"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sites",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sites"),
        sa.UniqueConstraint("name", name="uq_sites_name"),
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(), server_default="", nullable=False),
        sa.Column("created_s", sa.BigInteger(), nullable=False),
        sa.Column("last_seen_s", sa.BigInteger(), nullable=False),
        sa.Column("expires_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_sessions_site"),
        sa.PrimaryKeyConstraint("token_hash", name="pk_sessions"),
    )
    op.create_table(
        "settings",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("changed_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_settings_site"),
        sa.PrimaryKeyConstraint("site", "name", name="pk_settings"),
    )
    op.create_table(
        "alarm_changes",
        sa.Column("id", _KEY, nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("time_s", sa.BigInteger(), nullable=False),
        sa.Column("alarm_id", sa.String(), nullable=False),
        sa.Column("event", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_alarm_changes_site"),
        sa.PrimaryKeyConstraint("id", name="pk_alarm_changes"),
        sa.UniqueConstraint(
            "site", "alarm_id", "time_s", "event", name="uq_alarm_changes_site_alarm_id_time_s_event"
        ),
    )
    op.create_index("ix_alarm_changes_site_time_s", "alarm_changes", ["site", "time_s"], unique=False)
    op.create_table(
        "alarms",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("box", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("raised_s", sa.BigInteger(), nullable=False),
        sa.Column("returned_s", sa.BigInteger(), nullable=True),
        sa.Column("changed_s", sa.BigInteger(), nullable=False),
        sa.Column("is_over", sa.Boolean(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_alarms_site"),
        sa.PrimaryKeyConstraint("site", "id", name="pk_alarms"),
    )
    op.create_index("ix_alarms_site_is_over", "alarms", ["site", "is_over"], unique=False)
    op.create_index("ix_alarms_site_raised_s", "alarms", ["site", "raised_s"], unique=False)
    op.create_table(
        "answer_tokens",
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("alarm_id", sa.String(), nullable=False),
        sa.Column("action", sa.String(), nullable=False),
        sa.Column("made_s", sa.BigInteger(), nullable=False),
        sa.Column("expires_s", sa.BigInteger(), nullable=False),
        sa.Column("used_s", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_answer_tokens_site"),
        sa.PrimaryKeyConstraint("token_hash", name="pk_answer_tokens"),
    )
    op.create_table(
        "briefs",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("issued_s", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("which", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_briefs_site"),
        sa.PrimaryKeyConstraint("site", "issued_s", "which", name="pk_briefs"),
    )
    op.create_table(
        "checkpoints",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("row_s", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("state", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_checkpoints_site"),
        sa.PrimaryKeyConstraint("site", "row_s", name="pk_checkpoints"),
    )
    op.create_table(
        "forecasts",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("issued_s", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("box", sa.String(), nullable=False),
        sa.Column("lid", sa.String(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("middle_cc", sa.Integer(), nullable=True),
        sa.Column("low_cc", sa.Integer(), nullable=True),
        sa.Column("high_cc", sa.Integer(), nullable=True),
        sa.Column("frost_permille", sa.Integer(), nullable=True),
        sa.Column("method", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_forecasts_site"),
        sa.PrimaryKeyConstraint("site", "kind", "issued_s", "box", "lid", name="pk_forecasts"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "heat_forecasts",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("issued_s", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("box", sa.String(), nullable=False),
        sa.Column("limit_cc", sa.Integer(), nullable=False),
        sa.Column("p20_permille", sa.Integer(), nullable=False),
        sa.Column("p30_permille", sa.Integer(), nullable=False),
        sa.Column("p60_permille", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_heat_forecasts_site"),
        sa.PrimaryKeyConstraint("site", "issued_s", "box", name="pk_heat_forecasts"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "leases",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("taken_s", sa.BigInteger(), nullable=False),
        sa.Column("until_s", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_leases_site"),
        sa.PrimaryKeyConstraint("site", name="pk_leases"),
    )
    op.create_table(
        "lids",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("time_s", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("box", sa.String(), nullable=False),
        sa.Column("opening_percent", sa.Integer(), nullable=True),
        sa.Column("known_from", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_lids_site"),
        sa.PrimaryKeyConstraint("site", "time_s", "box", name="pk_lids"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "news",
        sa.Column("id", _KEY, nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("time_s", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_news_site"),
        sa.PrimaryKeyConstraint("id", name="pk_news"),
        sa.UniqueConstraint("site", "time_s", "digest", name="uq_news_site_time_s_digest"),
    )
    op.create_table(
        "notices",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("id", sa.String(), nullable=False),
        sa.Column("issued_s", sa.BigInteger(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_notices_site"),
        sa.PrimaryKeyConstraint("site", "id", name="pk_notices"),
    )
    op.create_index("ix_notices_site_issued_s", "notices", ["site", "issued_s"], unique=False)
    op.create_table(
        "outbox",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("notice_id", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("attempts", sa.Integer(), server_default="0", nullable=False),
        sa.Column("next_try_s", sa.BigInteger(), nullable=True),
        sa.Column("delivered_s", sa.BigInteger(), nullable=True),
        sa.Column("given_up_s", sa.BigInteger(), nullable=True),
        sa.Column("detail", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_outbox_site"),
        sa.PrimaryKeyConstraint("site", "notice_id", "channel", name="pk_outbox"),
    )
    op.create_index("ix_outbox_site_next_try_s", "outbox", ["site", "next_try_s"], unique=False)
    op.create_table(
        "probes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_probes_site"),
        sa.PrimaryKeyConstraint("id", name="pk_probes"),
        sa.UniqueConstraint("site", "name", name="uq_probes_site_name"),
    )
    op.create_table(
        "progress",
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("row_s", sa.BigInteger(), nullable=False),
        sa.Column("status", sa.LargeBinary(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_progress_site"),
        sa.PrimaryKeyConstraint("site", name="pk_progress"),
    )
    op.create_table(
        "requests",
        sa.Column("id", _KEY, nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("made_s", sa.BigInteger(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=True),
        sa.Column("taken_row_s", sa.BigInteger(), nullable=True),
        sa.Column("refused", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_requests_site"),
        sa.PrimaryKeyConstraint("id", name="pk_requests"),
        sa.UniqueConstraint("site", "key", name="uq_requests_site_key"),
    )
    op.create_index("ix_requests_site_taken_row_s", "requests", ["site", "taken_row_s"], unique=False)
    op.create_table(
        "sowings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site", sa.Integer(), nullable=False),
        sa.Column("made_s", sa.BigInteger(), nullable=False),
        sa.Column("crop", sa.String(), nullable=False),
        sa.Column("box", sa.String(), nullable=False),
        sa.Column("sown", sa.Date(), nullable=True),
        sa.Column("first_up", sa.Date(), nullable=True),
        sa.Column("half_up", sa.Date(), nullable=True),
        sa.Column("flowering", sa.Date(), nullable=True),
        sa.Column("first_pick", sa.Date(), nullable=True),
        sa.Column("cleared", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), server_default="", nullable=False),
        sa.Column("yield_note", sa.Text(), server_default="", nullable=False),
        sa.Column("yield_g", sa.Integer(), nullable=True),
        sa.Column("removed_s", sa.BigInteger(), nullable=True),
        sa.Column("key", sa.String(), nullable=True),
        sa.ForeignKeyConstraint(["site"], ["sites.id"], name="fk_sowings_site"),
        sa.PrimaryKeyConstraint("id", name="pk_sowings"),
        sa.UniqueConstraint("site", "key", name="uq_sowings_site_key"),
    )
    op.create_table(
        "sowing_changes",
        sa.Column("id", _KEY, nullable=False),
        sa.Column("sowing", sa.Integer(), nullable=False),
        sa.Column("time_s", sa.BigInteger(), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["sowing"], ["sowings.id"], name="fk_sowing_changes_sowing"),
        sa.PrimaryKeyConstraint("id", name="pk_sowing_changes"),
    )
    op.create_index("ix_sowing_changes_sowing", "sowing_changes", ["sowing"], unique=False)
