"""What loose probes showed of the spots they lay on, beside the outside air, boxes and one another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import time, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from propstick.app.season.hours import Laid, PlotHours, measured
from propstick.edges.readings import ReadingLog
from propstick.garden import OUTSIDE, Garden, Site
from propstick.growing import loose
from propstick.growing.loose import LooseSun, Stretch
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.times import DAY_S, at_local, clock_text, local_date, utc_text
from propstick.units import BoolArray, FloatArray, IntArray

LOOK_BACK_D = 45
"""Older stays tell of another sun."""
SHOWN_S = 2400
"""Shorter stretches of sun are counted, not named."""


@dataclass(frozen=True, kw_only=True)
class LooseView:
    """A spot as a loose probe showed it; `sun` is None where it cannot be said yet, and `words` why."""

    spot: str
    sun: LooseSun | None
    words: str

    def to_json(self) -> dict[str, Any]:
        """For the API; hours are of the day told, bearings clockwise from north."""
        if self.sun is None:
            return {"sun": None, "words": self.words}
        sun = self.sun
        return {
            "sun": {
                "day": sun.day.isoformat(),
                "clear_days": sun.clear_days,
                "well_up_h": round(sun.well_up_h, 1),
                "sun_h": round(sun.sun_h, 1),
                "sun_low_h": round(sun.sun_low_h, 1),
                "sun_high_h": round(sun.sun_high_h, 1),
                "share": round(sun.share, 2),
                "share_low": round(sun.share_low, 2),
                "share_high": round(sun.share_high, 2),
                "stretches": [
                    {
                        "from": utc_text(one.begin_s),
                        "to": utc_text(one.end_s),
                        "from_deg": round(one.from_deg),
                        "to_deg": round(one.to_deg),
                    }
                    for one in sun.stretches
                ],
            },
            "words": self.words,
        }


def loose_views(plot: PlotHours, log: ReadingLog) -> dict[str, LooseView]:
    """Every spot on which a loose probe lies or lay of late; none without the garden's position."""
    site = plot.garden.site
    laid = [one for one in plot.laid if one.until_s > plot.now_s - LOOK_BACK_D * DAY_S]
    if site.latitude is None or site.longitude is None or not laid:
        return {}
    begin_s = max(min(one.from_s for one in laid), plot.now_s - LOOK_BACK_D * DAY_S)
    begin_s = begin_s // loose.GRAIN_S * loose.GRAIN_S
    time_s = np.arange(begin_s, plot.now_s // loose.GRAIN_S * loose.GRAIN_S, loose.GRAIN_S, dtype=np.int64)
    elevation, _ = solar_position(time_s + loose.GRAIN_S / 2, site.latitude, site.longitude)
    clear = clear_sky_w_m2(elevation)

    def air(box: str) -> FloatArray:
        return measured(log, plot.garden.probes_at(box, "air"), time_s, step_s=loose.GRAIN_S)[0]

    shade = air(OUTSIDE)
    boxes = [
        loose.box_witness(time_s, air(box), shade, clear, longitude=site.longitude)
        for box in plot.garden.box_names
    ]
    shown = _relative(log, laid, time_s, shade, clear, site)
    found = {}
    for spot in dict.fromkeys(one.probe.spot for one in laid):
        if spot is not None:
            found[spot] = _view(spot, laid, shown, boxes, time_s, plot.garden, has_shade=_any(shade))
    return found


def _any(values: FloatArray) -> bool:
    return bool((~np.isnan(values)).any())


def _relative(
    log: ReadingLog, laid: Sequence[Laid], time_s: IntArray, shade: FloatArray, clear: FloatArray, site: Site
) -> list[FloatArray]:
    """Of each stay, the probe's warmth as a share of its own in full sun; NaN outside the stay, and
    everywhere where the probe shows no sun at all."""
    assert site.longitude is not None
    by_probe: dict[str, list[FloatArray]] = {}
    stays = []
    for one in laid:
        # Its first day there began in a box or in a pocket.
        first = local_date(one.from_s, site.zone) + timedelta(days=one.from_s > 0)
        lies = (time_s >= at_local(first, time(0), site.zone)) & (time_s < one.until_s)
        gain = loose.gains(measured(log, (one.probe,), time_s, step_s=loose.GRAIN_S)[0], shade, clear)
        gain = np.where(lies, gain, np.nan)
        stays.append(gain)
        by_probe.setdefault(one.probe.id, []).append(gain)
    found = []
    for one, gain in zip(laid, stays, strict=True):
        beside = by_probe[one.probe.id]
        full = loose.full_gain(np.tile(time_s, len(beside)), np.concatenate(beside), longitude=site.longitude)
        # By the same weeks if they showed sun: another week's wind took more of it, or less.
        here = loose.full_gain(time_s, gain, longitude=site.longitude)
        if here is not None and full is not None and here >= loose.LIT * full:
            full = here
        found.append(np.full(len(gain), np.nan) if full is None else gain / full)
    return found


def _view(
    spot: str,
    laid: Sequence[Laid],
    shown: Sequence[FloatArray],
    boxes: Sequence[BoolArray],
    time_s: IntArray,
    garden: Garden,
    *,
    has_shade: bool,
) -> LooseView:
    site = garden.site
    assert site.latitude is not None
    assert site.longitude is not None
    mine = [k for k, one in enumerate(laid) if one.probe.spot == spot]
    last_s = max(laid[k].until_s for k in mine)
    recent = (time_s >= last_s - loose.WINDOW_D * DAY_S) & (time_s < last_s)
    others = [shown[k] >= loose.LIT for k in range(len(laid)) if k not in mine]
    shines = np.any([*boxes, *others, np.zeros(len(time_s), dtype=bool)], axis=0)[recent]
    relative = np.fmax.reduce([shown[k] for k in mine])[recent]
    if not has_shade:
        return LooseView(spot=spot, sun=None, words="cannot say: no air probe in the shade outside")
    place = {"latitude": site.latitude, "longitude": site.longitude}
    day = local_date(last_s - 1, site.zone)
    sun = loose.loose_sun(time_s[recent], relative, shines, day=day, zone=site.zone, **place)
    if sun is not None:
        return LooseView(spot=spot, sun=sun, words=_words(sun, garden))
    days = loose.clear_days(time_s[recent], relative, shines, longitude=site.longitude)
    if days >= loose.LEAST_CLEAR_DAYS:
        why = "the sky was not seen clear for most hours of its day"
    elif _any(relative) or last_s - min(laid[k].from_s for k in mine) < loose.LEAST_CLEAR_DAYS * DAY_S:
        why = f"{days} of {loose.LEAST_CLEAR_DAYS} clear days so far"
    else:
        why = "no sun shows on it: cloud or shade all day, or the probe has a shield"
    return LooseView(spot=spot, sun=None, words=f"cannot say yet: {why}")


def _words(sun: LooseSun, garden: Garden) -> str:
    """Hours and share with their intervals, and when: `10:20 to 16:40 (bearing 133° to 259°)`."""
    long = [one for one in sun.stretches if one.end_s - one.begin_s >= SHOWN_S] or sun.stretches
    when = " and ".join(_stretch(one, garden) for one in long)
    interval = f"{sun.sun_low_h:.1f} to {sun.sun_high_h:.1f}"
    share = f"{100 * sun.share:.0f} % ({100 * sun.share_low:.0f} to {100 * sun.share_high:.0f} %)"
    said = f"{sun.sun_h:.1f} h of sun ({interval}) of the {sun.well_up_h:.1f} h in which it stands well up"
    return f"{said}{f', {when}' if when else ''}; {share} of an open place's ({sun.clear_days} clear days)"


def _stretch(one: Stretch, garden: Garden) -> str:
    begin, end = (
        clock_text(at_s, garden.site.zone, twelve_hour=garden.twelve_hour)
        for at_s in (one.begin_s, one.end_s)
    )
    return f"{begin} to {end} (bearing {one.from_deg:.0f}° to {one.to_deg:.0f}°)"


def ranked(views: Sequence[LooseView]) -> str:
    """Spots by the sun their loose probes showed, and which are too near one another to tell; or empty."""
    known = sorted(
        ((one.spot, one.sun) for one in views if one.sun is not None), key=lambda pair: -pair[1].share
    )
    if len(known) < 2:
        return ""
    order = f"{known[0][0]} has the most sun"
    for (_, above), (spot, sun) in pairwise(known):
        if sun.share_high >= above.share_low:
            order += f", {spot} too near it to tell"
        else:
            low, high = sun.share_low / above.share_high, min(1.0, sun.share_high / above.share_low)
            order += f", then {spot} with {100 * low:.0f} to {100 * high:.0f} % of that"
    return f"By loose probes {order}."
