"""What to do with a lid, decided from forecasts: scorch weighed against chill and lost warmth.

A person on the spot can correct a lid in an hour; a person who leaves until evening decides now for
the whole stretch. So the question is always the same: of the openings this lid allows, which costs
the crop least from now until a hand is back on it?

Costs are in degrees that hurt: one degree above the heat limit costs one, one degree below the frost
limit costs two (a scorched leaf may regrow, a frozen seedling does not; common practice, no source),
and an opening costs the warmth it lets go, little but not nothing, so that a lid is not opened for a
sun that will not reach the limit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import erf, exp, pi, sqrt

from propstick.garden import LidKind
from propstick.records import Advice

CLOSED, PROPPED, OPEN = 0.0, 0.1, 1.0

FROST_COST = 2.0
WARMTH_COST: Mapping[float, float] = {CLOSED: 0.0, PROPPED: 0.15, OPEN: 0.5}
"""Degrees that hurt, for the warmth an opening lets go in a day. Common practice, no source."""
FROST_CHANCE = 0.3
"""Chance of passing the frost limit from which something is to be done about it tonight."""
HALF_NINETY = 1.64485
"""From the mean of a normal distribution to the edge of its central 90 %, in standard deviations."""
CHILL_C = 4.4
"""Below it cool-season crops stand still: degree-day base, 40 °F, common practice."""
SHUT_AT_MOST = 0.05
"""An opening no larger than this holds heat like a shut lid."""


@dataclass(frozen=True)
class Range:
    """A forecast temperature with its stated 90 % interval [°C]."""

    mean_c: float
    low_c: float
    high_c: float

    def chance_above(self, limit_c: float) -> float:
        """Probability of passing the limit upwards."""
        sd_c = self._sd_c(self.high_c if limit_c > self.mean_c else self.low_c)
        return 0.5 * (1.0 - erf((limit_c - self.mean_c) / (sd_c * sqrt(2.0))))

    def excess(self, limit_c: float) -> float:
        """Expected degrees above the limit [K]."""
        return _beyond(self.mean_c - limit_c, self._sd_c(self.high_c))

    def shortfall(self, limit_c: float) -> float:
        """Expected degrees below the limit [K]."""
        return _beyond(limit_c - self.mean_c, self._sd_c(self.low_c))

    def _sd_c(self, edge_c: float) -> float:
        """Standard deviation that one edge implies: a box not yet known may go far beyond, not far below."""
        return max(0.1, abs(edge_c - self.mean_c) / HALF_NINETY)


def _beyond(mean: float, sd: float) -> float:
    """E max(0, X) of a normal distribution."""
    z = mean / sd
    density = exp(-0.5 * z * z) / sqrt(2.0 * pi)
    return sd * (density + z * 0.5 * (1.0 + erf(z / sqrt(2.0))))


@dataclass(frozen=True, kw_only=True)
class Prospect:
    """What is expected of one box over the stretch the advice must hold.

    Attributes:
        day: Highest air by lid opening if the sky clears; empty without a day forecast.
        chill: Lowest air by lid opening until the hand is back; empty if unknown.
        night: Lowest air tonight by what is done: `closed`, `covered`, `as-is`; empty by day.
        lid: Opening now, None if neither told nor estimated.
        cover: A blanket lies on it.
        has_cover: The person has a blanket for it (one was told before, or is not ruled out).
        damp: The air inside has been damp too long.
    """

    heat_c: float
    prop_c: float
    frost_c: float
    day: Mapping[float, Range]
    chill: Mapping[float, Range]
    night: Mapping[str, Range]
    lid: float | None = None
    cover: bool = False
    has_cover: bool = True
    lid_kind: LidKind = "hinged"
    arm_opens_c: float | None = None
    outside_c: float | None = None
    damp: bool = False


@dataclass(frozen=True)
class Choice:
    """The advice and what it rests on.

    Attributes:
        opening: The lid's opening to set, None where the lid is not to be touched.
        because: Which clause explains it: `heat`, `warm`, `risk`, `cool-day`, `frost`, `chill`, `damp`,
            `sun-again`, `arm`, `silent`, `unknown` or `calm`.
        value_c: The forecast that decided [°C].
        limit_c: The limit it is held against.
        remedy_c: What the advice leaves of it: the maximum or minimum if it is followed.
    """

    advice: Advice
    because: str
    opening: float | None = None
    value_c: float | None = None
    limit_c: float | None = None
    remedy_c: float | None = None


def morning(prospect: Prospect) -> Choice:
    """The lid for the day, set now and left until a hand is back."""
    opening = _cheapest(prospect)
    lid = prospect.lid
    closed = prospect.day.get(CLOSED)
    if opening is None or closed is None:
        return Choice("uncover", "sun-again") if prospect.cover else Choice("leave", "unknown")
    left = prospect.day.get(opening)
    remedy_c = None if left is None else left.mean_c
    if opening > SHUT_AT_MOST:
        if prospect.arm_opens_c is not None and prospect.arm_opens_c < prospect.heat_c:
            return Choice("leave", "arm", value_c=closed.mean_c, limit_c=prospect.arm_opens_c)
        because, value_c, limit_c = _why_air(prospect, closed)
        if lid is not None and abs(lid - opening) <= SHUT_AT_MOST and not prospect.cover:
            return Choice("leave", because, lid, value_c, limit_c, remedy_c)
        advice: Advice = "open" if opening >= OPEN else "prop"
        return Choice(advice, because, opening, value_c, limit_c, remedy_c)
    if prospect.cover:
        return Choice("uncover", "sun-again", value_c=closed.mean_c, limit_c=prospect.heat_c)
    if prospect.damp and (prospect.outside_c or 0.0) > CHILL_C:
        if lid is not None and lid > SHUT_AT_MOST:
            return Choice("leave", "damp", lid, closed.mean_c, prospect.heat_c)
        return Choice("air", "damp", PROPPED)
    if lid is not None and lid > SHUT_AT_MOST and closed.mean_c < prospect.prop_c:
        return Choice("close", "cool-day", CLOSED, closed.mean_c, prospect.prop_c)
    return Choice("leave", "calm", lid, closed.mean_c, prospect.heat_c)


def _why_air(prospect: Prospect, closed: Range) -> tuple[str, float, float]:
    """What speaks for an opening: the clause, the forecast that decided, the limit it is held against."""
    if closed.chance_above(prospect.heat_c) >= 0.5:
        return "heat", closed.mean_c, prospect.heat_c
    if closed.mean_c >= prospect.prop_c:
        return "warm", closed.mean_c, prospect.prop_c
    return "risk", closed.high_c, prospect.heat_c


def evening(prospect: Prospect) -> Choice:
    """The lid and the blanket for the night."""
    as_is = prospect.night.get("as-is")
    closed = prospect.night.get("closed", as_is)
    if closed is None:
        is_open = prospect.lid is not None and prospect.lid > SHUT_AT_MOST
        return Choice("close", "unknown", CLOSED) if is_open else Choice("leave", "unknown")
    frost = 1.0 - closed.chance_above(prospect.frost_c)
    covered = prospect.night.get("covered")
    maybe_open = prospect.lid is None or prospect.lid > SHUT_AT_MOST
    if frost >= FROST_CHANCE and prospect.has_cover and not prospect.cover:
        remedy_c = None if covered is None else covered.mean_c
        return Choice("cover", "frost", CLOSED, closed.mean_c, prospect.frost_c, remedy_c)
    if not maybe_open:
        return Choice("leave", "frost" if frost >= FROST_CHANCE else "calm", CLOSED,
                      closed.mean_c, prospect.frost_c)  # fmt: skip
    left = as_is or closed
    cold = 1.0 - left.chance_above(prospect.frost_c) >= FROST_CHANCE
    if cold or left.mean_c < CHILL_C + 1.0:
        limit_c = prospect.frost_c if cold else CHILL_C
        gains = prospect.lid is not None and closed.mean_c - left.mean_c >= 0.5
        remedy_c = closed.mean_c if gains else None
        return Choice("close", "frost" if cold else "chill", CLOSED, left.mean_c, limit_c, remedy_c)
    if prospect.damp:
        return Choice("leave", "damp", prospect.lid, left.mean_c, prospect.frost_c)
    return Choice("leave", "calm", prospect.lid, left.mean_c, prospect.frost_c)


def cost(prospect: Prospect, opening: float) -> float:
    """Degrees that hurt over the stretch, if the lid is left at `opening`."""
    day, chill = prospect.day.get(opening), prospect.chill.get(opening)
    scorch = 0.0 if day is None else day.excess(prospect.heat_c)
    freeze = 0.0 if chill is None else FROST_COST * chill.shortfall(prospect.frost_c)
    return scorch + freeze + WARMTH_COST[opening]


def _cheapest(prospect: Prospect) -> float | None:
    """The opening that costs least; None if nothing is known of the day.

    A lid that slides or lifts off cannot be propped on a stick; it is moved a hand's breadth, which
    is the same opening. A box that would pass the advice limit shut is propped at least.
    """
    openings = [o for o in (CLOSED, PROPPED, OPEN) if o in prospect.day]
    if not openings:
        return None
    best = min(openings, key=lambda o: cost(prospect, o))
    closed = prospect.day.get(CLOSED)
    if best == CLOSED and closed is not None and closed.mean_c >= prospect.prop_c and PROPPED in openings:
        return PROPPED
    return best
