"""FAO-56's own worked examples, then what a box makes of them."""

from datetime import date

import numpy as np
import pytest

from propstick.growing import water


def test_example_2_psychrometric_constant():
    """0.054 kPa/°C at 81.8 kPa."""
    assert water.psychrometric_kpa(81.8) == pytest.approx(0.054, abs=5e-4)


def test_example_17_slope_and_a_month_in_bangkok():
    """0.246 kPa/°C at 30.2 °C; 14.33 MJ, 2 m/s, 4.42 and 2.85 kPa: 5.72 mm a day."""
    assert float(water.vapour_slope_kpa(30.2)) == pytest.approx(0.246, abs=5e-4)
    loss = water.reference_loss_mm(
        14.33, 30.2, wind_m_s=2.0, deficit_kpa=4.42 - 2.85, gamma_kpa=0.0674, soil_mj=0.14
    )
    assert float(loss) == pytest.approx(5.72, abs=0.05)


def test_example_18_a_day_in_brussels():
    """13.28 MJ, 16.9 °C, 2.078 m/s, 1.997 and 1.409 kPa: 3.9 mm."""
    loss = water.reference_loss_mm(13.28, 16.9, wind_m_s=2.078, deficit_kpa=1.997 - 1.409, gamma_kpa=0.0666)
    assert float(loss) == pytest.approx(3.9, abs=0.05)


def _box(**changes):
    day = {
        "outside_high_c": np.array([12.0]), "outside_low_c": np.array([2.0]),
        "inside_mean_c": np.array([11.0]), "latitude_deg": 50.0,
    }  # fmt: skip
    return float(water.box_loss_mm(np.array([100.0]), **{**day, **changes})[0])


def test_a_box_loses_more_in_the_sun_and_less_under_thicker_glass_or_in_shade():
    assert _box(outside_high_c=np.array([20.0])) > _box() > _box(glazing="double-glass") > 0.0
    assert _box(spot_share=0.5) == pytest.approx(0.5 * _box())


def test_a_bright_april_day_lifts_a_millimetre_or_two():
    """Grass outside loses 2 to 3 mm on such a day at 50° N; glass and still air leave about half."""
    assert 0.8 < _box() < 2.2


def test_the_reminder_comes_when_what_the_bed_holds_is_gone():
    since = date(2026, 4, 1)
    some = water.water_lost(np.full(5, 1.5), since=since, was_told=True)
    much = water.water_lost(np.full(12, 1.5), since=since, was_told=True)
    assert not some.is_due
    assert much.is_due
    assert much.words().startswith("look whether it is dry: about 16 mm lost (9 to 23) since 1 April")


def test_a_seedbed_is_dry_sooner():
    few = np.full(4, 1.5)
    since = date(2026, 4, 1)
    assert water.water_lost(few, since=since, was_told=True, has_seedlings=False).is_due
    assert not water.water_lost(few, since=since, was_told=True).is_due


def test_weeks_without_a_word_of_watering_are_not_reckoned_on():
    lost = water.water_lost(np.full(40, 2.0), since=date(2026, 3, 1), was_told=False)
    assert "cannot be reckoned" in lost.words()


def test_days_without_temperatures_count_as_the_others_and_none_as_nothing():
    half = water.water_lost(np.array([2.0, np.nan]), since=date(2026, 4, 1), was_told=True)
    assert half.lost_mm == pytest.approx(4.0 * 0.5 * (water.LOW_SHARE + water.HIGH_SHARE))
    assert half.share_known == 0.5
    assert water.water_lost(np.array([np.nan]), since=date(2026, 4, 1), was_told=True) is None
