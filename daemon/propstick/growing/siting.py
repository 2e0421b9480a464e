"""Where a box serves best now: sun, heat and frost of every spot, weighed by what the crops in hand need.

While nights still freeze the crops in hand, a box serves where there is most sun and it does not overheat;
when they no longer do, it has no work left, and where a cover stays all the same it harms least in shade.
What nobody measured is named, not guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from propstick.growing.emergence import degrees
from propstick.growing.take_away import COSTLY_H, SMALL_RISK
from propstick.units import Unit

ALIKE = 0.05
"""Spots whose share of the sun differs by less are alike: geometry by hand is not better. Ours."""
ALIKE_H = 2
"""The same of hours too hot in a week. Ours."""

Season = Literal["freezing", "mild", "unknown"]


@dataclass(frozen=True, kw_only=True)
class SpotFacts:
    """What is known of a spot; None where nothing was measured.

    Attributes:
        spot: Its name.
        boxes: That stand there.
        sun_h: On a cloudless day now; None without the garden's position.
        share: Of an open place's sun, the mean of today and a month on: a box stays for weeks.
        is_named: Whether it is a spot of the garden file; else it is where a box without one stands.
        is_drawn: Whether what stands around it was ever written down, or a loose probe lay there.
        hot_hours: Of the last week above the heat limit, in the hottest of its boxes.
        frost_nights, nights: Of the last nights measured in it, how many fell below the frost limit.
            Both limits are one for all spots, or they could not be compared.
    """

    spot: str
    boxes: tuple[str, ...] = ()
    sun_h: float | None = None
    share: float | None = None
    is_named: bool = True
    is_drawn: bool = True
    hot_hours: int | None = None
    frost_nights: int | None = None
    nights: int = 0

    @property
    def overheats(self) -> bool | None:
        """Above the limit for an hour a day and more, as its boxes are aired."""
        return None if self.hot_hours is None else self.hot_hours >= COSTLY_H

    @property
    def freezes(self) -> bool | None:
        """Whether a box there fell below the limit of late."""
        return None if self.frost_nights is None else self.frost_nights > 0

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "spot": self.spot,
            "boxes": list(self.boxes),
            "sun_h": None if self.sun_h is None else round(self.sun_h, 1),
            "hot_hours_week": self.hot_hours,
            "overheats": self.overheats,
            "frost_nights": self.frost_nights,
            "nights_measured": self.nights,
            "freezes": self.freezes,
        }


@dataclass(frozen=True, kw_only=True)
class CropsInHand:
    """What the crops that stand now ask of a box.

    Attributes:
        tenderest: The crop whose frost limit counts; None where nothing stands.
        frost_limit_c, heat_limit_c: By which every spot is judged: of the tenderest, or the default.
        frost_risk: Chance of a night below it outside within two weeks; None with too few nights.
        waiting: Crops sown and not yet up: they want warm soil.
        heat_shy: Crops that run up in a warm spell.
    """

    tenderest: str | None
    frost_limit_c: float
    heat_limit_c: float
    frost_risk: float | None
    waiting: tuple[str, ...] = ()
    heat_shy: tuple[str, ...] = ()

    @property
    def season(self) -> Season:
        """Whether nights still ask for a box."""
        if self.frost_risk is None:
            return "unknown"
        return "freezing" if self.frost_risk >= SMALL_RISK else "mild"


@dataclass(frozen=True, kw_only=True)
class Siting:
    """The recommendation.

    Attributes:
        best: The spots that serve best, several where they are alike; empty where it cannot be said.
        words: Why, as one or two sentences.
        unknown: What is not known yet, a clause each.
    """

    best: tuple[str, ...]
    words: str
    unknown: tuple[str, ...]
    spots: tuple[SpotFacts, ...]
    frost_limit_c: float
    heat_limit_c: float

    def to_json(self) -> dict[str, Any]:
        """For the API."""
        return {
            "best": list(self.best),
            "words": self.words,
            "not_known_yet": list(self.unknown),
            "frost_limit_c": self.frost_limit_c,
            "heat_limit_c": self.heat_limit_c,
            "spots": [one.to_json() for one in self.spots],
        }


def siting(
    spots: Sequence[SpotFacts], crops: CropsInHand, *, box_from_spot: str = "", unit: Unit = "C"
) -> Siting:
    """Where a box serves best now, and why.

    Args:
        box_from_spot: Why box and spot cannot be told apart yet; empty where they can.
    """
    best, words = _choice(spots, crops, unit)
    return Siting(
        best=best, words=words, unknown=_unknown(spots, box_from_spot), spots=tuple(spots),
        frost_limit_c=crops.frost_limit_c, heat_limit_c=crops.heat_limit_c,
    )  # fmt: skip


def _choice(spots: Sequence[SpotFacts], crops: CropsInHand, unit: Unit) -> tuple[tuple[str, ...], str]:
    frost = _frost_words(crops, unit)
    if not spots:
        return (), "No box and no spot stands in the garden file."
    if len(spots) == 1:
        return (), f"There is one spot only, nothing to choose between. {frost}"
    usable = [one for one in spots if one.share is not None or one.hot_hours is not None]
    if not usable:
        return (), f"It cannot be said yet: neither sun nor warmth of any spot is known. {frost}"
    limit = degrees(crops.heat_limit_c, unit)
    if crops.season == "mild" and not crops.waiting:
        best, why = _least_harm(usable, limit)
        return best, f"{frost} {why}"
    best, why = _most_use(usable, limit)
    shy = _and(crops.heat_shy) if crops.heat_shy and any(one.overheats for one in usable) else ""
    keep = f" Keep {shy} out of spots that overheat: heat sends such crops to flower." if shy else ""
    return best, f"{why} {frost}{keep}"


def _most_use(spots: Sequence[SpotFacts], limit: str) -> tuple[tuple[str, ...], str]:
    """Most sun among those that do not overheat; where all do, those that do so least."""
    cool = [one for one in spots if not one.overheats]
    if not cool:
        best = _least_hot(spots)
        return best, (
            f"Every spot overheats as its box is aired now, {_and(best)} least ({_most_hours(spots, best)} "
            f"above {limit} in a week): open the lids further."
        )
    best = _alike(cool, most=True)
    hot, alone = len(cool) < len(spots), len(best) == 1
    unsure = any(one.hot_hours is None for one in cool if one.spot in best)
    if len(cool) == 1 and hot:
        why = "the others overheat as their boxes are aired now"
    elif all(one.share is None for one in cool):
        why = "their sun is not known, and none is known to be better"
    elif alone:
        why = "it has the most sun" + (
            " of the spots that do not overheat" if hot else ", and no spot overheats"
        )
    else:
        why = "they have about as much sun as one another" + (", and do not overheat" if not unsure else "")
    if unsure:
        why = why.replace(", and no spot overheats", "").replace("do not", "are not known to")
        why += "; how hot a box gets there is not known yet"
    return best, f"At {' or '.join(best)}: {why}."


def _least_harm(spots: Sequence[SpotFacts], limit: str) -> tuple[tuple[str, ...], str]:
    """Fewest hours too hot, or least sun: of a cover that stays without need."""
    if len([one for one in spots if one.hot_hours is not None]) > 1:
        best = _least_hot(spots)
        hours = f" ({_most_hours(spots, best)} above {limit} in a week)"
    else:
        best = _alike(spots, most=False)
        hours = ", where there is least sun" if len(best) < len(spots) else ""
    if len(best) == len(spots):
        return best, f"Where a cover stays all the same, no spot is better than another{hours}."
    return best, f"Where a cover stays all the same, it does least harm at {' or '.join(best)}{hours}."


def _least_hot(spots: Sequence[SpotFacts]) -> tuple[str, ...]:
    hours = {one.spot: one.hot_hours for one in spots if one.hot_hours is not None}
    least = min(hours.values())
    return tuple(spot for spot, hot in hours.items() if hot - least <= ALIKE_H)


def _most_hours(spots: Sequence[SpotFacts], best: Sequence[str]) -> str:
    hours = max(one.hot_hours or 0 for one in spots if one.spot in best)
    return "1 hour" if hours == 1 else f"{hours} hours"


def _alike(spots: Sequence[SpotFacts], *, most: bool) -> tuple[str, ...]:
    """The spot with most (or least) sun and those too near it to tell; without any sun known, all."""
    known = [one for one in spots if one.share is not None]
    if not known:
        return tuple(one.spot for one in spots)
    shares = [one.share or 0.0 for one in known]
    edge = max(shares) if most else min(shares)
    return tuple(one.spot for one, share in zip(known, shares, strict=True) if abs(share - edge) <= ALIKE)


def _frost_words(crops: CropsInHand, unit: Unit) -> str:
    """Whether nights still ask for a box."""
    limit = degrees(crops.frost_limit_c, unit)
    whose = f"the limit of {crops.tenderest}" if crops.tenderest else "the limit while nothing is sown"
    below = f"below {limit}, {whose},"
    if crops.frost_risk is None:
        return f"Whether nights still fall {below} cannot be said: fewer than seven were measured outside."
    chance = _percent(crops.frost_risk)
    if crops.season == "freezing":
        return f"The chance of a night outside {below} is {chance} within two weeks."
    chance = f"the chance of a night {below} is {chance} within two weeks"
    soil = f" Warm soil still helps {_and(crops.waiting)}, not yet up." if crops.waiting else ""
    return f"No box is needed against frost now: {chance}.{soil}"


def _unknown(spots: Sequence[SpotFacts], box_from_spot: str) -> tuple[str, ...]:
    found = []
    if bare := [one.spot for one in spots if one.hot_hours is None and one.frost_nights is None]:
        found.append(f"heat and frost of {_and(bare)}: nothing was measured there of late")
    if homeless := [one.spot for one in spots if not one.is_named]:
        found.append(f"the sun at {_and(homeless)}: describe the spot of the box in the garden file")
    if any(one.is_named and one.share is None for one in spots):
        found.append("the sun of the spots: the garden file has no position")
    elif open_ := [one.spot for one in spots if one.is_named and not one.is_drawn]:
        found.append(f"what stands around {_and(open_)}: nothing is written down, so it counts as open")
    few = [one.spot for one in spots if one.frost_nights is not None and one.nights < 7]
    if few:
        found.append(f"frost of {_and(few)}: fewer than seven nights were measured there")
    if box_from_spot and sum(one.hot_hours is not None for one in spots) > 1:
        found.append("whether a warm box or a warm spot: let two boxes change places for a week")
    return tuple(found)


def _percent(risk: float | None) -> str:
    """A chance as coarsely as it is known."""
    assert risk is not None
    if risk < SMALL_RISK:
        return f"less than {100 * SMALL_RISK:.0f} %"
    return "more than 90 %" if risk > 0.9 else f"about {max(1, round(10 * risk)) * 10} %"


def _and(names: Sequence[str]) -> str:
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else names[0]
