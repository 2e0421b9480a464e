"""A garden in which it is always day: at night a heat alarm rings nobody, whenever a proof is run."""

from __future__ import annotations

import time


def noon_zone() -> str:
    """Where it is about noon now."""
    ahead = time.gmtime().tm_hour - 12
    return f"Etc/GMT{ahead:+d}" if ahead else "UTC"
