"""Tonight's minimum: what it learns, what it never says, and that pieces do not matter."""

from dataclasses import replace

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine import horizon, night
from propstick.engine.nights import night_of
from propstick.garden import Site
from propstick.times import local_date

SITE = Site(latitude=46.95, longitude=7.44, zone="Europe/Zurich")
START_S = 1_709_251_200  # 2024-03-01T00:00:00Z
STEP_S = 300


def _rows(days, *, outside=True, lift_c=1.5, swing_c=6.0, seed=3):
    """Plain days with a warm afternoon; each night's fall follows the fall of its own evening."""
    n = days * 86_400 // STEP_S
    time_s = START_S + STEP_S * np.arange(1, n + 1, dtype=np.int64)
    rng = np.random.default_rng(seed)
    clear = rng.uniform(0.3, 1.0, days + 1)[(time_s - START_S + 43_200) // 86_400]  # from noon to noon
    hour = ((time_s - START_S) % 86_400) / 3600.0
    air = 6.0 + swing_c * clear * np.cos((hour - 14.0) / 24.0 * 2.0 * np.pi)
    air = np.round(air + rng.normal(0.0, 0.05, n), 2)
    unknown = np.full(n, np.nan)
    wide = np.full((n, 1), np.nan)
    out = air if outside else unknown
    box = (air + lift_c)[:, None]
    return PlaceRows(time_s, out, unknown, unknown, box, wide, wide, wide, wide, wide, fresh=wide == wide)


def _issued(rows, *, hour=2, site=SITE):
    """Forecasts at that hour after every sunset beside what came."""
    state, first = horizon.start(1), 0
    issued = []
    for day in range(int(rows.time_s[-1] - rows.time_s[0]) // 86_400):
        tonight = night_of(site, local_date(START_S + day * 86_400 + 43_200, site.zone))
        last = int(np.searchsorted(rows.time_s, tonight.sunset_s + hour * 3600)) + 1
        end = int(np.searchsorted(rows.time_s, tonight.end_s)) + 1
        if end > len(rows):
            break
        state = horizon.advance(state, rows.cut(first, last), site=site)
        issued.append((horizon.night_minimum(state, site=site), rows.air_c[last - 1 : end, 0].min()))
        first = last
    return issued


@pytest.mark.slow
def test_it_learns_what_evenings_foretell():
    """Where the evening's fall foretells the night's, errors end well below the mean drop's."""
    issued = _issued(_rows(60))
    errors = np.array([f.min_c[0] - came for f, came in issued[30:]])
    falls = np.array([came - f.now_c[0] for f, came in issued[30:]])
    assert np.abs(errors).mean() < 0.5 * np.abs(falls - falls.mean()).mean()


@pytest.mark.slow
def test_the_interval_holds_about_nine_nights_in_ten():
    """Over 90 nights chance alone gives 84 to 96 %."""
    issued = _issued(_rows(95))[5:]
    inside = [f.low_c[0] - 1e-9 <= came <= f.high_c[0] + 1e-9 for f, came in issued]
    assert 0.84 <= np.mean(inside) <= 1.0
    widths = [float(f.high_c[0] - f.low_c[0]) for f, _ in issued]
    assert np.mean(widths[-20:]) < 0.7 * np.mean(widths[:5])


def test_never_above_the_present_air():
    for forecast, _ in _issued(_rows(12)):
        assert forecast.high_c[0] <= forecast.now_c[0]
        assert forecast.low_c[0] <= forecast.min_c[0] <= forecast.high_c[0]


def test_air_that_was_read_long_ago_bounds_no_interval():
    """Of a column read by the hour the upper end is what is foretold, of the other the present air; all else
    is the same."""
    state, rows, capped = horizon.advance(horizon.start(1), _rows(12), site=SITE), _rows(13), 0
    for last in range(12 * 288, len(rows), 6):
        state = horizon.advance(state, rows.cut(last, last + 6), site=SITE)
        bound = horizon.night_minimum(state, site=SITE)
        free = horizon.night_minimum(state, site=SITE, stale=np.array([True, False]))
        assert free.high_c[1] == bound.high_c[1]
        assert free.high_c[0] >= bound.high_c[0]
        assert free.high_c[0] - free.low_c[0] <= 2.0 * 1.645 * free.sd_c[0] + 1e-9
        capped += bound.high_c[0] == bound.now_c[0] < free.high_c[0]
        for name in ("min_c", "low_c", "sd_c", "now_c"):
            np.testing.assert_array_equal(getattr(free, name), getattr(bound, name))
    assert capped > 5


def test_where_nothing_is_foretold_yet_the_present_air_is_no_forecast():
    """One row of a first evening: the air now is all that is known, and says nothing of the night."""
    row = _rows(1).cut(215, 216)
    state = horizon.advance(horizon.start(1), replace(row, time_s=row.time_s + 60), site=SITE)
    forecast = horizon.night_minimum(state, site=SITE)
    assert not np.isnan(forecast.now_c[0])
    for values in (forecast.min_c, forecast.low_c, forecast.high_c):
        assert np.isnan(values).all()


def test_chance_of_frost_is_certain_once_it_is_colder_and_falls_with_the_limit():
    forecast, _ = _issued(_rows(12))[-1]
    now = float(forecast.now_c[0])
    chances = [float(forecast.p_below(limit)[0]) for limit in (-30.0, now - 4.0, now - 1.0, now + 0.1)]
    assert chances == sorted(chances)
    assert chances[0] == pytest.approx(0.0, abs=1e-3)
    assert chances[-1] == 1.0


@pytest.mark.parametrize("site", [SITE, Site(zone="Europe/Zurich"), Site()])
def test_without_outside_probe_or_sun_it_still_speaks(site):
    issued = _issued(_rows(20, outside=False), site=site)
    last, came = issued[-1]
    assert last.min_c[0] == pytest.approx(came, abs=2.5)
    assert np.isnan(last.min_c[-1])


def test_a_silent_box_gets_no_forecast_and_a_lost_night_teaches_nothing():
    rows = _rows(6)
    tonight = night_of(SITE, local_date(START_S + 4 * 86_400 + 43_200, SITE.zone))
    silent = (rows.time_s > tonight.start_s) & (rows.time_s < tonight.end_s)
    rows.air_c[silent] = np.nan
    issue = int(np.searchsorted(rows.time_s, tonight.sunset_s + 7200)) + 1
    state = horizon.advance(horizon.start(1), rows.cut(0, issue), site=SITE)
    forecast = horizon.night_minimum(state, site=SITE)
    assert np.isnan(forecast.min_c[0])
    assert not np.isnan(forecast.min_c[-1])
    after = horizon.advance(state, rows.cut(issue, len(rows)), site=SITE)
    assert (after.night.plain.count[:, 0] == state.night.plain.count[:, 0]).all()


def test_pieces_do_not_change_a_bit():
    rows = _rows(5)
    whole = horizon.advance(horizon.start(1), rows, site=SITE)
    chopped, first = horizon.start(1), 0
    for last in [1, 2, 77, 78, 300, 301, 302, 700, 1001, len(rows) - 1, len(rows)]:
        chopped = horizon.advance(chopped, rows.cut(first, last), site=SITE)
        first = last
    assert whole.night.nights == 5
    for name, value in vars(whole.night).items():
        if isinstance(value, np.ndarray):
            np.testing.assert_array_equal(value, getattr(chopped.night, name), err_msg=name)
    one, other = (horizon.night_minimum(s, site=SITE) for s in (whole, chopped))
    np.testing.assert_array_equal(one.min_c, other.min_c)


def test_the_plain_method_decides_where_ours_was_not_better():
    state = horizon.advance(horizon.start(1), _rows(14), site=SITE)
    plain_square = state.night.expert_square[..., 2:].min(axis=2)
    enough = np.full_like(state.night.weight, 12.0)
    better = replace(state.night, square_c2=plain_square - 0.01, weight=enough)
    worse = replace(state.night, square_c2=plain_square + 0.01, weight=enough)
    ours, plainly = (
        horizon.night_minimum(replace(state, night=record), site=SITE) for record in (better, worse)
    )
    assert set(plainly.method) <= {"mean drop", "FAO"}
    assert not np.array_equal(plainly.min_c, ours.min_c)


def test_a_lid_that_moves_before_the_minimum_voids_the_night():
    rows = _rows(4)
    tonight = night_of(SITE, local_date(START_S + 86_400 + 43_200, SITE.zone))
    opened = rows.time_s > tonight.sunset_s + 5 * 3600
    rows.lid[:] = np.where(opened, 0.3, 0.0)[:, None]
    state = horizon.advance(horizon.start(1), rows.cut(0, 864), site=SITE)
    hours = state.night.plain.count[:, 0]
    assert hours[1 + 2] < state.night.plain.count[1 + 2, 1]
    assert len(hours) == night.HOURS
