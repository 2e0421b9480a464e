"""The garden as the engine sees it: frozen facts about site, person, boxes, spots, probes, sowings.

Built by `app/garden_file/load.py` from the grower's file, or by replay from a recording's columns. °C and
metres inside; whatever unit the file used is gone by the time it gets here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, time
from typing import Literal

from propstick.limits import DEFAULT_LIMITS, UNKNOWN_CROP, CropLimits, Limits
from propstick.units import Unit

OUTSIDE = "outside"
"""The open ground beside the boxes; carries probes, is not a box."""
SITE = "site"
"""What alarms of no one box carry in place of a box."""
RESERVED = frozenset({OUTSIDE, SITE})

Place = Literal["air", "soil", "humidity", "moisture", "lid"]
PLACES: tuple[Place, ...] = ("air", "soil", "humidity", "moisture", "lid")
Glazing = Literal["glass", "twin-wall", "film", "double-glass"]
LidKind = Literal["hinged", "sliding", "lift-off"]


@dataclass(frozen=True, kw_only=True)
class Site:
    """One garden. Without a position the sun is unknown; without a zone, times are UTC."""

    name: str = "garden"
    latitude: float | None = None
    longitude: float | None = None
    zone: str | None = None
    unit: Unit = "C"

    @property
    def has_sun(self) -> bool:
        """Whether sunrise, sunset and the sun's height can be computed."""
        return self.latitude is not None and self.longitude is not None


@dataclass(frozen=True, kw_only=True)
class Person:
    """When a hand can be on the lid. Times are on the site's clock.

    Attributes:
        leaves, back: Away from home between them on `away_days`; None if never away by plan.
        away_days: Weekdays away, Monday = 0.
        bed, rises: Between them only what is worth waking for is sent.
        helper: Who is told instead while the person is away; the name of a `[push]` entry, or None.
    """

    leaves: time | None = None
    back: time | None = None
    bed: time = time(22, 30)
    rises: time = time(6, 30)
    away_days: frozenset[int] = frozenset({0, 1, 2, 3, 4})
    helper: str | None = None

    @property
    def goes_away(self) -> bool:
        """Whether any day is spent away by plan."""
        return self.leaves is not None and self.back is not None and bool(self.away_days)


@dataclass(frozen=True, kw_only=True)
class Box:
    """One cold frame."""

    name: str
    spot: str | None = None
    floor_m2: float = 0.72
    glazing: Glazing = "glass"
    tilt_deg: float = 10.0
    faces_deg: float = 180.0
    lid_kind: LidKind = "hinged"
    arm_opens_c: float | None = None
    reaction_minutes: float = 20.0
    limits: Limits = field(default_factory=Limits)


@dataclass(frozen=True, kw_only=True)
class Obstacle:
    """What stands between a spot and the sun. Bearings clockwise from north."""

    bearing_from_deg: float
    bearing_to_deg: float
    height_deg: float
    leafless_until: tuple[int, int] | None = None
    """Month and day before which a tree lets the sun through."""


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A place on the plot where a box can stand."""

    name: str
    obstacles: tuple[Obstacle, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Probe:
    """One sensor, assigned to exactly one place.

    Attributes:
        id: 1-wire ROM id such as `28-3c01b556e1a2`, `node/name` over MQTT, or a recording's column.
        box: A box's name, `outside`, or `site` for a loose probe.
        correction_c: Added to the raw value.
        every_s: Seconds between its readings where it is slower than the grid; None on a wire.
            A value is carried for 2 × `every_s` (design §2).
        spot: Of a loose probe: the spot it lies on, without a box, to find out what sun comes there.
    """

    id: str
    box: str
    place: Place
    correction_c: float = 0.0
    every_s: float | None = None
    spot: str | None = None

    @property
    def is_loose(self) -> bool:
        """Whether it lies on a bare spot: nothing is decided by it, and only its silence is told."""
        return self.spot is not None

    @property
    def where(self) -> str:
        """Its box or its spot, as a table shows it: `north`, `outside`, `spot lane`."""
        return self.box if self.spot is None else f"spot {self.spot}"


@dataclass(frozen=True, kw_only=True)
class Sowing:
    """One batch.

    Attributes:
        box: A box's name, or `outside`.
        up: Day the first seedling was seen; soil limits apply until then.
        cleared: Day the batch was taken out; None while it stands.
    """

    id: str
    box: str
    limits: CropLimits = UNKNOWN_CROP
    sown: date | None = None
    up: date | None = None
    cleared: date | None = None


@dataclass(frozen=True, kw_only=True)
class NoticeSettings:
    """When and how the person is told.

    Attributes:
        quiet_from, quiet_until: The hours in which only what is worth waking for is sent; None: from
            bed until rising.
        escalation_minutes: After how many minutes without an acknowledgement an alarm is told again,
            once for each figure. Empty: never.
        notify_return: Whether the end of an alarm that was told is told too.
        morning_before_minutes: The morning brief comes so long before leaving home.
        evening_before_minutes: The evening brief comes so long before sunset.
        twelve_hour: A clock with am and pm; None: where the unit is °F.
        decimal_comma: Whether one and a half is written 1,5.
    """

    quiet_from: time | None = None
    quiet_until: time | None = None
    escalation_minutes: tuple[float, ...] = ()
    notify_return: bool = False
    morning_before_minutes: float = 30.0
    evening_before_minutes: float = 60.0
    twelve_hour: bool | None = None
    decimal_comma: bool = False


@dataclass(frozen=True, kw_only=True)
class Garden:
    """Everything the engine knows that is not a reading. Order of `boxes` is the order of columns."""

    site: Site = field(default_factory=Site)
    person: Person = field(default_factory=Person)
    boxes: tuple[Box, ...] = ()
    spots: tuple[Spot, ...] = ()
    probes: tuple[Probe, ...] = ()
    limits: Limits = field(default_factory=Limits)
    sowings: tuple[Sowing, ...] = ()
    notices: NoticeSettings = field(default_factory=NoticeSettings)
    step_s: int = 60

    @property
    def twelve_hour(self) -> bool:
        """Whether the person's clock has am and pm."""
        chosen = self.notices.twelve_hour
        return self.site.unit == "F" if chosen is None else chosen

    @property
    def decimal_sign(self) -> str:
        """What stands between the units and the tenths: a point, or a comma."""
        return "," if self.notices.decimal_comma else "."

    def box(self, name: str) -> Box:
        """The box of that name; KeyError if there is none."""
        for box in self.boxes:
            if box.name == name:
                return box
        raise KeyError(name)

    @property
    def box_names(self) -> tuple[str, ...]:
        """Names in column order."""
        return tuple(box.name for box in self.boxes)

    def probes_at(self, box: str, place: str) -> tuple[Probe, ...]:
        """Every probe assigned to that place."""
        return tuple(p for p in self.probes if p.box == box and p.place == place)

    @property
    def site_limits(self) -> Limits:
        """The limits of the open ground and of all that belongs to no box."""
        return self.limits.over(DEFAULT_LIMITS)

    def limits_for(self, box: str, day: date) -> Limits:
        """The limits in force in a box on a day: its own, the site's, its crops', the defaults.

        Of several crops the tenderest counts for frost, the least heat-bearing for heat.
        """
        standing = [s for s in self.sowings if s.box == box and _stands(s, day)]
        crops = Limits(
            frost_c=_of_all(max, standing, "frost_c"),
            heat_c=_of_all(min, standing, "heat_c"),
            soil_cold_c=_of_all(max, standing, "soil_cold_c"),
            soil_hot_c=_of_all(min, standing, "soil_hot_c"),
        )
        return self.box(box).limits.over(self.limits).over(crops).over(DEFAULT_LIMITS)

    def known_empty(self, box: str, day: date) -> bool:
        """Whether something was recorded for the box and nothing stands in it now."""
        recorded = [s for s in self.sowings if s.box == box]
        return bool(recorded) and not any(_stands(s, day) for s in recorded)

    def awaits_emergence(self, box: str, day: date) -> bool:
        """Whether a batch is sown and not yet up: the time in which soil limits apply."""
        return any(s.box == box and _stands(s, day) and (s.up is None or s.up > day) for s in self.sowings)


def _stands(sowing: Sowing, day: date) -> bool:
    sown = sowing.sown is None or sowing.sown <= day
    return sown and (sowing.cleared is None or sowing.cleared > day)


def _of_all(choose: Callable[[list[float]], float], standing: list[Sowing], name: str) -> float | None:
    """The limit that protects every batch; one without a figure of its own counts with the default."""
    default = getattr(DEFAULT_LIMITS, name)
    own = [getattr(sowing.limits, name) for sowing in standing]
    return choose([default if value is None else value for value in own]) if own else None
