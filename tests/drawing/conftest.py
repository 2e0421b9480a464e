"""An invented night: two boxes, every kind of thing that can be drawn."""

from datetime import UTC, date, datetime

import numpy as np
import pytest

from propstick.drawing import BoxNight, Line, NightScene
from propstick.news import CoverTold
from propstick.records import Alarm, LidOpening, NightForecast, Notice

START = int(datetime(2026, 4, 12, 17, tzinfo=UTC).timestamp())
HOUR = 3600
END = START + 14 * HOUR


def _curve(first_c, fall_c_h, rise_c_h):
    time_s = np.arange(START, END + 1, 60)
    hours = (time_s - START) / HOUR
    value = first_c - fall_c_h * np.minimum(hours, 11.7) + rise_c_h * np.maximum(hours - 11.7, 0)
    return time_s, np.round(value + 0.2 * np.sin(7 * hours), 2)


@pytest.fixture(scope="session")
def scene():
    """Gives the scene; `north` is full of incident, `lane` is quiet."""
    time_s, outside_c = _curve(9.0, 1.0, 3.0)
    _, north_c = _curve(13.0, 1.15, 6.0)
    _, lane_c = _curve(15.0, 1.0, 6.0)
    heard = (time_s < START + 6 * HOUR) | (time_s > START + 7 * HOUR)
    coldest = int(np.argmin(north_c))

    def forecast(hour, least_c, half_c):
        return NightForecast(
            box="north", night=date(2026, 4, 12), issued_s=START + hour * HOUR, min_c=least_c,
            low_c=least_c - half_c, high_c=least_c + half_c, p_frost=0.5,
        )  # fmt: skip

    def alarm(kind, first_h, last_h, peak_c=None):
        return Alarm(
            id=f"{kind}{first_h}", box="north", kind=kind, state="normal", begun_s=START,
            raised_s=int(START + first_h * HOUR),
            returned_s=None if last_h is None else int(START + last_h * HOUR), peak_c=peak_c,
        )  # fmt: skip

    north = BoxNight(
        name="north",
        air=Line(time_s[heard], north_c[heard]),
        soil=Line(time_s, 10 - (time_s - START) / HOUR / 4),
        frost_c=1.0,
        heat_c=27.0,
        worst_c=float(north_c[coldest]),
        worst_s=int(time_s[coldest]),
        forecasts=tuple(forecast(h, -0.5, 2.5 - h / 5) for h in (1, 3, 4, 5, 6, 8, 10)),
        lids=(
            LidOpening(box="north", time_s=START - HOUR, opening=0.1, known_from="contact"),
            LidOpening(box="north", time_s=START + 2 * HOUR, opening=0.0, known_from="told"),
            LidOpening(box="north", time_s=END - HOUR, opening=0.6, known_from="told"),
        ),
        covers=(
            CoverTold(time_s=START + 3 * HOUR, box="north", on=True),
            CoverTold(time_s=END - 2 * HOUR, box="north", on=False),
        ),
        alarms=(
            alarm("soil-cold", -30, None, -0.5),
            alarm("frost-ahead", 2.2, 10),
            alarm("frost", 10.3, 12.5, -0.62),
        ),
        otherwise=Line(time_s[300:], north_c[300:] - 1.0),
        otherwise_words="open",
    )
    lane = BoxNight(name="lane", air=Line(time_s, lane_c), frost_c=1.0, worst_c=2.0, worst_s=END - 2 * HOUR)
    notice = Notice(
        id="n", issued_s=START + 2 * HOUR, boxes=("north",), kinds=("frost-ahead",),
        text="Cover north before bed: it may fall to −0.6 °C towards 05:30; frost limit 1 °C",
    )  # fmt: skip
    return NightScene(
        title="Night of 12 April 2026", site="home", start_s=START, end_s=END, zone="Europe/Dublin",
        sunset_s=START + HOUR + 600, sunrise_s=END - HOUR - 900, outside=Line(time_s, outside_c),
        boxes=(north, lane), notices=(notice,),
    )  # fmt: skip
