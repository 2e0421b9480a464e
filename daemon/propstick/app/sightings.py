"""Which probes there are, where they are assigned, what they say now: wire, store and file together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import isnan
from typing import TYPE_CHECKING

from propstick.blocks import FAULT_BITS, Flag
from propstick.errors import ProbeError
from propstick.garden import Garden, Probe
from propstick.ports import ProbeBus
from propstick.records import Reading
from propstick.units import Unit, shown

if TYPE_CHECKING:
    from propstick.edges.readings import ReadingLog

WIRE, STORE = "wire", "store"
LOOK_BACK_MS = 3 * 3_600_000
"""A wireless probe that said nothing for three hours is shown as silent."""


@dataclass(frozen=True, kw_only=True)
class Sighting:
    """One probe.

    Attributes:
        assigned: Where the garden file puts it; None if it names no place for it.
        seen_on: `wire` or `store`; None if it was not seen at all.
        value: Raw, as sensed; None if it said nothing that is a number.
        flags: Words such as `checksum`.
        time_s: UTC seconds of the value.
    """

    id: str
    assigned: Probe | None = None
    seen_on: str | None = None
    value: float | None = None
    flags: tuple[str, ...] = ()
    time_s: int | None = None

    @property
    def value_corrected(self) -> float | None:
        """With the correction of the garden file."""
        if self.value is None or self.is_faulty:
            return self.value
        return self.value + (self.assigned.correction_c if self.assigned else 0.0)

    @property
    def is_faulty(self) -> bool:
        """Whether the value must not be used."""
        return bool(self.flags)


def shown_value(one: Sighting, unit: Unit) -> str:
    """The corrected value in the unit its place asks for; empty where there is none."""
    value, place = one.value_corrected, one.assigned.place if one.assigned else "air"
    if value is None:
        return ""
    if place in ("humidity", "moisture"):
        return f"{value:.0f} %"
    return f"{value:.2f} open" if place == "lid" else f"{shown(value, unit):.1f} °{unit}"


def read_buses(buses: Iterable[ProbeBus], time_s: int) -> tuple[list[Reading], list[str]]:
    """One reading of every probe on the wire, and what is wrong with buses that did not answer."""
    readings: list[Reading] = []
    troubles: list[str] = []
    for bus in buses:
        try:
            readings += bus.read(time_s)
        except ProbeError as error:
            troubles.append(error.message)
    return readings, troubles


def sightings(
    garden: Garden, wired: Sequence[Reading], *, log: ReadingLog | None = None, now_s: int = 0
) -> list[Sighting]:
    """Every probe of the garden file in its order, then those seen that it does not name."""
    seen = {reading.probe: _sighting(reading, WIRE) for reading in wired}
    if log is not None:
        for reading in latest_stored(log, now_s):
            seen.setdefault(reading.probe, _sighting(reading, STORE))
    named = [replace(seen.pop(probe.id, Sighting(id=probe.id)), assigned=probe) for probe in garden.probes]
    return [*named, *(seen[probe_id] for probe_id in sorted(seen))]


def latest_stored(log: ReadingLog, now_s: int) -> list[Reading]:
    """The last stored reading of each probe within three hours."""
    columns = log.columns(now_s * 1000 - LOOK_BACK_MS, now_s * 1000 + 1)
    last: dict[str, Reading] = {}
    for k in range(len(columns.time_ms)):
        probe = columns.probes[int(columns.column[k])]
        value = float(columns.raw[k])
        reading = Reading(
            probe, int(columns.time_ms[k]), None if isnan(value) else value, int(columns.flags[k])
        )
        if probe not in last or reading.time_ms >= last[probe].time_ms:
            last[probe] = reading
    return list(last.values())


def flag_words(bits: int) -> tuple[str, ...]:
    """The names of the faults in a flag word."""
    return tuple(flag.word for flag in Flag if flag & bits & FAULT_BITS)


def _sighting(reading: Reading, seen_on: str) -> Sighting:
    return Sighting(
        id=reading.probe,
        seen_on=seen_on,
        value=reading.value,
        flags=flag_words(reading.flags),
        time_s=reading.time_ms // 1000,
    )
