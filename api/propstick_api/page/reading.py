"""How one person reads figures and times: unit and clock as set, the decimal sign of their language."""

from __future__ import annotations

import re
from datetime import date, datetime
from math import nan

from propstick.engine.wording import Speech, alarm_message
from propstick.garden import Garden
from propstick.records import Alarm
from propstick.times import local
from propstick.units import shown_difference
from propstick_api.page import words

_COMMA = frozenset(
    (
        "af", "az", "be", "bg", "bs", "ca", "cs", "da", "de", "el", "es", "et", "eu", "fi", "fo", "fr", "gl",
        "hr", "hu", "hy", "id", "is", "it", "ka", "kk", "lt", "lv", "mk", "mn", "nb", "nl", "nn", "no", "pl",
        "pt", "ro", "ru", "sk", "sl", "sq", "sr", "sv", "tr", "uk", "uz", "vi",
    )
)  # fmt: skip
_POINT = frozenset(("de-ch", "de-li", "it-ch", "es-mx", "es-us", "es-pr", "es-gt", "es-hn", "es-ni", "es-sv"))
"""Regions that write a point though their language has a comma (Unicode CLDR)."""


def has_decimal_comma(accept_language: str) -> bool:
    """Whether the language asked for first writes 1,5 for one and a half (Unicode CLDR, decimal symbol)."""
    first = re.split("[,;]", accept_language.lower())[0].strip()
    return first not in _POINT and first.partition("-")[0] in _COMMA


class Reading:
    """Words for figures and times.

    Args:
        garden: Whose unit, zone and clock.
        accept_language: As the browser sent it.
    """

    def __init__(self, garden: Garden, *, accept_language: str = "") -> None:
        self._speech = Speech(garden)
        self._zone = garden.site.zone
        self._unit = garden.site.unit
        self._sign = "," if has_decimal_comma(accept_language) else garden.decimal_sign

    @property
    def decimal_sign(self) -> str:
        """A point or a comma."""
        return self._sign

    @property
    def unit(self) -> str:
        """`°C` or `°F`."""
        return self._speech.unit

    def degrees(self, value_c: float | None) -> str:
        """`28.4 °C`, `83 °F`, or that there is none."""
        return words.NONE if value_c is None else self._signed(self._speech.measured(value_c))

    def limit(self, limit_c: float) -> str:
        """A setpoint."""
        return self._signed(self._speech.limit(limit_c))

    def alarm(self, alarm: Alarm, *, lid: float | None, cover: bool | None) -> str:
        """What is the matter and what is left to do, in one sentence; None: not known."""
        return alarm_message(
            alarm,
            self._speech,
            lid=nan if lid is None else lid,
            cover=nan if cover is None else float(cover),
        )

    def difference(self, change_c: float) -> str:
        """A difference without its sign, as finely as a reading is known."""
        return self._signed(
            f"{abs(shown_difference(change_c, self._unit)):.{0 if self._unit == 'F' else 1}f} {self.unit}"
        )

    def number(self, value: float | None, *, digits: int = 1) -> str:
        """A plain figure."""
        return words.NONE if value is None else self._signed(f"{value:.{digits}f}".replace("-", "−"))

    def clock(self, when: str) -> str:
        """The time of day of an RFC 3339 time."""
        return self._speech.clock(datetime.fromisoformat(when).timestamp())

    def when(self, when: str, *, now_s: float) -> str:
        """The time of day, and the day where it is not today's."""
        at_s = datetime.fromisoformat(when).timestamp()
        at = local(at_s, self._zone)
        clock = self._speech.clock(at_s)
        return clock if at.date() == local(now_s, self._zone).date() else f"{self.day(at.date())}, {clock}"

    def day(self, day: date | str) -> str:
        """`12 April`, in words of ours, not of the machine's locale."""
        day = date.fromisoformat(day) if isinstance(day, str) else day
        return words.DAY.format(
            day=day.day, month=words.MONTHS[day.month - 1], weekday=words.WEEKDAYS[day.weekday()]
        )

    def _signed(self, text: str) -> str:
        return text.replace(".", self._sign)


def span_words(seconds: float) -> str:
    """`20 seconds`, `5 minutes`, `3 hours`, `2 days`: as much as a glance needs."""
    for size, one, many in words.SPANS:
        if seconds >= 1.5 * size or size == 1:
            count = round(seconds / size)
            return one if count == 1 else many.format(count)
    raise AssertionError("the smallest span takes everything")
