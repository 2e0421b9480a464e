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


def test_what_a_bed_holds_is_fao_s_share_of_what_loam_holds():
    """Onion, lettuce, radish 0.30, spinach 0.20 at 5 mm a day (FAO-56 Table 22), 0.04 more for each mm less
    (its note), 0.1 to 0.8; loam 1.5 to 2.3 inches a foot (University of California, Davis)."""
    inch_a_foot = 25.4 / 0.3048
    assert 1.5 * inch_a_foot < water.LOAM_MM_M < 2.3 * inch_a_foot
    whole = water.LOAM_MM_M * water.ROOTS_M
    assert water.holds_mm(0.30, 5.0) == pytest.approx(0.30 * whole)
    assert water.holds_mm(0.30, 1.5) == pytest.approx(0.44 * whole)
    assert water.holds_mm(0.20, 8.0) == pytest.approx(0.10 * whole)
    assert water.holds_mm(0.50, -10.0) == pytest.approx(0.80 * whole)


def test_the_thirstiest_crop_of_the_table_is_published(crops):
    """FAO-56 Table 22, typed again from pyfao56's copy."""
    published = {
        "broccoli": 0.45, "cabbage": 0.45, "carrot": 0.35, "cauliflower": 0.45, "celery": 0.20,
        "lettuce": 0.30, "onion": 0.30, "spinach": 0.20, "radish": 0.30, "beet": 0.50, "parsnip": 0.40,
        "turnip": 0.50, "pea": 0.35,
    }  # fmt: skip
    assert {name: crops[name].depletion for name in published} == published
    assert crops["rocket"].depletion == crops["radish"].depletion
    assert crops["parsley"].depletion is None


def test_a_spinach_bed_is_dry_before_a_cabbage_bed():
    daily, since = np.full(8, 1.5), date(2026, 4, 1)
    assert water.water_lost(daily, since=since, was_told=True, depletion=0.20).is_due
    assert not water.water_lost(daily, since=since, was_told=True, depletion=0.45).is_due


def test_an_interval_of_nothing_is_not_printed():
    one = water.water_lost(np.array([1.1]), since=date(2026, 4, 1), was_told=True)
    assert one.words() == "about 1 mm lost since 1 April"


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
