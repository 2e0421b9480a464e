"""The advice: expected degrees beyond a limit, and what is done about them."""

import pytest
from scipy import integrate, stats

from propstick.engine.advice import CLOSED, OPEN, PROPPED, Prospect, Range, cost, evening, morning


@pytest.mark.parametrize(
    ("mean_c", "half_c", "limit_c"), [(25, 3, 27), (30, 2, 27), (27, 5, 27), (12, 1, 27)]
)
def test_expected_excess_is_the_integral_over_the_normal_density(mean_c, half_c, limit_c):
    """Reference: scipy's numerical integral of max(0, T - limit) under the normal density."""
    forecast = Range(mean_c, mean_c - half_c, mean_c + half_c)
    density = stats.norm(mean_c, half_c / stats.norm.ppf(0.95))
    above, _ = integrate.quad(lambda t: (t - limit_c) * density.pdf(t), limit_c, mean_c + 40)
    below, _ = integrate.quad(lambda t: (limit_c - t) * density.pdf(t), mean_c - 40, limit_c)
    assert forecast.excess(limit_c) == pytest.approx(above, abs=2e-4)
    assert forecast.shortfall(limit_c) == pytest.approx(below, abs=2e-4)
    assert forecast.chance_above(limit_c) == pytest.approx(density.sf(limit_c), abs=1e-4)


def prospect(closed=None, propped=None, opened=None, **more):
    day = {
        opening: Range(value, value - 3, value + 3)
        for opening, value in ((CLOSED, closed), (PROPPED, propped), (OPEN, opened))
        if value is not None
    }
    return Prospect(heat_c=27, prop_c=24, frost_c=1, day=day, chill=more.pop("chill", {}),
                    night=more.pop("night", {}), **more)  # fmt: skip


def night(closed, covered=None, as_is=None):
    said = {"closed": closed, "covered": covered, "as-is": as_is}
    return {name: Range(v, v - 2, v + 2) for name, v in said.items() if v is not None}


def test_a_scorching_day_is_opened_before_leaving():
    """Propped it would still scorch, so it is opened."""
    choice = morning(prospect(38, 32, 22))
    assert (choice.advice, choice.opening, choice.because) == ("open", OPEN, "heat")
    assert choice.remedy_c == 22


def test_a_warm_day_is_propped_and_a_dull_one_left():
    assert morning(prospect(26, 22, 16)).advice == "prop"
    assert morning(prospect(15, 12, 9, lid=0.0)).advice == "leave"


def test_frost_in_the_stretch_weighs_against_opening():
    """Sun at noon above the limit, but the hand is back only after a frosty dusk: propped, not opened."""
    chill = {CLOSED: Range(3, 2, 4), PROPPED: Range(1.5, 0.5, 2.5), OPEN: Range(-3, -4, -2)}
    mild = morning(prospect(31, 27.5, 19))
    cold = morning(prospect(31, 27.5, 19, chill=chill))
    assert (mild.opening, cold.opening) == (OPEN, PROPPED)


def test_a_wax_arm_opens_it_by_itself():
    choice = morning(prospect(38, 32, 22, arm_opens_c=22))
    assert (choice.advice, choice.because) == ("leave", "arm")


def test_a_lid_already_right_is_left():
    assert morning(prospect(38, 32, 22, lid=1.0)).advice == "leave"


def test_a_lid_left_open_on_a_cold_day_is_closed():
    assert morning(prospect(12, 9, 6, lid=1.0)).advice == "close"


def test_a_frosty_night_is_covered_or_closed():
    """With a blanket: cover. Without: close, if the lid may be open; nothing else helps."""
    cold = night(-2, covered=0.5, as_is=-4)
    assert evening(prospect(night=cold, lid=0.0)).advice == "cover"
    assert evening(prospect(night=cold, lid=0.0)).remedy_c == 0.5
    assert evening(prospect(night=cold, lid=1.0, has_cover=False)).advice == "close"
    assert evening(prospect(night=cold, lid=0.0, has_cover=False)).advice == "leave"


def test_a_mild_night_needs_nothing():
    choice = evening(prospect(night=night(9, as_is=8), lid=0.1))
    assert (choice.advice, choice.because) == ("leave", "calm")


def test_damp_air_is_let_out_when_it_is_not_freezing_outside():
    assert morning(prospect(12, 10, 9, lid=0.0, damp=True, outside_c=6.0)).advice == "air"
    assert morning(prospect(12, 10, 9, lid=0.0, damp=True, outside_c=2.0)).advice == "leave"


def test_without_a_forecast_nothing_is_invented():
    choice = morning(prospect())
    assert (choice.advice, choice.because, choice.value_c) == ("leave", "unknown", None)


def test_cost_counts_frost_twice():
    """A degree below the frost limit costs as much as two above the heat limit."""
    sharp = Range(0.0, -0.01, 0.01)
    frozen = prospect(20, chill={CLOSED: sharp})
    scorched = prospect(29)
    assert cost(frozen, CLOSED) == pytest.approx(2.0, abs=0.1)
    assert cost(scorched, CLOSED) == pytest.approx(2.0, abs=0.3)
