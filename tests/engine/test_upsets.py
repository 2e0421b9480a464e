"""A watered bed, a box without sun, a probe in the soil: told from rows that are plain sums of sines.

Simulated boxes are in `test_upset_boxes.py`; how often drawn boxes are judged rightly: `tests.bench.upsets`.
"""

from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime
from itertools import pairwise

import numpy as np
import pytest

from propstick.blocks import PlaceRows
from propstick.engine import dimmed, night_share, watering
from propstick.engine.schedule import day_of
from propstick.engine.upsets import look_for_upsets, new_upsets
from propstick.garden import Box, Garden, Site

NAMES = ("north", "lane")
GARDEN = Garden(
    site=Site(latitude=50.0, longitude=0.0, zone="Etc/UTC"), boxes=tuple(Box(name=name) for name in NAMES)
)
START_S = int(datetime(2026, 3, 20, tzinfo=UTC).timestamp())
DAYS, UPSET_DAY, DAY_ROWS = 8, 5, 1440


def lived(step_s=60):
    """Days on which boxes swing 1.4 times as far as the outside, by night 0.4 of the way to the soil."""
    time_s = START_S + step_s * np.arange(DAYS * 86_400 // step_s)
    hour = (time_s % 86_400) / 3600.0
    wave = -np.cos(2.0 * np.pi * (hour - 3.0) / 24.0)
    outside = 6.0 + 5.0 * wave
    air = np.where(wave > 0.0, 9.0 + 11.0 * wave, 9.0 + 3.0 * wave)
    soil = 11.0 + 1.5 * -np.cos(2.0 * np.pi * (hour - 7.0) / 24.0)
    two = np.ones((len(time_s), 2))
    nothing = np.nan * two
    return PlaceRows(
        time_s, outside, outside, nothing[:, 0], two * air[:, None], two * soil[:, None], nothing, nothing,
        0.0 * two, nothing, two > 0.0,
    )  # fmt: skip


def looked(rows, *, step_s=60, cuts=(), watch=None):
    """What is found, day by day or cut further, and the watch at the end."""
    watch = new_upsets(NAMES, step_s) if watch is None else watch
    days = (rows.time_s - START_S) // 86_400
    edges = sorted({0, len(rows), *(np.flatnonzero(np.diff(days)) + 1).tolist(), *cuts})
    found = []
    for first, stop in pairwise(edges):
        day = day_of(GARDEN, date.fromordinal(date(2026, 3, 20).toordinal() + int(days[first])))
        watch, upsets = look_for_upsets(watch, rows.cut(first, stop), boxes=NAMES, day=day, step_s=step_s)
        found.append((upsets.watered, upsets.dimmed, upsets.as_soil, upsets.as_outside))
    return watch, *(np.concatenate(part) for part in zip(*found, strict=True))


def hours(holds):
    """When it begins and ends, hours from the beginning."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], holds.astype(int), [0]])))
    return (edge / 60.0).round(2).tolist()


UPSET_ROW = UPSET_DAY * DAY_ROWS + 600


def watered_rows(drop_c=1.0):
    rows = lived()
    rows.soil_c[UPSET_ROW:, 0] -= drop_c * np.minimum(np.arange(len(rows) - UPSET_ROW) / 4.0, 1.0)
    return rows


def matted_rows():
    rows = lived()
    cold = 7.0 + 0.3 * (rows.outside_air_c - 6.0)
    rows.air_c[UPSET_ROW:, 0] = cold[UPSET_ROW:]
    return rows


def pressed_rows():
    rows = lived()
    rows.air_c[UPSET_ROW:, 0] = rows.soil_c[UPSET_ROW:, 0] - 0.5
    return rows


def fallen_rows():
    rows = lived()
    rows.air_c[UPSET_ROW:, 0] = rows.outside_air_c[UPSET_ROW:] + 0.1
    return rows


def test_nothing_is_found_where_nothing_is():
    """Eight plain days: no box is doubted at any row."""
    _, *found = looked(lived())
    assert not any(part.any() for part in found)


def test_a_watered_bed_is_seen_within_minutes_and_forgotten_in_hours():
    """A degree in four minutes: noticed before ten are over, for six hours, and in that box alone."""
    _, wet, dim, *nights = looked(watered_rows())
    begins, ends = hours(wet[:, 0])
    assert UPSET_ROW / 60.0 < begins <= UPSET_ROW / 60.0 + 0.17
    assert ends - begins == pytest.approx(watering.WET_S / 3600.0, abs=0.35)
    assert not wet[:, 1].any()
    assert not any(part.any() for part in (dim, *nights))


def test_what_a_bed_does_on_its_own_is_not_water():
    """A step as far as clouds move a shallow probe day by day is no water; nor is one on the first days."""
    rows = watered_rows()
    for day in range(UPSET_DAY):
        first = day * DAY_ROWS + 600
        rows.soil_c[first : first + 240, 0] -= 0.8
    _, wet, *_ = looked(rows)
    assert not wet.any()


def test_water_as_warm_as_the_bed_shows_in_a_moisture_probe():
    """Ten percent more within a minute; a slow rise of as much in a day is none."""
    rows = lived()
    moisture = np.full(rows.air_c.shape, 30.0)
    moisture[UPSET_ROW:, 0] = 40.0
    moisture[:, 1] = 30.0 + 10.0 * np.arange(len(rows)) / len(rows)
    _, wet, *_ = looked(replace(rows, moisture_pct=moisture))
    assert hours(wet[:, 0])[0] == UPSET_ROW / 60.0
    assert not wet[:, 1].any()


def test_a_box_under_a_mat_is_seen_the_next_afternoon():
    """Laid on at ten: seen 2.5 hours after the next noon; and gone from the record when it is told of."""
    _, wet, dim, *nights = looked(matted_rows())
    assert hours(dim[:, 0])[0] == pytest.approx((UPSET_DAY + 1) * 24 + 14.7, abs=0.3)
    assert not dim[:, 1].any()
    assert not any(part.any() for part in (wet, *nights))
    rows = matted_rows()
    cover = np.zeros(rows.air_c.shape)
    cover[UPSET_ROW:, 0] = 1.0
    assert not looked(replace(rows, cover=cover))[2].any()


def snowy_rows(boxes=(0,), above_c=0.0):
    """From ten o'clock on the sixth day these boxes swing 0.64 times as far as the outside, not 1.4 times."""
    rows = lived()
    for b in boxes:
        rows.air_c[UPSET_ROW:, b] = 7.4 + above_c + 0.64 * (rows.outside_air_c[UPSET_ROW:] - 6.0)
    return rows


def test_snow_that_keeps_off_the_light_alone_is_told_by_the_box_beside_it():
    """Seen on the next afternoon; over on the afternoon of the sun's return."""
    swing = np.ptp(snowy_rows().air_c[UPSET_ROW:, 0]) / np.ptp(snowy_rows().outside_air_c[UPSET_ROW:])
    assert swing > dimmed.DIM_SHARE  # by itself it might be any box in a wind
    _, wet, dim, as_soil, as_outside = looked(snowy_rows())
    begins = (UPSET_DAY + 1) * 24 + 14.7
    assert hours(dim[:, 0])[0] == pytest.approx(begins, abs=0.3)
    assert not (wet | as_soil | as_outside).any()
    assert not dim[:, 1].any()
    rows, sound = snowy_rows(), lived()
    thawed = (UPSET_DAY + 2) * DAY_ROWS
    rows.air_c[thawed:] = sound.air_c[thawed:]
    assert hours(looked(rows)[2][:, 0]) == pytest.approx([begins, begins + 24.0], abs=0.3)


def test_what_all_boxes_do_or_an_open_lid_does_is_no_snow_on_one():
    """Both swing little: the weather. A lid told to be up, and one that warms past the outside: aired."""
    assert not looked(snowy_rows((0, 1)))[2].any()
    rows = snowy_rows()
    lid = np.where((rows.time_s[:, None] >= rows.time_s[UPSET_ROW]) & [True, False], 0.3, 0.0)
    assert not looked(replace(rows, lid=lid))[2].any()
    assert not looked(snowy_rows(above_c=2.5))[2].any()


def test_a_dull_day_tells_nothing_of_the_sun():
    """The outside swings 3 °C, the box 0.9 °C: nobody can say whether snow lies on it."""
    rows = matted_rows()
    rows.outside_air_c[UPSET_ROW:] = 6.0 + 0.3 * (rows.outside_air_c[UPSET_ROW:] - 6.0)
    assert np.ptp(rows.outside_air_c[UPSET_ROW + DAY_ROWS :]) < dimmed.SWING_C
    assert not looked(rows)[2].any()


def test_a_probe_in_the_bed_is_seen_in_the_first_night_and_mended_in_the_next():
    """Five hours after sunset; two nights later, hung up again, it is believed as soon."""
    _, wet, dim, as_soil, as_outside = looked(pressed_rows())
    begins = hours(as_soil[:, 0])[0]
    dusk = UPSET_DAY * 24 + 18.2
    assert begins == pytest.approx(
        dusk + (night_share.AFTER_SUNSET_S / 60.0 + night_share.DARK_MIN) / 60.0, abs=0.3
    )
    assert not as_soil[:, 1].any()
    assert not (wet | dim | as_outside).any()
    rows, sound = pressed_rows(), lived()
    mended = UPSET_ROW + DAY_ROWS
    rows.air_c[mended:] = sound.air_c[mended:]
    assert hours(looked(rows)[3][:, 0]) == pytest.approx([begins, begins + 24.0], abs=0.3)


def test_a_box_as_cold_as_outside_though_shown_shut_is_seen_at_dawn():
    """The morning after, in that box alone; not where nobody shows the lid: that is `lid-loose`."""
    _, wet, dim, as_soil, as_outside = looked(fallen_rows())
    dawn = (UPSET_DAY + 1) * 24 + 5.9
    assert hours(as_outside[:, 0]) == pytest.approx([dawn, DAYS * 24], abs=0.3)
    assert not (wet | dim | as_soil)[:, 0].any()
    assert not as_outside[:, 1].any()
    rows = fallen_rows()
    untold = replace(rows, lid=np.full(rows.lid.shape, np.nan))
    assert not looked(untold)[4].any()
    opened = replace(rows, lid=np.where(rows.time_s[:, None] >= rows.time_s[UPSET_ROW], 0.3, rows.lid))
    assert not looked(opened)[4].any()


def windy_rows(nights, boxes, soil_above_c=4.0):
    """Nights on which the outside stays near the soil and the air of these boxes near the outside."""
    rows = lived()
    for night in nights:
        dark = (rows.time_s >= START_S + night * 86_400 + 17 * 3600) & (
            rows.time_s < START_S + (night + 1) * 86_400 + 7 * 3600
        )
        lane = rows.air_c[dark, 1] - rows.outside_air_c[dark]
        rows.outside_air_c[dark] = rows.soil_c[dark, 0] - soil_above_c
        rows.air_c[dark, 1] = rows.outside_air_c[dark] + np.minimum(lane, 0.4 * soil_above_c)
        for b in boxes:
            rows.air_c[dark, b] = rows.outside_air_c[dark] + 0.05 * soil_above_c
    return rows


def test_wind_that_brings_all_boxes_near_the_outside_is_the_weather():
    """Night after night, and on a night that tells surely: no lid is doubted. One box alone of the two is."""
    for soil_above_c in (4.0, 8.0):
        assert not looked(windy_rows([5, 6], [0, 1], soil_above_c))[4].any()
        dawn = (UPSET_DAY + 1) * 24 + 5.9
        assert hours(looked(windy_rows([5, 6], [0], soil_above_c))[4][:, 0])[0] == pytest.approx(
            dawn, abs=0.3
        )


def test_a_box_by_itself_is_doubted_on_the_second_such_night_unless_the_first_tells_surely():
    """Nobody shows the other's lid, so it is nothing to compare with. Wind of one night is forgotten."""

    def of_north(rows):
        lid = rows.lid.copy()
        lid[:, 1] = np.nan
        return hours(looked(replace(rows, lid=lid))[4][:, 0])

    dawns = [(day + 1) * 24 + 5.9 for day in (5, 6)]
    assert of_north(windy_rows([5], [0, 1])) == []
    assert of_north(windy_rows([4, 6], [0, 1])) == []
    assert of_north(windy_rows([5, 6], [0, 1]))[0] == pytest.approx(dawns[1], abs=0.3)
    assert of_north(windy_rows([5], [0, 1], 8.0))[0] == pytest.approx(dawns[0], abs=0.3)


def test_a_night_hardly_colder_than_the_soil_tells_nothing():
    """Soil 2 °C above the outside: the air near it is no sign."""
    rows = pressed_rows()
    rows.outside_air_c[UPSET_ROW:] = rows.soil_c[UPSET_ROW:, 0] - 2.0
    assert not looked(rows)[3].any()


@pytest.mark.parametrize("upset", [watered_rows, matted_rows, pressed_rows, fallen_rows])
def test_no_cut_shows(upset):
    """Whole days, or cut anywhere: the same rows and the same memory to the last bit."""
    rows = upset()
    cuts = np.random.default_rng(4).integers(1, len(rows), 60).tolist()
    for a, b in zip(looked(rows), looked(rows, cuts=cuts), strict=True):
        _same(a, b)


def test_rows_closer_than_a_minute_are_thinned_and_no_cut_shows():
    """On a grid of 20 s the same is found at the same minutes, row by row too."""
    minute = looked(pressed_rows())
    fine = _every(pressed_rows(), 3)
    whole = looked(fine, step_s=20)
    np.testing.assert_array_equal(whole[3][::3], minute[3])
    near = int(np.argmax(whole[3][:, 0]))
    for a, b in zip(whole, looked(fine, step_s=20, cuts=range(near - 40, near + 40)), strict=True):
        _same(a, b)


def test_boxes_that_remain_keep_what_is_known_of_them():
    """A box is added in front: the other's usual nights and its pressed probe stay."""
    watch, *_ = looked(pressed_rows())
    day = day_of(GARDEN, date(2026, 3, 28))
    rows = lived().cut(0, 1)
    rows = replace(rows, time_s=np.array([START_S + DAYS * 86_400]))
    after, found = look_for_upsets(watch, rows, boxes=("new", "north"), day=day, step_s=60)
    np.testing.assert_array_equal(after.night.shares[:, 1], watch.night.shares[:, 0])
    assert found.as_soil.tolist() == [[False, True]]


def _every(rows, times):
    """The same rows on a grid so many times finer, each value held."""
    values = {f.name: np.repeat(getattr(rows, f.name), times, axis=0) for f in fields(PlaceRows)}
    step_s = 60 // times
    values["time_s"] = values["time_s"] + np.tile(step_s * np.arange(times), len(rows))
    return PlaceRows(**values)


def _same(a, b):
    if is_dataclass(a):
        for f in fields(a):
            _same(getattr(a, f.name), getattr(b, f.name))
    elif isinstance(a, np.ndarray):
        np.testing.assert_array_equal(a, b)
    else:
        assert a == b
