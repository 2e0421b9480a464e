"""Brings an older store up to this release's schema. Slow to import, so imported late and rarely."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config

from propstick.edges.store import Store

FOLDER = Path(__file__).parent
"""Where Alembic finds the steps."""


def upgrade(store: Store, revision: str = "head") -> None:
    """Runs what is missing, all of it in one transaction: cut off half way, nothing has happened."""
    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    with store.write() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
