"""Whether a position and a time zone can belong to one garden."""

from __future__ import annotations

from propstick.garden import Site
from propstick.times import local

FURTHEST_H = 3.5
"""Hours between a zone's clock and its sun from which they cannot belong together. The widest on land is
about 3, in the west of China, whose clock is Beijing's; summer time adds one and is not counted here."""


def clock_off_sun_h(site: Site, time_s: int) -> float | None:
    """Hours the zone's winter clock is ahead of the sun there, -12 to 12; None where one is not known."""
    if site.longitude is None or site.zone is None:
        return None
    at = local(time_s, site.zone)
    offset, summer = at.utcoffset(), at.dst()
    if offset is None:
        return None
    clock_h = (offset.total_seconds() - (summer.total_seconds() if summer else 0.0)) / 3600
    return (clock_h - site.longitude / 15 + 12) % 24 - 12


def doubt(site: Site, time_s: int) -> str:
    """One sentence where position and zone contradict each other; empty where they do not."""
    off_h = clock_off_sun_h(site, time_s)
    if off_h is None or abs(off_h) <= FURTHEST_H:
        return ""
    return (
        f"longitude {site.longitude:g} is {abs(off_h):.0f} hours from the clock of {site.zone}: "
        "sunset would come at the wrong hour"
    )
