"""What is promised when things break, tried on real parts: `python -m tests.faults [NAME ...]`.

Prints a table of promises with the figures found; the status is 1 where one was broken. Takes minutes:
the short forms of the same run with the tests.
"""

from __future__ import annotations

import sys

from tests.bench.table import run_named
from tests.faults import (
    away,
    disk,
    full_upgrade,
    kills,
    migration,
    power,
    push,
    season,
    takeover,
    takeover_postgres,
)  # fmt: skip

FAULTS = {
    "kills": kills.kills,
    "takeover": takeover.takeover,
    "takeover-postgres": takeover_postgres.takeover_postgres,
    "power": power.power,
    "migration": migration.migration,
    "disk": disk.disk,
    "full-upgrade": full_upgrade.full_upgrade,
    "away": away.away,
    "push": push.push,
    "sixty-days": season.sixty_days,
}


if __name__ == "__main__":
    sys.exit(run_named("faults", FAULTS, sys.argv[1:]))
