"""What the season adds to a brief: the evening's step of hardening off, and what may be dry."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import replace

from propstick.app.season.hardening import evening_line
from propstick.app.season.water import reminder
from propstick.edges.store import Store
from propstick.engine.brief_words import BRIEF_LENGTH
from propstick.errors import PropstickError
from propstick.garden import Garden
from propstick.records import Brief, NightForecast

log = logging.getLogger(__name__)


def with_season(store: Store, garden: Garden, brief: Brief, nights: Sequence[NightForecast]) -> Brief:
    """The brief with what the season has to say.

    A deed is always said; the reminder to look at a bed waits for a brief with room for it. A store that
    cannot be read costs the addition, not the brief.

    Args:
        nights: Forecasts issued at the same row.
    """
    harden = ""
    if brief.which == "evening":
        try:
            harden = evening_line(store, garden, brief, nights)
        except PropstickError as error:
            log.warning("no-hardening-line reason=%r", error.message)
    text = brief.text
    if harden:
        # What follows is something to do.
        text = f"{text.replace('Nothing to do', 'Nothing else to do', 1)} {harden}"
    water = reminder(store, garden, brief.issued_s)
    if water and (not harden or len(text) + 1 + len(water) <= BRIEF_LENGTH):
        text = f"{text} {water}"
    return replace(brief, text=text)
