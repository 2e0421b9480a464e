"""Our own garden for the demonstration: three boxes on a partly shaded plot, one week in March.

Invented from end to end. It begins on a clear evening, frost follows in the night, the sun scorches a
shut box before noon, and a probe falls silent in the afternoon.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from typing import NamedTuple

import numpy as np

from propstick.garden import OUTSIDE, Box, Garden, Obstacle, Person, Probe, Site, Sowing, Spot
from propstick.limits import CropLimits
from propstick.records import Brief, Notice
from propstick.simulation.frame import FrameSpec
from propstick.simulation.garden import Garden as SimulatedGarden
from propstick.simulation.garden import Now
from propstick.simulation.people import FollowsNotices, Hands, WaxArms
from propstick.simulation.probes import Fault, ProbeRack, Sensed, SimulatedProbe
from propstick.simulation.skies import CLEAR, SkyKnobs
from propstick.simulation.weather import MINUTE_S, MINUTES_A_DAY, Climate, Weather, invented
from propstick.units import FloatArray

START_S = int(datetime(2026, 3, 18, 17, 0, tzinfo=UTC).timestamp())
"""A Wednesday evening, 18:00 on the garden's clock, before the change to summer time."""

WARM_UP_MINUTES = MINUTES_A_DAY

SITE = Site(name="plot", latitude=47.9, longitude=11.3, zone="Europe/Berlin")
PERSON = Person(leaves=time(8, 0), back=time(17, 0))

_HOUSE = Obstacle(bearing_from_deg=80.0, bearing_to_deg=115.0, height_deg=24.0)
_PEAR = Obstacle(bearing_from_deg=215.0, bearing_to_deg=245.0, height_deg=38.0, leafless_until=(4, 20))
_HEDGE = Obstacle(bearing_from_deg=250.0, bearing_to_deg=300.0, height_deg=14.0)

_SPOTS = (
    Spot(name="wall", obstacles=(_HEDGE,)),
    Spot(name="path", obstacles=(_HOUSE, _HEDGE)),
    Spot(name="orchard", obstacles=(_HOUSE, _PEAR)),
)

_BOXES = (
    (
        Box(name="north", spot="wall", floor_m2=0.9, glazing="glass", tilt_deg=14.0),
        FrameSpec(
            name="north",
            floor_m2=0.9,
            height_m=0.30,
            tilt_deg=14.0,
            obstacles=(_HEDGE,),
            wall_j_k=90_000.0,
            wall_u_w_m2k=3.5,
        ),
    ),
    (
        Box(name="lane", spot="path", floor_m2=1.2, glazing="twin-wall", tilt_deg=8.0, faces_deg=160.0),
        FrameSpec(
            name="lane",
            floor_m2=1.2,
            height_m=0.26,
            glazing="twin-wall",
            u_w_m2k=3.6,
            light=0.74,
            pane_j_m2k=1900.0,
            tilt_deg=8.0,
            faces_deg=160.0,
            obstacles=(_HOUSE, _HEDGE),
            leak_m3_h=0.3,
            soil_w_mk=0.5,
            soil_j_m3k=2.1e6,
        ),
    ),
    (
        Box(name="pump", spot="orchard", floor_m2=0.55, glazing="glass", tilt_deg=20.0, faces_deg=200.0),
        FrameSpec(
            name="pump",
            floor_m2=0.55,
            height_m=0.34,
            u_w_m2k=6.2,
            tilt_deg=20.0,
            faces_deg=200.0,
            obstacles=(_HOUSE, _PEAR),
            leak_m3_h=0.5,
            leak_per_wind=0.4,
            shelter=0.55,
        ),
    ),
)

_SOWINGS = (
    ("north", "lettuce", date(2026, 2, 24), date(2026, 3, 12), CropLimits(crop="lettuce", frost_c=1.0)),
    ("north", "radish", date(2026, 3, 14), None, CropLimits(crop="radish")),
    ("lane", "spinach", date(2026, 3, 3), None, CropLimits(crop="spinach", frost_c=-3.0)),
    ("pump", "cabbage", date(2026, 3, 10), None, CropLimits(crop="cabbage", frost_c=-2.0)),
)

SILENT_FROM_S = START_S + 21 * 3600
"""14:00 UTC of the next day; until the evening after."""


def _probes() -> tuple[SimulatedProbe, ...]:
    """Twelve wired probes: two in the air and two in the soil of the boxes, one of them hangs askew."""
    places = (
        ("north", "air"), ("north", "air"), ("north", "soil"), ("north", "soil"),
        ("lane", "air"), ("lane", "air"), ("lane", "soil"),
        ("pump", "air"), ("pump", "soil"), ("pump", "soil"),
        (OUTSIDE, "air"), (OUTSIDE, "soil"),
    )  # fmt: skip
    made = []
    for k, (box, place) in enumerate(places):
        number = 0x3C01B5000000 + (0x9E3779B1 * (k + 1)) % 0xFFFFFF
        made.append(SimulatedProbe.draw(k, id=f"28-{number:012x}", box=box, place=place))
    made[5] = replace(made[5], sun_c=4.0)
    made[1] = replace(made[1], sun_c=0.5)
    silence = Fault(kind="silent", from_s=SILENT_FROM_S, until_s=SILENT_FROM_S + 28 * 3600)
    made[7] = replace(made[7], sun_c=0.6, faults=(silence,))
    made[10] = replace(made[10], sun_c=1.0)
    return tuple(made)


@dataclass(frozen=True)
class Scenario:
    """A garden to show: what the engine is told, and what is true."""

    garden: Garden
    specs: tuple[FrameSpec, ...]
    probes: tuple[SimulatedProbe, ...]
    weather: Weather
    seed: int

    def play(self, hands: Hands | None = None) -> Play:
        """Begin at the first minute. Without hands, a person follows the notices."""
        names = self.garden.box_names
        hands = hands or FollowsNotices(
            names, person=self.garden.person, zone=self.garden.site.zone, covers=frozenset({"lane"}),
            seed=self.seed,
        )  # fmt: skip
        arms = np.array([np.nan if box.arm_opens_c is None else box.arm_opens_c for box in self.garden.boxes])
        simulated = SimulatedGarden(self.weather, self.specs)
        shut, aired = np.zeros(len(names)), np.full(len(names), 0.3)
        for sun in self.weather.ghi_w_m2[:WARM_UP_MINUTES].tolist():
            simulated.advance(aired if sun > 150.0 else shut, shut)
        return Play(
            simulated=simulated,
            rack=ProbeRack(self.probes, boxes=names, seed=self.seed),
            hands=hands,
            arms=WaxArms(arms),
        )


class Minute(NamedTuple):
    """One minute of the play: what the probes said, how the lids stood, and the truth."""

    sensed: Sensed
    lid: FloatArray
    cover: FloatArray
    now: Now


class Play:
    """A scenario under way: garden, probes and hands together, a minute at a time."""

    def __init__(self, *, simulated: SimulatedGarden, rack: ProbeRack, hands: Hands, arms: WaxArms) -> None:
        self.simulated, self.rack, self.hands, self.arms = simulated, rack, hands, arms
        self._air_c = simulated.state.air_c

    @property
    def time_s(self) -> int:
        """UTC seconds of the minute that `step` does next."""
        return self.simulated.time_s

    @property
    def over(self) -> bool:
        """Whether the weather has run out."""
        return self.simulated.row >= len(self.simulated)

    def step(self, notices: Sequence[Notice] = (), briefs: Sequence[Brief] = ()) -> Minute:
        """The next minute, given what was issued since the last one."""
        t = self.time_s
        lid, cover = self.hands.decide(t, notices, briefs)
        lid = np.maximum(lid, self.arms.opening(self._air_c))
        now = self.simulated.step(t, lid, cover)
        self._air_c = now.air_c
        return Minute(self.rack.sense(now), lid, cover, now)


def spring(*, seed: int = 1, days: float = 7.0, start_s: int = START_S) -> Scenario:
    """The demonstration garden; equal arguments make equal minutes.

    A day of weather before the start settles soil and walls; nobody senses it. The first minute that
    `Scenario.play` tells of ends at `start_s` + 60.
    """
    climate = Climate(
        year_mean_c=13.0,
        spell_sd_c=1.2,
        wind_m_s=1.5,
        sky=SkyKnobs(clear_h=56.0, first=CLEAR, spread=0.15),
    )
    weather = invented(
        float(SITE.latitude or 0.0),
        float(SITE.longitude or 0.0),
        start_s=start_s - (WARM_UP_MINUTES - 1) * MINUTE_S,
        days=days + WARM_UP_MINUTES / MINUTES_A_DAY,
        seed=seed,
        climate=climate,
    )
    probes = _probes()
    garden = Garden(
        site=SITE,
        person=PERSON,
        boxes=tuple(box for box, _ in _BOXES),
        spots=_SPOTS,
        probes=tuple(Probe(id=p.id, box=p.box, place=p.place) for p in probes),
        sowings=tuple(
            Sowing(id=f"{box}-{crop}", box=box, limits=limits, sown=sown, up=up)
            for box, crop, sown, up, limits in _SOWINGS
        ),
    )
    return Scenario(garden, tuple(spec for _, spec in _BOXES), probes, weather, seed)
