"""What the season says of each batch: up, picked, in flower, and when to sow the next."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, time

import numpy as np

from propstick.app.season.batch import NEVER, BatchView, lasted_days, notes_of
from propstick.app.season.hours import Box, PlotHours
from propstick.edges.sowings import StoredSowing
from propstick.growing.coming import AIR_SPREAD_C, SOIL_SPREAD_C, Coming, coming
from propstick.growing.crops import Crop, known
from propstick.growing.emergence import expect, late_reasons, progress_until
from propstick.growing.flowering import Flowering, flowering
from propstick.growing.harvest import Need, Window, first_pick, need_of, warmth_between
from propstick.growing.hours import HOUR_S
from propstick.growing.learning import KINSHIP_LOG_SD, PRIOR_LOG_SD, Factor, learnt
from propstick.growing.next_sowing import NextSowing, next_sowing
from propstick.growing.path import Path, path_of
from propstick.times import DAY_S, at_local, local_date

AHEAD_D = 150
LOOK_BACK_D = 10
"""A next sowing that should have gone in so long ago is still named, as overdue."""
UP_SHARE = 0.3
"""Of the time from sowing to the pick, what a batch not sown yet is taken to need to come up."""
_NOON = time(12)


@dataclass(frozen=True, kw_only=True)
class Ahead:
    """Soil and air of a place to come; None where too little was measured."""

    soil: Coming | None
    air: Coming | None


def aheads(plot: PlotHours) -> dict[str, Ahead]:
    """What to expect of every place."""
    latitude = plot.garden.site.latitude
    found = {}
    for name, box in plot.boxes.items():
        soil = coming(
            plot.time_s, box.soil.value_c, days=AHEAD_D, latitude=latitude,
            spread_c=SOIL_SPREAD_C if box.has_soil else AIR_SPREAD_C,
        )  # fmt: skip
        air = coming(plot.time_s, box.air.value_c, days=AHEAD_D, latitude=latitude, spread_c=AIR_SPREAD_C)
        found[name] = Ahead(soil=soil, air=air)
    return found


class Batches:
    """Answers for every batch of a garden.

    Args:
        sowings: All that count, those of earlier springs too: the garden's figures are learnt from them.
        dry: Boxes reckoned dry; a box that is not in it is not known to be.
    """

    def __init__(
        self,
        plot: PlotHours,
        sowings: Sequence[StoredSowing],
        crops: Mapping[str, Crop],
        *,
        every_d: float,
        dry: Mapping[str, bool],
    ) -> None:
        self._plot, self._sowings, self._crops = plot, sowings, crops
        self._every_d, self._dry = every_d, dry
        self._ahead = aheads(plot)

    def view(self, sowing: StoredSowing) -> BatchView:
        """What the season says of this batch."""
        crop = self._crop(sowing)
        box = self._plot.boxes.get(sowing.box)
        notes = list(notes_of(sowing, crop, box))
        up, progress, late, reasons = NEVER, None, 0.0, ()
        if crop is not None and box is not None and sowing.sown is not None and crop.emergence is not None:
            up, progress, late, reasons = self._emergence(sowing, crop, box, notes)
        pick, words, flower, after, after_words = NEVER, "", None, None, ""
        if crop is not None and box is not None:
            need = self.need(crop, but=sowing)
            words = need.words if need else "no published figure: note your first pick, and it learns"
            if need is not None and sowing.first_pick is None and sowing.cleared is None:
                pick = first_pick(
                    need, up=self._seen_or(sowing, up), air=box.air, ahead=self._ahead[sowing.box].air
                )
            flower = self._flowering(sowing, crop, box, up, pick)
            after, after_words = self._next(sowing, crop, box, self.need(crop), pick)
        return BatchView(
            sowing=sowing, up=up, progress=progress, late_days=late, reasons=reasons, pick=pick,
            pick_words=words, flower=flower, next=after, next_words=after_words,
            lasted_days=lasted_days(sowing), notes=tuple(notes), today=self._plot.today,
            zone=self._plot.garden.site.zone,
        )  # fmt: skip

    def factor(self, crop: Crop | None = None, *, but: StoredSowing | None = None) -> Factor:
        """The garden's own factor of emergence, from every batch seen up, of whatever crop.

        Depth, seedbed and probe are the garden's, so all crops teach it; a crop that goes by its kin
        keeps the wider doubt of that.
        """
        quotients = []
        for sowing in self._sowings:
            its_crop = self._crop(sowing)
            if its_crop is None or its_crop.emergence is None or (but is not None and sowing.id == but.id):
                continue
            seen, box = sowing.half_up or sowing.first_up, self._plot.boxes.get(sowing.box)
            if seen is None or sowing.sown is None or box is None or its_crop.by_kinship:
                continue
            progress = progress_until(
                its_crop.emergence, sown_s=self._noon(sowing.sown), until_s=self._noon(seen), soil=box.soil
            )
            if progress is not None:
                quotients.append(progress)
        factor = learnt(quotients)
        if crop is not None and crop.by_kinship:
            doubt = math.sqrt(KINSHIP_LOG_SD**2 - PRIOR_LOG_SD**2)
            return replace(factor, log_sd=math.hypot(factor.log_sd, doubt))
        return factor

    def need(self, crop: Crop, *, but: StoredSowing | None = None) -> Need | None:
        """Warmth to the first pick, with what the person's own batches of the crop took."""
        own = []
        for sowing in self._sowings:
            its_crop, box = self._crop(sowing), self._plot.boxes.get(sowing.box)
            if its_crop is None or its_crop.name != crop.name or box is None or sowing.first_up is None:
                continue
            if sowing.first_pick is None or (but is not None and sowing.id == but.id):
                continue
            warmth = warmth_between(box.air, self._noon(sowing.first_up), self._noon(sowing.first_pick))
            if warmth is not None:
                own.append(warmth)
        return need_of(crop, own)

    def _emergence(
        self, sowing: StoredSowing, crop: Crop, box: Box, notes: list[str]
    ) -> tuple[Window, float | None, float, tuple[str, ...]]:
        sown_s = self._noon(sowing.sown)
        found = expect(
            crop.emergence, sown_s=sown_s, soil=box.soil, ahead=self._ahead[sowing.box].soil,
            factor=self.factor(crop, but=sowing), now_s=self._plot.now_s,
        )  # fmt: skip
        if found is None or self._ahead[sowing.box].soil is None:
            notes.append("less than a day of readings of its place: nothing can be foreseen yet")
        if found is None:
            return NEVER, None, 0.0, ()
        if found.stood_in > 0.02 and box.has_soil:
            notes.append(
                f"{self._silent(box)}soil from the air for {100 * found.stood_in:.0f} % of the time: "
                "wider interval"
            )
        window = Window(expected_s=found.expected_s, low_s=found.low_s, high_s=found.high_s)
        # What was picked or has flowered came up, noted or not.
        signs = (sowing.first_up, sowing.half_up, sowing.first_pick, sowing.flowering, sowing.cleared)
        waits = not any(signs)
        if not waits:
            return window, None, 0.0, ()
        reasons: tuple[str, ...] = ()
        if found.late_days > 0.0:
            since = self._plot.time_s >= sown_s
            reasons = late_reasons(
                crop, soil_c=box.soil.value_c[since], air_c=box.air.value_c[since],
                is_dry=self._dry.get(sowing.box), unit=self._plot.garden.site.unit,
            )  # fmt: skip
        return window, found.progress, found.late_days, reasons

    def _silent(self, box: Box) -> str:
        """`its soil probe is silent since 3 March: `; empty where it spoke within a day."""
        last_s = int(self._plot.time_s[np.flatnonzero(~np.isnan(box.hours.soil_c))[-1]])
        if last_s >= self._plot.now_s - DAY_S - HOUR_S:
            return ""
        return f"its soil probe is silent since {local_date(last_s, self._plot.garden.site.zone):%-d %B}: "

    def _flowering(
        self, sowing: StoredSowing, crop: Crop, box: Box, up: Window, pick: Window
    ) -> Flowering | None:
        up_s = self._seen_or(sowing, up).expected_s
        if up_s is None or sowing.flowering is not None or sowing.cleared is not None:
            return None
        pick_s = self._noon(sowing.first_pick) if sowing.first_pick else pick.expected_s
        path = path_of(int(up_s), box.air, self._ahead[sowing.box].air, unknown_spread_c=AIR_SPREAD_C)
        if path is None:
            return None
        return self._runs_up(crop, up_s, pick_s, path)

    def _next(
        self, sowing: StoredSowing, crop: Crop, box: Box, need: Need | None, pick: Window
    ) -> tuple[NextSowing | None, str]:
        if not self._is_last(sowing, crop):
            return None, ""
        if need is None or crop.emergence is None:
            return None, "cannot be reckoned before a first pick is known"
        pick_s = self._noon(sowing.first_pick) if sowing.first_pick else pick.expected_s
        if pick_s is None:
            return None, ""
        from_s = self._plot.now_s - LOOK_BACK_D * DAY_S
        ahead = self._ahead[sowing.box]
        soil = path_of(from_s, box.soil, ahead.soil, unknown_spread_c=SOIL_SPREAD_C)
        air = path_of(from_s, box.air, ahead.air, unknown_spread_c=AIR_SPREAD_C)
        if soil is None or air is None:
            return None, ""
        found = next_sowing(
            need, crop.emergence, factor=self.factor(crop), soil=soil, air=air,
            last_pick_s=pick_s, every_d=self._every_d,
        )  # fmt: skip
        is_overdue = found is None and pick_s + self._every_d * DAY_S < air.time_s[-1]
        sow_s = self._plot.now_s if found is None else found.sow.expected_s
        if found is None and not is_overdue:
            return None, "too far ahead to say"
        assert sow_s is not None
        if found is not None and sow_s > self._plot.now_s:
            return found, self._runs_up_words(crop, air, sow_s, found.pick_s)
        now_pick_s = self._pick_if_sown_now(sowing, crop, box, need)
        if now_pick_s is None:
            return found, "due, but too far ahead to say when it would be picked"
        gap_d = (now_pick_s - pick_s) / DAY_S
        words = (
            f"due: sown today it is picked about {local_date(now_pick_s, self._plot.garden.site.zone):%-d %B}"
        )
        if gap_d > 1.25 * self._every_d:
            words += f", {gap_d:.0f} days after the last"
        runs_up = self._runs_up_words(crop, air, self._plot.now_s, now_pick_s)
        return found, f"{words}; {runs_up}" if runs_up else words

    def _pick_if_sown_now(self, sowing: StoredSowing, crop: Crop, box: Box, need: Need) -> float | None:
        assert crop.emergence is not None
        ahead = self._ahead[sowing.box]
        up = expect(
            crop.emergence, sown_s=self._plot.now_s, soil=box.soil, ahead=ahead.soil,
            factor=self.factor(crop), now_s=self._plot.now_s,
        )  # fmt: skip
        if up is None or up.expected_s is None:
            return None
        window = Window(expected_s=up.expected_s, low_s=up.low_s, high_s=up.high_s)
        return first_pick(need, up=window, air=box.air, ahead=ahead.air).expected_s

    def _runs_up_words(self, crop: Crop, air: Path, sow_s: float, pick_s: float) -> str:
        up_s = sow_s + UP_SHARE * (pick_s - sow_s)
        runs_up = self._runs_up(crop, up_s, pick_s, air)
        if runs_up is not None and (runs_up.window.expected_s or np.inf) < pick_s:
            return f"it may flower before it is picked, by {runs_up.reason}"
        return ""

    def _runs_up(self, crop: Crop, up_s: float, pick_s: float | None, path: Path) -> Flowering | None:
        site = self._plot.garden.site
        return flowering(
            crop, up_s=up_s, pick_s=pick_s, path=path, position=self._position(), unit=site.unit
        )  # fmt: skip

    def _is_last(self, sowing: StoredSowing, crop: Crop) -> bool:
        """Whether this is the youngest batch of its crop in its place this season."""
        same = [
            one for one in self._sowings
            if one.box == sowing.box and one.sown is not None and self._crop(one) is crop
        ]  # fmt: skip
        return bool(same) and max(same, key=lambda one: (one.sown, one.id)).id == sowing.id

    def _seen_or(self, sowing: StoredSowing, up: Window) -> Window:
        seen = sowing.first_up or sowing.half_up
        if seen is None:
            return up
        noon = float(self._noon(seen))
        return Window(expected_s=noon, low_s=noon, high_s=noon)

    def _crop(self, sowing: StoredSowing) -> Crop | None:
        return known(self._crops, sowing.crop)

    def _position(self) -> tuple[float, float] | None:
        site = self._plot.garden.site
        return (site.latitude, site.longitude) if site.has_sun else None  # type: ignore[return-value]

    def _noon(self, day: date) -> int:
        return at_local(day, _NOON, self._plot.garden.site.zone)
