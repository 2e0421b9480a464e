"""What a first evening says of its own accord: the sun there, and at its end what is not watched yet."""

from __future__ import annotations

from collections.abc import Sequence

from propstick.app.garden_file.settings import Settings
from propstick.garden import OUTSIDE, Site
from propstick.times import clock_text, local_date

OUTSIDE_LOSES = (
    "No air probe outside: the boxes are watched all the same, but frost and heat are foreseen less surely,\n"
    "an open lid nobody told of goes unnoticed, and what the glass gained stays unknown."
)
NOBODY_TOLD = "No address: warnings are kept on the page and reach nobody."


def sun_there(position: tuple[float, ...], zone_name: str | None, now_s: float) -> str:
    """When the sun rises and sets there on that clock: a wrong sign or a wrong zone shows."""
    from propstick.engine.nights import daylight_of

    site = Site(latitude=position[0], longitude=position[1], zone=zone_name)
    daylight = daylight_of(site, local_date(now_s, zone_name))
    if not daylight.by_sun:
        return "There the sun does not rise and set today; if that is wrong, type back."
    rises, sets = (clock_text(at, zone_name) for at in (daylight.sunrise_s, daylight.sunset_s))
    return f"There the sun rises today at {rises} and sets at {sets}; if that is wrong, type back."


def unprobed(settings: Settings) -> tuple[str, ...]:
    """Boxes without any probe. While that is all of them the watch does not start."""
    equipped = {probe.box for probe in settings.garden.probes}
    return tuple(box for box in settings.garden.box_names if box not in equipped)


def airless(settings: Settings) -> tuple[str, ...]:
    """Boxes with probes, but none in their air: no warning of heat or frost there."""
    bare = unprobed(settings)
    return tuple(
        box
        for box in settings.garden.box_names
        if box not in bare and not settings.garden.probes_at(box, "air")
    )


def is_watched(settings: Settings) -> bool:
    """Whether every box will be warned of heat and frost."""
    return not unprobed(settings) and not airless(settings)


def last_words(settings: Settings, *, call: str, start: str) -> str:
    """What a person must know before going to bed.

    Args:
        call: A command line with `{}` where the words of the command go.
        start: How the watch is started and looked at.
    """
    it, bare, no_air = settings.garden, unprobed(settings), airless(settings)
    parts = []
    if bare:
        boxes = f"{', '.join(bare)} {'has' if len(bare) == 1 else 'have'} no probe"
        parts.append(
            f"NOTHING IS WATCHED YET: {boxes}, and the watch does not start\n"
            "without any. Nobody is warned of heat or frost until then."
            if len(bare) == len(it.boxes)
            else f"NOT WATCHED: {boxes}. Nobody is warned of heat or frost there."
        )
    if no_air:
        parts.append(
            f"NOT WATCHED FOR HEAT AND FROST: {', '.join(no_air)}, without an air probe.\n"
            "Soil alone tells of neither in time."
        )
    if it.boxes and not it.probes_at(OUTSIDE, "air"):
        parts.append(OUTSIDE_LOSES)
    if not settings.push.targets:
        parts.append(f"{NOBODY_TOLD} Add one to [push] urls in {settings.path}.")
    if bare or no_air:
        names = [call.format(f"probes name ID {box} air") for box in (*bare, *no_air)]
        parts.append(_steps(call.format("probes list"), call.format("probes find"), names, start))
    else:
        parts.append(f"Next: {start}")
    return "\n\n".join(parts)


def _steps(listing: str, finding: str, names: Sequence[str], start: str) -> str:
    return "\n".join(
        [
            "1. See to the wires (hardware/README.md). Was the Pi started anew since 1-wire was switched on?",
            f"2. {listing}",
            f"   shows every probe that answers; which one is in your hand: {finding}",
            f"3. {names[0]}",
            *(f"   {name}" for name in names[1:]),
            f"4. {start}",
        ]
    )
