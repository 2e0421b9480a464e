"""Facts of the trade, common practice, no source; on boxes simulated under measured weather.

What the computation gives is printed, and where it disagrees the disagreement is what is checked.
"""

from dataclasses import replace
from datetime import UTC, datetime
from importlib.resources import files

import numpy as np
import pytest

from propstick.app.season.report import season_report
from propstick.garden import Obstacle
from propstick.growing.crops import crop_table
from propstick.growing.emergence import rate_per_day
from propstick.growing.warmth import degree_days

pytestmark = pytest.mark.slow


def crop(name):
    return crop_table(files("propstick.growing").joinpath("crops.toml").read_text("utf-8"))[name]


def days_up(soil_c, table):
    """Days from the first minute of `soil_c` until the rates add up to one."""
    done = np.cumsum(rate_per_day(table, soil_c)) / 1440.0
    return float(np.searchsorted(done, 1.0)) / 1440.0


def test_seed_under_glass_comes_up_about_twice_as_fast_as_beside_it(world):
    """Common practice, no source. Found: 1.4 to 1.7 times, less than the saying."""
    module, traces = world
    begin = int(np.searchsorted(traces.time_s, datetime(2013, 3, 1, tzinfo=UTC).timestamp()))
    ratios = {}
    for name in ("lettuce", "radish", "spinach", "onion"):
        table = crop(name).emergence
        beside = days_up(traces.outside_soil_c[begin:], table)
        ratios[name] = [beside / days_up(traces.soil_c[begin:, k], table) for k in range(3)]
        print(
            f"{name}: beside {beside:.1f} days, faster under glass x", np.round(ratios[name], 2), module.BOXES
        )
    every = np.array(list(ratios.values()))
    assert (every > 1.1).all()
    assert every.max() < 3.0


def test_a_layer_of_glass_puts_a_bed_about_a_month_ahead(spring):
    """Common practice, no source (extension pages say two weeks to three months)."""
    evening_s = int(datetime(2013, 4, 10, 18, tzinfo=UTC).timestamp())
    report = season_report(spring.store, spring.garden, evening_s)
    later = {one.box: one.head_start.later_d for one in report.boxes}
    print("as warm as open ground so many days later:", {k: round(v) for k, v in later.items()})
    assert all(7 <= days <= 60 for days in later.values())
    assert later["pump"] > later["north"]


def test_nights_of_3_to_7_degrees_slow_cool_season_crops_but_do_not_stop_them():
    """Common practice, no source."""
    hours = np.arange(24 * 60)
    for night in (3.0, 5.0, 7.0):
        air = np.where((hours % 24 >= 8) & (hours % 24 < 20), 14.0, night)
        warm = np.full(len(hours), 14.0)
        for name in ("lettuce", "radish", "spinach", "pea"):
            table = crop(name).emergence
            slow = np.cumsum(rate_per_day(table, air))[-1] / np.cumsum(rate_per_day(table, warm))[-1]
            assert 0.4 < slow < 0.85
        growth = degree_days(air).sum() / degree_days(warm).sum()
        print(f"nights of {night:g} °C: growth at {growth:.0%} of what it is without them")
        assert 0.4 < growth < 0.9


def test_a_box_in_full_sun_scorches_on_days_on_which_one_in_part_shade_does_not(world):
    """Common practice, no source; two like boxes, both left shut for a fortnight in April."""
    module, _ = world
    made = module.weather(first=datetime(2013, 4, 6, tzinfo=UTC), last=datetime(2013, 4, 20, tzinfo=UTC))
    shade = (Obstacle(bearing_from_deg=110.0, bearing_to_deg=215.0, height_deg=60.0),)
    open_spec = module.SPECS[0]
    traces = module.live(
        made, np.zeros((1, 2)), (open_spec, replace(open_spec, name="shaded", obstacles=shade))
    )
    days = len(made) // 1440
    highs = traces.air_c[: days * 1440].reshape(days, 1440, 2).max(axis=1)
    scorch = highs > 35.0
    print("days above 35 °C in full sun and in part shade:", scorch.sum(axis=0).tolist(), "of", days)
    assert (scorch[:, 0] & ~scorch[:, 1]).sum() >= 2
    assert not (scorch[:, 1] & ~scorch[:, 0]).any()
