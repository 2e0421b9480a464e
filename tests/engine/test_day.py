"""Today's maximum by lid: order, limits, what it learns, and that pieces do not matter."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine import ceiling, day, horizon, observer
from propstick.engine.nights import daylight_of
from propstick.engine.paths import moments_of
from propstick.garden import Box, Site
from propstick.physics.box import SUN_GAIN_C_PER_MIN, air_exchange, steady_air_c
from propstick.physics.sun import clear_sky_w_m2, solar_position
from propstick.times import local_date

SITE = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")
START_S = 1_709_251_200  # 2024-03-01T00:00:00Z
CLOSED, PROPPED, OPEN, AS_IS = range(4)


def _rows(days, *, lift_c=22.0, outside=True):
    """Clear days in a shut box that rises `lift_c` above an outside that swings by 5 °C."""
    n = days * 288
    time_s = START_S + 300 * np.arange(1, n + 1, dtype=np.int64)
    hour = ((time_s - START_S) % 86_400) / 3600.0
    air = np.round(6.0 + 5.0 * np.cos((hour - 14.0) / 12.0 * np.pi), 2)
    height, _ = solar_position(time_s.astype(float), SITE.latitude, SITE.longitude)
    sun = clear_sky_w_m2(height)
    box = np.round(air + 1.0 + lift_c * sun / sun.max(), 2)[:, None]
    unknown, wide = np.full(n, np.nan), np.full((n, 1), np.nan)
    soil = np.full((n, 1), 9.0)
    out = air if outside else unknown
    return PlaceRows(time_s, out, unknown, unknown, box, soil, wide, wide, 0.0 * box, 0.0 * box, box > -99)


def _issued(rows, *, site=SITE, hours=1.0, model=True, cuts=1, dull_day=-1):
    """Forecasts one hour after every sunrise beside the maximum that came, and the last state.

    On `dull_day` the ceiling stands a quarter too low, as after a week of clouds.
    """
    state, watch = horizon.start(1), observer.start((Box(name="a"),), 300)
    issued, first = [], 0
    for number in range(len(rows) // 288):
        light = daylight_of(site, local_date(START_S + number * 86_400 + 43_200, site.zone))
        row = int(np.searchsorted(rows.time_s, light.sunrise_s + hours * 3600)) + 1
        moment = None
        for stop in np.linspace(first, row, cuts + 1).astype(int)[1:]:
            part = rows.cut(first, int(stop))
            first = int(stop)
            share = np.ones(part.air_c.shape)
            if model:
                watch, trace = observer.observe(watch, part, site)
                moment = moments_of(trace, np.array([len(trace) - 1])) if len(trace) else moment
            state = horizon.advance(state, part, site=site, sun_share=share)
        sky = np.full((ceiling.BINS, 1), 0.75 if number == dull_day else 1.0)
        state, forecast = horizon.day_maximum(state, site=site, moment=moment, ceiling=sky)
        end = int(np.searchsorted(rows.time_s, light.sunset_s))
        issued.append((forecast, float(rows.air_c[row - 1 : end, 0].max())))
    return issued, state


@pytest.mark.slow
def test_an_open_lid_is_cooler_than_a_propped_one_and_that_than_a_shut_one():
    for forecast, _ in _issued(_rows(4))[0][1:]:
        closed, propped, wide, _ = forecast.max_c[:, 0]
        assert closed > propped > wide > forecast.outside_max_c - 0.5
        assert (forecast.low_c <= forecast.max_c).all()
        assert (forecast.max_c <= forecast.high_c).all()


@pytest.mark.slow
@pytest.mark.parametrize("lift_c", [12.0, 26.0])
def test_clear_days_teach_what_this_box_reaches(lift_c):
    """After two weeks of clear shut days the forecast is within 1.5 °C, whatever the box."""
    issued, state = _issued(_rows(16, lift_c=lift_c))
    forecast, came = issued[-1]
    assert forecast.max_c[CLOSED, 0] == pytest.approx(came, abs=1.5)
    assert forecast.max_c[AS_IS, 0] == pytest.approx(came, abs=2.0)
    assert forecast.low_c[CLOSED, 0] <= came <= forecast.high_c[CLOSED, 0]
    first_width, last_width = (f.high_c - f.low_c for f in (issued[1][0], forecast))
    assert last_width[CLOSED, 0] < first_width[CLOSED, 0]
    assert (~np.isnan(state.day.shut_levels[:, 0])).sum() > 3


@pytest.mark.slow
def test_on_the_second_day_the_lid_as_it_stood_half_follows_yesterday_and_later_not():
    """Yesterday's maximum set 8 °C higher: half of it on the second day, nothing after a fortnight."""
    moved = []
    for days in (2, 14):
        rows = _rows(days)
        state, watch = _issued(rows.cut(0, 288 * (days - 1)))[1], observer.start((Box(name="a"),), 300)
        light = daylight_of(SITE, local_date(START_S + (days - 1) * 86_400 + 43_200, SITE.zone))
        row = int(np.searchsorted(rows.time_s, light.sunrise_s + 3600)) + 1
        _, trace = observer.observe(watch, rows.cut(0, row), SITE)
        first = int(np.searchsorted(rows.time_s, state.row_s)) + 1
        state = horizon.advance(state, rows.cut(first, row), site=SITE)
        moment = moments_of(trace, np.array([len(trace) - 1]))
        found = []
        for higher_c in (0.0, 8.0):
            as_if = replace(state, day=replace(state.day, max_before_c=state.day.max_before_c + higher_c))
            ask = {"site": SITE, "moment": moment, "ceiling": np.ones((ceiling.BINS, 1))}
            found.append(horizon.day_maximum(as_if, **ask)[1].max_c)
        assert found[0][:AS_IS].tolist() == found[1][:AS_IS].tolist()
        moved.append((found[1] - found[0])[AS_IS, 0])
    assert moved[0] == pytest.approx(8.0 * day.AGAIN_SHARE)
    assert 0.0 < moved[1] < 0.2


def test_what_a_shut_box_has_risen_already_is_not_drawn_to_what_is_usual_of_it():
    """It is known to rise a fifth further than the model says: all of it counts while the box is cold, half
    where half the way is done, nothing at the top. With the lid up the air now says nothing of that."""
    now_c = np.array([5.0, 20.0, 30.0, np.nan])
    clear_c = np.stack([np.full(4, 30.0), np.full(4, 20.0)])
    shut, wide = day.drawn_to_usual_c(clear_c, np.full((2, 4), 1.2), top_c=10.0, now_c=now_c)
    assert shut == pytest.approx([34.0, 32.0, 30.0, 34.0])
    assert wide == pytest.approx([22.0] * 4)


def test_a_garden_has_one_sky():
    """Two shut boxes see 0.8 and 1.0; an open, a silent and (by its own ceiling) a shaded one borrow it."""
    share, lid = np.array([0.8, 1.0, 0.3, np.nan, 0.9]), np.array([0.0, 0.0, 1.0, 0.0, 0.0])
    assert day.one_sky(share, lid) == pytest.approx([0.85, 0.95, 0.9, 0.9, 0.9])
    assert day.one_sky(share[2:4], lid[2:4]) == pytest.approx(share[2:4], nan_ok=True)


@pytest.mark.slow
def test_the_first_day_says_how_little_it_knows_and_its_model_teaches_nothing():
    """Relative to its height the first interval is the widest, and it holds what came."""
    issued, state = _issued(_rows(3))
    share = [
        ((f.high_c - f.low_c)[CLOSED, 0]) / (f.max_c[CLOSED, 0] - f.outside_max_c) for f, _ in issued[:2]
    ]
    assert share[0] > 1.2 * share[1]
    assert issued[0][0].low_c[CLOSED, 0] <= issued[0][1] <= issued[0][0].high_c[CLOSED, 0]
    first_day = _issued(_rows(1))[1].day
    assert first_day.issued_s[1] > 0
    assert np.isnan(first_day.issued_model_c).all()
    assert not np.isnan(state.day.issued_model_c[1]).any()


@pytest.mark.parametrize("site", [SITE, Site(zone="Europe/Zurich")])
def test_without_the_model_the_best_lift_decides(site):
    issued, _ = _issued(_rows(6), site=site, model=False)
    forecast, came = issued[-1]
    assert forecast.max_c[CLOSED, 0] == pytest.approx(came, abs=3.0)
    assert forecast.method[CLOSED] == "best lift"
    assert forecast.max_c[OPEN, 0] < forecast.max_c[CLOSED, 0]


def test_without_outside_air_it_says_nothing_it_cannot_know():
    """No lift is known without the outside: the maximum is not invented."""
    issued, _ = _issued(_rows(3, outside=False), model=False)
    assert np.isnan(issued[-1][0].max_c[CLOSED, 0])


def test_long_run_agrees_with_the_box_at_rest():
    """Under a constant sky, held long enough, the run ends where both balances are zero."""
    rows = _rows(2)
    watch, trace = observer.observe(observer.start((Box(name="a"),), 300), rows, SITE)
    moment = moments_of(trace, np.array([len(trace) - 1]))
    rates = type(moment.rates)(*(r[0] for r in moment.rates))
    noon = clear_sky_w_m2(solar_position(np.array([START_S + 43_200.0]), SITE.latitude, SITE.longitude)[0])
    rest = steady_air_c(
        rates=rates, exchange=air_exchange(rates, np.array([[1.0]])), outside_c=moment.outside_c[0],
        soil_c=moment.soil_c[0], sun_c=SUN_GAIN_C_PER_MIN * noon,
    )  # fmt: skip
    light = daylight_of(SITE, local_date(START_S + 43_200, SITE.zone))
    most = day.clear_maximum_c(
        moment, np.array([[1.0]]), day=light, time_s=light.noon_s - 3 * 3600, site=SITE,
        ceiling=np.ones((ceiling.BINS, 1)), rise_c=0.0, soil_day_c=moment.soil_c[0],
    )  # fmt: skip
    assert most[0, 0] == pytest.approx(rest[0, 0], abs=1.5)
    assert watch.time_s is not None


def test_outside_path_peaks_at_its_hour():
    times = np.arange(0.0, 36_000.0, 300.0)
    path = day.outside_path_c(times, 4.0, 6.0, start_s=3_600.0, peak_s=25_200.0)
    assert path[0] == 4.0
    assert path.max() == pytest.approx(10.0)
    assert times[path.argmax()] == 25_200.0
    assert path[-1] < 10.0


@pytest.mark.slow
def test_pieces_do_not_change_a_bit():
    rows = _rows(4)
    one, first = _issued(rows)
    other, second = _issued(rows, cuts=7)
    np.testing.assert_array_equal(one[-1][0].max_c, other[-1][0].max_c)
    for name, value in vars(first.day).items():
        if isinstance(value, np.ndarray):
            np.testing.assert_array_equal(value, getattr(second.day, name), err_msg=name)


@pytest.mark.slow
def test_what_was_learnt_in_a_dull_week_hardly_lowers_a_maximum_known_from_a_fortnight():
    """The model alone falls with its ceiling; its own mean of a fortnight holds it."""
    rows = _rows(14)
    known, known_dull = (_issued(rows, dull_day=day)[1] for day in (-1, 13))
    new, new_dull = (_issued(rows.cut(0, 2 * 288), dull_day=day)[1] for day in (-1, 1))
    issue = 1  # an hour after sunrise
    fall_c = (known.day.issued_shut_c - known_dull.day.issued_shut_c)[issue, 0, 0]
    fall_new_c = (new.day.issued_shut_c - new_dull.day.issued_shut_c)[issue, 0, 0]
    bare_c = (new.day.issued_model_c - new_dull.day.issued_model_c)[issue, CLOSED, 0]
    assert bare_c > 2.0
    assert 0.0 < fall_c < 0.6 * fall_new_c < 0.6 * bare_c
