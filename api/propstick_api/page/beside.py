"""Pictures of a night beside each other: two of its boxes, or another night; and the form that asks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from propstick.app.moments import in_years
from propstick.engine.nights import night_of
from propstick.errors import InputError
from propstick.times import local, utc_text
from propstick_api import nights
from propstick_api.deps import Site
from propstick_api.page import words
from propstick_api.page.markup import Safe, tag
from propstick_api.page.reading import Reading

if TYPE_CHECKING:
    from propstick.app.replay.report import Report

BESIDE_DAYS = 14
HANDLE_S = 300
"""The handle of a what-if moves by so much."""


@dataclass(frozen=True)
class Chosen:
    """What is put beside each other.

    Attributes:
        show: The box shown; empty: every box.
        beside: Another box of the same night, or another night's date; empty: nothing.
    """

    show: str = ""
    beside: str = ""

    def boxes(self, known: tuple[str, ...]) -> tuple[str, ...]:
        """The boxes whose pictures stand beside each other; empty: one picture of every box."""
        if self.beside not in known:
            return (self.show,) if self.show else ()
        first = self.show or next((one for one in known if one != self.beside), self.beside)
        return tuple(dict.fromkeys((first, self.beside)))


def night_date(text: str) -> date:
    """The night named by that date.

    Raises:
        InputError: it is no date, or of a year that no garden was watched in.
    """
    try:
        return in_years(date.fromisoformat(text), what="night")
    except ValueError:
        raise InputError(f"night: got {text[:20]!r}, expected a day such as 2026-03-01") from None


def lived_report(site: Site, night: date) -> Report:
    """The night as it was lived.

    Raises:
        InputError: nothing was measured in it.
    """
    from propstick.app.replay.lived_night import lived_night

    return lived_night(site.store, site.garden, night)


def figures(report: Report, site: Site, night: date, chosen: Chosen, *, decimal_sign: str) -> list[Safe]:
    """The night's picture, or those of the boxes asked for, and another night's beside them."""
    known = site.garden.box_names
    if chosen.show and chosen.show not in known:
        said = words.NO_SUCH_BOX.format(box=chosen.show, boxes=", ".join(known))
        return [tag("p", said, role="alert")]
    boxes = chosen.boxes(known)
    signed = {"decimal_sign": decimal_sign}
    found = [_figure(report, night, boxes, box, is_asked=True, **signed) for box in boxes or (None,)]
    if chosen.beside and chosen.beside not in known:
        try:
            other = night_date(chosen.beside)
            lived = lived_report(site, other)
            found += [_figure(lived, other, boxes, box, **signed) for box in boxes or (None,)]
        except InputError as error:
            said = error.message
            found.append(tag("p", said, role="alert"))
    return found


def _figure(
    report: Report, night: date, boxes: tuple[str, ...], box: str | None, *, decimal_sign: str,
    is_asked: bool = False,
) -> Safe:  # fmt: skip
    """A picture: of every box, or of one of several on one scale. The night asked about gets a handle."""
    from propstick.app.replay.scene import scene_of
    from propstick.drawing import night_picture

    scene = replace(scene_of(report, night), decimal_sign=decimal_sign)
    if boxes:
        scene = replace(scene, boxes=tuple(one for one in scene.boxes if one.name in boxes))
    handle = _handle(report, night) if is_asked else {}
    return tag("figure", Safe(night_picture(scene, box=box)), class_="night", **handle)


def _handle(report: Report, night: date) -> dict[str, str]:
    """Which times the handle can stand at, and where they lie between the picture's edges."""
    garden = report.garden
    tonight, reading = night_of(garden.site, night), Reading(garden)
    times_s = range(-(-tonight.start_s // HANDLE_S) * HANDLE_S, tonight.end_s, HANDLE_S)
    long_s = tonight.end_s - tonight.start_s
    return {
        "data_clocks": " ".join(f"{local(at_s, garden.site.zone):%H:%M}" for at_s in times_s),
        "data_said": "|".join(reading.clock(utc_text(at_s)) for at_s in times_s),
        "data_begin": f"{(times_s[0] - tonight.start_s) / long_s:.4f}",
        "data_end": f"{(times_s[-1] - tonight.start_s) / long_s:.4f}",
    }


def beside_form(site: Site, night: date, chosen: Chosen) -> Safe:
    """Asks for one box, and for what to put beside it."""
    days = nights.nights_between(
        site, site.garden, night - timedelta(days=BESIDE_DAYS), night + timedelta(days=BESIDE_DAYS)
    )
    others = [one["night"] for one in days if one["night"] != night.isoformat()]
    boxes = site.garden.box_names
    show = tag("select", tag("option", words.SHOW_ALL, value=""), *options(boxes, chosen.show), name="show")
    beside = tag(
        "select",
        tag("option", words.BESIDE_NONE, value=""),
        tag("optgroup", *options(boxes, chosen.beside), label=words.BESIDE_BOX) if len(boxes) > 1 else None,
        tag("optgroup", *options(others, chosen.beside), label=words.BESIDE_NIGHT) if others else None,
        name="beside",
    )
    fields = [tag("label", words.SHOW, show), tag("label", words.BESIDE, beside)]
    return tag("form", *fields, tag("button", words.BESIDE_ASK), class_="ask")


def options(values: Sequence[str], chosen: str) -> list[Safe]:
    """Choices that are shown as they are sent."""
    return [tag("option", one, value=one, selected=one == chosen) for one in values]
