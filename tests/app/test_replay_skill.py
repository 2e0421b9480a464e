"""Marks of forecasts, worked out by hand on few numbers."""

from datetime import date

import numpy as np
import pytest

from propstick.app.place_series import Series
from propstick.app.replay_report import Observed
from propstick.app.replay_skill import skill_of
from propstick.garden import Box, Garden
from propstick.records import Alarm, DayForecast, HeatForecast, NightForecast

HOUR = 3600
START = 1_775_952_000  # 2026-04-12T00:00Z; without a site nights run from 18:00 to 08:00 UTC
GARDEN = Garden(boxes=(Box(name="north"),))


def marks(**given):
    nothing = dict.fromkeys(("nights", "days", "heat", "alarms", "observed_nights", "observed_days"), ())
    air = given.pop("air", Series(np.array([START]), np.array([9.0])))
    return {
        (row["forecast"], row.get("plain")): row
        for row in skill_of(GARDEN, {"north": air}, **{**nothing, **given})
    }


def seen(day, value_c, *, whole=True):
    return Observed(box="north", date=date(2026, 4, day), value_c=value_c, at_s=START, whole=whole)


def night(day, hour, expected, low, high):
    return NightForecast(
        box="north", night=date(2026, 4, day), issued_s=START + (24 * (day - 12) + hour) * HOUR,
        min_c=expected, low_c=low, high_c=high, p_frost=0.0,
    )  # fmt: skip


def test_night_forecasts_are_judged_by_what_came_after_them():
    """The lowest from the issue on, not the night's; and beside last night's figure."""
    hours = START + HOUR * np.arange(0, 80)
    value = np.where(hours == START + 19 * HOUR, 1.0, 4.0)  # 1 °C at 19:00 on the 12th, else 4
    found = marks(
        air=Series(hours, value),
        nights=[night(12, 21, 3.0, 2.5, 5.0), night(13, 21, 3.5, 3.4, 3.6)],
        observed_nights=[seen(12, 1.0), seen(13, 4.0)],
    )
    row = found["night minimum, 2 h after sunset", "as last night"]
    assert (row["count"], row["compared"], row["inside_90"]) == (2, 1, 0.5)
    assert row["error_c"] == 0.5  # of the night that both have: |3.5 - 4|
    assert row["plain_error_c"] == 3.0  # |1 - 4|
    assert row["is_better"] is True


def test_a_night_seen_in_part_is_not_judged():
    """Its lowest minute may have come later."""
    assert not marks(nights=[night(12, 21, 3, 2, 4)], observed_nights=[seen(12, 1.0, whole=False)])


def test_day_maximum_is_judged_by_the_lid_as_it_stood():
    """What a shut lid would have given cannot be compared."""

    def day(number, lid, max_c):
        return DayForecast(
            box="north", day=date(2026, 4, number), issued_s=START, lid=lid, max_c=max_c, low_c=20, high_c=26
        )

    found = marks(
        days=[day(13, "as-is", 24.0), day(13, "closed", 40.0)], observed_days=[seen(12, 21.0), seen(13, 25.5)]
    )
    row = found["day maximum, lid as it stands", "as the day before"]
    assert (row["count"], row["error_c"], row["plain_error_c"], row["inside_90"]) == (1, 1.5, 4.5, 1.0)


def test_heat_chances_are_scored_by_whether_the_limit_was_passed():
    """Brier (1950): certain and right 0, certain and wrong 1; nothing is asked while it is over."""
    minutes = START + 60 * np.arange(0, 200)
    value = np.where(minutes >= START + 45 * 60, 28.0, 20.0)

    def chance(minute, p20, p30, p60):
        return HeatForecast(
            box="north", issued_s=START + 60 * minute, limit_c=27.0, p20=p20, p30=p30, p60=p60
        )

    found = marks(
        air=Series(minutes, value), heat=[chance(0, 0, 0, 1), chance(20, 0, 1, 1), chance(60, 1, 1, 1)]
    )
    scores = [found[f"heat within {m} min", "straight line"] for m in (20, 30, 60)]
    assert [row["count"] for row in scores] == [2, 2, 2]
    assert [row["came"] for row in scores] == [0, 1, 2]
    assert [row["brier"] for row in scores] == [0.0, 0.0, 0.0]
    assert all(row["is_better"] for row in scores)
    assert scores[2]["plain_brier"] > 0.1


def test_warnings_of_heat_are_counted():
    """Came, withdrawn, and alarms that no warning went before."""

    def alarm(kind, outcome=None, lead=None):
        return Alarm(id=kind, box="north", kind=kind, state="normal", raised_s=0, begun_s=0, outcome=outcome,
                     lead_minutes=lead)  # fmt: skip

    row = marks(
        alarms=[alarm("heat-ahead", "came"), alarm("heat-ahead", "withdrawn"), alarm("heat", lead=24.0),
                alarm("heat", lead=-2.0), alarm("heat")]
    )["heat warnings", None]  # fmt: skip
    assert (row["warned"], row["came"], row["withdrawn"], row["unwarned"]) == (2, 1, 1, 2)
    assert row["lead_minutes_median"] == 24.0


@pytest.mark.parametrize("kind", ["night", "heat"])
def test_no_forecast_no_marks(kind):
    """An empty list, not zeros."""
    assert not [name for name, _ in marks() if kind in name]
