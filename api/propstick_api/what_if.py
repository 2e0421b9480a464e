"""What a night would have been with another lid or cover."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from propstick.errors import InputError
from propstick_api.deps import Service, Site

if TYPE_CHECKING:
    from propstick.app.replay.report import Report


@dataclass(frozen=True)
class Otherwise:
    """The night's report with the other curve in it, and that curve's object."""

    report: Report
    found: dict[str, Any]


def otherwise(service: Service, site: Site, report: Report, night: date, text: str) -> Otherwise:
    """The answer to `BOX closed|open|propped|covered HH:MM`.

    One at a time, as the watch is run again up to that moment.

    Raises:
        InputError: another form, another box, a time outside the night, or nothing read then.
    """
    from propstick.app.replay.night import state_before
    from propstick.app.replay.what_if import answer, asked_of, stretch_of

    garden = report.garden
    try:
        asked = asked_of(text, garden.box_names)
        at_s, end_s = stretch_of(asked, report, night)
        with service.replaying:
            found = answer(
                asked,
                report,
                at_s=at_s,
                end_s=end_s,
                state_before=lambda row_s: state_before(site.store, garden, row_s, settings=()),
            )
    except InputError as error:
        raise InputError(error.message.removeprefix("--what-if: ")) from None
    return Otherwise(replace(report, what_if=found), found)
