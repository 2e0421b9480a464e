"""What `propstick check` finds in the garden file: what a grower would miss, and what nobody would hear."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from propstick.app.checks.finding import Finding
from propstick.app.garden_file import sun_doubts
from propstick.app.garden_file.settings import PushTarget, Settings
from propstick.garden import OUTSIDE, Box


def garden(settings: Settings, *, now_s: int) -> Iterator[Finding]:
    """What the file says, and what it leaves out that a grower would miss."""
    it = settings.garden
    count = f"{_count(len(it.boxes), 'box', 'boxes')}, {_count(len(it.probes), 'probe', 'probes')}"
    yield Finding(thing="garden", mark="ok", found=f"{settings.path}: site {it.site.name}, {count}")
    if not it.boxes:
        yield Finding(
            thing="garden",
            mark="bad",
            found="no box: nothing is watched",
            do=f"add a [[box]] to {settings.path}",
        )
    for box in it.boxes:
        if not any(probe.box == box.name for probe in it.probes):
            yield Finding(
                thing=box.name,
                mark="bad",
                found="no probe: this box is not watched",
                do=f"propstick probes list, then propstick probes name ID {box.name} air",
            )
        elif not it.probes_at(box.name, "air"):
            yield Finding(
                thing=box.name,
                mark="look",
                found="no air probe: no warning of heat or frost here",
                do=f"propstick probes name ID {box.name} air",
            )
        yield from _arm(box, settings)
    if not it.site.has_sun:
        yield Finding(
            thing="site",
            mark="look",
            found="no position: the sun is unknown, forecasts are plain",
            do="set latitude, longitude and zone in [site]",
        )
    if doubt := sun_doubts.doubt(it.site, now_s):
        yield Finding(
            thing="site",
            mark="bad",
            found=doubt,
            do="west of Greenwich the longitude has a minus; see [site] latitude, longitude and zone",
        )
    if it.boxes and not it.probes_at(OUTSIDE, "air"):
        yield Finding(
            thing="outside",
            mark="look",
            found="no probe outside: nights are forecast less surely",
            do="propstick probes name ID outside air",
        )


def _arm(box: Box, settings: Settings) -> Iterator[Finding]:
    heat_c = box.limits.over(settings.garden.limits).heat_c
    if box.arm_opens_c is not None and heat_c is not None and box.arm_opens_c >= heat_c:
        yield Finding(
            thing=box.name,
            mark="look",
            found="the arm opens only above the heat limit",
            do="raise heat_c, or correct arm_opens_c",
        )


def unnoticed(settings: Settings) -> Iterator[Finding]:
    """What would happen and nobody would hear of it."""
    it, push = settings.garden, settings.push
    if not push.targets:
        yield Finding(
            thing="push",
            mark="look",
            found="no address: warnings are stored and reach nobody",
            do="add one to [push] urls, then propstick check --send",
        )
    yield from _lone_channel(push.targets)
    if it.person.goes_away and it.person.helper is None:
        away = f"{it.person.leaves:%H:%M} to {it.person.back:%H:%M}"
        yield Finding(
            thing="helper",
            mark="look",
            found=f"none: from {away} nobody can go to a lid",
            do="name one in [person] helper, with an entry in [push] urls",
        )
    if settings.watch.heartbeat_url is None:
        yield Finding(
            thing="heartbeat",
            mark="look",
            found="none: if the Pi dies, nobody is told",
            do="set [watch] heartbeat_url to a service that misses it",
        )


def _lone_channel(targets: Sequence[PushTarget]) -> Iterator[Finding]:
    """The helper's address is no second one: nothing goes to it while the person is at home."""
    own = [target.name for target in targets if target.to == "person"]
    if targets and not own:
        yield Finding(
            thing="push",
            mark="look",
            found="no address of your own, only the helper's",
            do="add one to [push] urls",
        )
    elif len(own) == 1:
        yield Finding(
            thing="push",
            mark="look",
            found=f"only {own[0]}: if that service fails, nobody is told",
            do="add a second of another kind (mail, message) to [push] urls",
        )


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
