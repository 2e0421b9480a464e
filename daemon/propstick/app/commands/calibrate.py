"""`propstick calibrate`: a probe in ice water reads 0 °C, or its correction is what it reads instead.

The ice point holds to 0.0025 °C for clean ice and water (MSL Technical Guide 1), far better than any
probe here; what spoils it is water at the bottom at 4 °C, and impatience.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from propstick.app.commands._shared import buses_of, degrees_apart, say, settings_of
from propstick.app.progress import Progress
from propstick.app.sightings import read_buses
from propstick.errors import InputError, ProbeError
from propstick.ports import Clock, ProbeBus
from propstick.times import local_date

SETTLE_MINUTES = 15.0
READINGS = 10
EVERY_S = 10.0
LARGEST_C = 2.0
"""Beyond this it is not ice water, or not a sound probe. Common practice, no source."""
LARGE_SCATTER_C = 0.1
"""More than one step of a 12-bit probe (0.0625 °C): not settled. Our choice."""

_GUIDE = """\
1. Fill a vacuum flask with crushed ice, grains of 2 to 3 mm; clean tap ice will do.
2. Pour in cold water until it just fills the gaps. The ice must not float.
3. Push the probe into the middle, well above the bottom: the water there may be at 4 °C.
4. Leave it alone. Pour off melt-water if the ice begins to float.
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Adds the command's options."""
    parser.epilog = (
        "  propstick calibrate 28-3c01b556e1a2\n\n"
        "Tells how to make the ice bath, waits, and takes the mean of ten readings: sound ice water is at\n"
        "0 °C, so what the probe then shows is its error. The correction goes into the garden file, with\n"
        "date and scatter as a comment; a running watch takes it up at its next row.\n"
        "Refused beyond 2 °C: that is no ice water, or no sound probe. Ctrl-C leaves the file as it is.\n"
    )
    parser.add_argument("id", metavar="ID", help="the probe's id, as `propstick probes list` shows it")
    parser.add_argument(
        "--minutes",
        type=float,
        default=SETTLE_MINUTES,
        metavar="N",
        help="minutes in the ice before it counts, at least 15 (default 15)",
    )
    parser.add_argument("--dry-run", action="store_true", help="measure, and leave the garden file as it is")


def run(args: argparse.Namespace) -> int:
    """Runs the command."""
    from propstick.app.garden_file.editing import correct, edit
    from propstick.edges.clock import SystemClock

    settings = settings_of(args, probes_required=False)
    if args.minutes < SETTLE_MINUTES:
        raise InputError(f"calibrate: --minutes got {args.minutes:g}, expected at least {SETTLE_MINUTES:g}")
    garden = settings.garden
    if not any(probe.id == args.id for probe in garden.probes):
        raise InputError(
            f"calibrate: got probe {args.id!r}, which the garden file does not name",
            hint=f"propstick probes name {args.id} BOX PLACE",
        )
    clock = SystemClock()
    say(_GUIDE)
    result = ice_bath(args.id, buses_of(settings), clock, settle_s=args.minutes * 60, tell=say)
    if result.scatter_c > LARGE_SCATTER_C:
        say(f"The readings scatter by {result.scatter_c:.2f} °C: not settled, or a loose wire. Repeat it.")
    day = local_date(clock.wall_s(), garden.site.zone)
    how = f"ice water {day}, mean of {READINGS}, scatter {result.scatter_c:.2f} °C"
    print(f"{args.id}: correction {degrees_apart(result.correction_c, garden.site.unit)}  ({how})")
    if not args.dry_run:
        edit(settings.path, correct(args.id, result.correction_c, comment=how))
        print(f"written to {settings.path}")
    return 0


@dataclass(frozen=True, kw_only=True)
class IceBath:
    """What a probe showed in ice water: minus its mean is the correction; scatter is one deviation."""

    correction_c: float
    scatter_c: float


def ice_bath(
    probe: str,
    buses: Sequence[ProbeBus],
    clock: Clock,
    *,
    settle_s: float = SETTLE_MINUTES * 60,
    tell: Callable[[str], None] = lambda text: None,
) -> IceBath:
    """Waits until the probe has settled in the ice, then takes the mean of ten readings.

    Raises:
        ProbeError: the probe does not answer, or was lost on the way; interrupted.
        InputError: it reads further than 2 °C from 0.
    """
    begun_s = clock.monotonic_s()
    _one(probe, buses, clock)
    tell(f"Settling for {settle_s / 60:.0f} minutes ...")
    with Progress("in the ice", total=round(settle_s), monotonic=clock.monotonic_s) as bar:
        while (spent_s := clock.monotonic_s() - begun_s) < settle_s:
            bar.to(round(spent_s))
            _wait(clock, min(EVERY_S, settle_s - spent_s))
    values = []
    for k in range(READINGS):
        if k:
            _wait(clock, EVERY_S)
        values.append(_one(probe, buses, clock))
    mean_c = statistics.fmean(values)
    if abs(mean_c) > LARGEST_C:
        raise InputError(
            f"calibrate: {probe} reads {mean_c:.2f} °C in the ice, expected -2 to 2 °C",
            hint="more ice, less water, the probe away from the bottom; if it stays so, change the probe",
        )
    return IceBath(correction_c=-mean_c, scatter_c=statistics.stdev(values))


def _wait(clock: Clock, seconds: float) -> None:
    if clock.wait(seconds):
        raise ProbeError("calibrate: stopped before it was done; nothing was written")


def _one(probe: str, buses: Sequence[ProbeBus], clock: Clock) -> float:
    """One good value; a probe may miss a reading now and then."""
    for attempt in range(3):
        if attempt:
            _wait(clock, 1.0)
        readings, _ = read_buses(buses, int(clock.wall_s()))
        for reading in readings:
            if reading.probe == probe and reading.value is not None and not reading.flags:
                return reading.value
    raise ProbeError(
        f"calibrate: {probe} gave no good value in three tries",
        hint="propstick probes list shows what it says",
    )
