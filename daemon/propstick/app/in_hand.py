"""Which probe is in somebody's hand: the one that warms alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from propstick.app.sightings import read_buses
from propstick.errors import ProbeError
from propstick.ports import Clock, ProbeBus

FIRST_LOOKS = 3
"""Readings that say what each probe shows when nobody touches it."""
PAUSE_S = 1.0
MOVED_C = 1.5
"""A hand warms a probe by several degrees in a minute; noise and sun move it by tenths. Our choice."""
GIVE_UP_S = 180.0


def find(
    buses: Sequence[ProbeBus],
    clock: Clock,
    *,
    give_up_s: float = GIVE_UP_S,
    tell: Callable[[str], None] = lambda text: None,
) -> str:
    """The probe somebody is warming: reads all of them until one has moved alone.

    Raises:
        ProbeError: no probe answers; none moved in time, or it was stopped.
    """
    looks = [_values(buses, clock) for _ in _ticks(clock, FIRST_LOOKS)]
    still = {probe: value for values in looks for probe, value in values.items()}
    if not still:
        raise ProbeError("probes: none answers on the wire", hint="propstick check says why")
    tell(f"{len(still)} probes. Now hold one tightly in your hand, or breathe on it ...")
    begun_s = clock.monotonic_s()
    while clock.monotonic_s() - begun_s < give_up_s:
        if clock.wait(PAUSE_S):
            break
        now = _values(buses, clock)
        if (probe := moved(still, now)) is not None:
            tell(f"{probe} moved by {now[probe] - still[probe]:+.1f} °C")
            return probe
    raise ProbeError(
        f"probes find: no probe moved by {MOVED_C:g} °C alone in {give_up_s:.0f} s",
        hint="hold the metal tip, not the cable; in warm weather use cold water",
    )


def moved(still: dict[str, float], now: dict[str, float]) -> str | None:
    """The one probe that has moved, by at least twice as much as any other; None if none has yet."""
    steps = sorted(((abs(now[p] - still[p]), p) for p in now if p in still), reverse=True)
    if not steps or steps[0][0] < MOVED_C:
        return None
    second = steps[1][0] if len(steps) > 1 else 0.0
    return steps[0][1] if steps[0][0] >= 2 * second else None


def _ticks(clock: Clock, count: int) -> Iterable[int]:
    for k in range(count):
        if k and clock.wait(PAUSE_S):
            return
        yield k


def _values(buses: Sequence[ProbeBus], clock: Clock) -> dict[str, float]:
    """The good values of one look."""
    readings, _ = read_buses(buses, int(clock.wall_s()))
    return {r.probe: r.value for r in readings if r.value is not None and not r.flags}
