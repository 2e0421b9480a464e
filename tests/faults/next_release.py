"""Propstick as its next release might be: one more migration. `python -m tests.faults.next_release watch …`

What a migration goes through is tried on an invented third schema: the second does too little on SQLite.
It does what such steps do: a table, a column with a default, an index over all readings, a table filled.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from propstick.app.cli import main
from propstick.edges import migrations, schema

REVISION = "0003"
STEP = '''
"""Invented: the days of each probe, an index, a column."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "invented_days",
        sa.Column("day", sa.Integer(), primary_key=True),
        sa.Column("readings", sa.Integer(), nullable=False),
    )
    op.add_column("sites", sa.Column("invented", sa.String(), server_default="new", nullable=False))
    op.create_index("ix_invented", "readings", ["probe", "time_ms"])
    op.execute(
        "INSERT INTO invented_days SELECT time_ms / 86400000, count(*) FROM readings GROUP BY 1"
    )
'''


def release(folder: Path) -> None:
    """Makes this process the next release."""
    steps = folder / "migrations"
    shutil.copytree(migrations.FOLDER, steps, ignore=shutil.ignore_patterns("__pycache__"))
    (steps / "versions" / "rev_0003_invented.py").write_text(STEP)
    migrations.FOLDER = steps
    schema.REVISION = REVISION


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        release(Path(name))
        sys.exit(main(sys.argv[1:]))
