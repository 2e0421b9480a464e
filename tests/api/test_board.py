"""What the board adds to the watch's view: room left to each limit, and the newest forecasts."""

from datetime import date
from types import SimpleNamespace

import pytest

from propstick.garden import Box, Garden
from propstick.records import DayForecast, NightForecast
from propstick.times import utc_text
from propstick_api.board import _room_to, completed

ROW_S = 1_776_020_400
NIGHT = {"box": "north", "night": date(2026, 4, 12), "low_c": 0.0, "high_c": 5.0, "p_frost": None}
DAY = {"box": "north", "day": date(2026, 4, 12), "low_c": 20.0, "high_c": 40.0}


@pytest.mark.parametrize(
    ("limit", "air", "rise", "above", "room"),
    [
        (27.0, 22.0, 6.0, True, {"c": 5.0, "minutes": 50}),  # 5 °C at 6 °C an hour
        (27.0, 22.0, -6.0, True, {"c": 5.0, "minutes": None}),  # away from it
        (27.0, 22.0, None, True, {"c": 5.0, "minutes": None}),
        (27.0, 22.0, 0.1, True, {"c": 5.0, "minutes": None}),  # 50 hours: a slope does not tell
        (27.0, 28.0, 6.0, True, {"c": -1.0, "minutes": 0}),
        (1.0, 4.0, -2.0, False, {"c": 3.0, "minutes": 90}),
        (1.0, 0.5, 2.0, False, {"c": -0.5, "minutes": 0}),
        (None, 22.0, 6.0, True, {"c": None, "minutes": None}),
        (27.0, None, 6.0, True, {"c": None, "minutes": None}),
    ],
)
def test_room_is_degrees_and_minutes_towards_a_limit(limit, air, rise, above, room):
    """Distance over slope, where it leads there within three hours."""
    assert _room_to(limit, air, rise, is_above=above) == room


@pytest.fixture
def north():
    """Gives what the board says of a box of 4 °C with these forecasts, oldest first."""

    def board(*, nights=(), days=()):
        issued = {"heat": (), "nights": tuple(nights), "days": tuple(days)}
        site = SimpleNamespace(
            garden=Garden(boxes=(Box(name="north"),)),
            journal=SimpleNamespace(issued=lambda kind, _from, _to: issued[kind], briefs=lambda *_: ()),
            sowings=SimpleNamespace(all=list),
            requests=SimpleNamespace(pending=list),
        )
        place = {"value": 4.0, "rise_per_h": None, "read": utc_text(ROW_S - 90), "probes": ["28-1"]}
        box = {
            "box": "north", "air": place, "soil": dict(place), "humidity": dict(place),
            "limits": {"heat_c": 27.0, "prop_c": 24.0, "frost_c": 1.0},
        }  # fmt: skip
        status = {
            "site": "plot", "time": utc_text(ROW_S), "step_s": 60, "boxes": [box], "outside": None,
            "alarms": [],
        }  # fmt: skip
        return completed(status, site)["boxes"][0]

    return board


@pytest.mark.parametrize(("min_c", "tonight_c"), [(2.5, 1.5), (-1.25, -2.25)])
def test_tonight_is_told_by_how_far_it_lies_above_the_frost_limit(north, min_c, tonight_c):
    """By hand, below the limit with a minus; of several forecasts the newest counts."""
    said = [
        NightForecast(issued_s=ROW_S - back, min_c=c, **NIGHT) for back, c in ((7200, 9.0), (3600, min_c))
    ]
    found = north(nights=said)
    assert found["room"]["frost"] == {"c": 3.0, "minutes": None, "tonight_c": tonight_c}
    assert found["forecast"]["night"]["min_c"] == min_c


def test_of_the_day_s_forecasts_those_issued_last_are_shown_each_lid_of_them(north):
    def issue(issued_s, **max_c):
        return [DayForecast(issued_s=issued_s, lid=lid, max_c=c, **DAY) for lid, c in max_c.items()]

    found = north(
        days=[*issue(ROW_S - 7200, closed=38.0, open=22.0), *issue(ROW_S - 3600, closed=35.0, propped=28.0)]
    )
    assert [(one["lid"], one["max_c"]) for one in found["forecast"]["day"]] == [
        ("closed", 35.0), ("propped", 28.0),
    ]  # fmt: skip


def test_the_age_of_a_value_is_counted_at_the_row(north):
    assert north()["air"]["age_s"] == 90
