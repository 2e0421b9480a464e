"""What a brief adds from beyond the engine: water, and of an evening what is being hardened off."""

from __future__ import annotations

import logging
from pathlib import Path

from propstick.app import season_hardening, season_water
from propstick.edges.database import Store
from propstick.errors import PropstickError
from propstick.garden import Garden
from propstick.records import Outcome

log = logging.getLogger(__name__)


def reminder(
    store: Store, garden: Garden, now_s: int, outcome: Outcome, *, garden_file: Path | None = None
) -> str:
    """A sentence or two to stand behind the advice, or empty.

    Args:
        outcome: Of the row with the brief: the night forecast issued with it is not in the store yet.

    A store that cannot be read costs the reminder, not the brief.
    """
    try:
        said = [season_water.reminder(store, garden, now_s)]
        if any(brief.which == "evening" for brief in outcome.briefs):
            said += season_hardening.reminders(
                store, garden, now_s, issued=outcome.nights, garden_file=garden_file
            )
    except PropstickError as error:
        log.warning("no-reminder reason=%r", error.message)
        return ""
    return " ".join(one for one in said if one)
