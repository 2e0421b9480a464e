"""The season: sums from the store's hours, checked against the same sums from single readings."""

import numpy as np
import pytest

SPAN = {"from": "2026-04-12", "to": "2026-04-13", "base_c": 4}


def _hourly_means(rig, probe, correction=0.0):
    """Means of each hour of the two days, from every reading; hour 0 is midnight in Dublin."""
    midnight_ms = 1_775_948_400_000  # 2026-04-11T23:00:00Z
    columns = rig.site().readings.columns(midnight_ms, midnight_ms + 2 * 86_400_000, probes=[probe])
    hour = (columns.time_ms - midnight_ms) // 3_600_000
    return {int(h): float(np.mean(columns.raw[hour == h])) + correction for h in np.unique(hour)}


def test_warmth_is_degree_days_above_the_base(rig, client):
    """The plain sum of hourly means above the base, over 24; an hour not watched adds nothing."""
    season = client.get("/v1/season", params=SPAN).json()
    north = season["boxes"][0]
    means = _hourly_means(rig, "na", 0.5)
    for day in (0, 1):
        expected = sum(max(v - 4.0, 0.0) for h, v in means.items() if h < 24 * (day + 1)) / 24
        assert north["warmth"][day] == pytest.approx(expected, abs=0.01)
    assert north["hours_known"] == len(means)
    assert north["warmth"][1] > season["outside"]["warmth"][1]


def test_cold_is_counted_below_the_crops_limit(rig, client):
    """Degree hours of north below its 1 °C."""
    north = client.get("/v1/season", params=SPAN).json()["boxes"][0]
    expected = sum(max(1.0 - v, 0.0) for v in _hourly_means(rig, "na", 0.5).values())
    assert expected > 0
    assert north["too_cold_degree_hours"] == pytest.approx(expected, abs=0.06)
    assert north["too_hot_degree_hours"] == 0


def test_a_night_that_froze_outside_only_was_saved(client):
    """Lane stayed 4 °C above the open ground: at its limit; north went below its own."""
    north, lane = client.get("/v1/season", params=SPAN).json()["boxes"]
    assert (north["nights_saved"], north["nights_below_limit"]) == (0, 1)
    assert (lane["nights_saved"], lane["nights_below_limit"]) == (1, 0)


def test_sowings_are_points_on_the_curve(client):
    """Warmth at sowing and since; one sown before the stretch has no point."""
    season = client.get("/v1/season", params=SPAN).json()
    lettuce, radish = season["sowings"]
    assert lettuce["warmth_at_sowing"] is None
    assert radish["warmth_at_sowing"] == 0
    assert radish["warmth_since"] == season["outside"]["warmth"][-1]


def test_warnings_that_came_and_did_not(client):
    """Frost of north was foretold; of those foretold later none came."""
    warnings = client.get("/v1/season", params=SPAN).json()["warnings"]
    assert warnings["came"] == 1
    assert warnings["unannounced"] == 0


@pytest.mark.parametrize("query", ["base_c=99", "base_c=nan", "base_c=x", "from=0001-01-01", "to=9999-12-31",
                                   "from=2026-04-13&to=2026-04-12", "from=2000-01-01"])  # fmt: skip
def test_a_season_that_cannot_be_is_refused(client, query):
    """422."""
    assert client.get(f"/v1/season?{query}").status_code == 422


def test_the_outlook_is_the_object_of_the_command(client):
    """`propstick season --json` and the route give one object; a wish out of range is refused."""
    told = client.get("/v1/season/outlook?every_days=10").json()
    assert [one["crop"] for one in told["sowings"]] == ["lettuce", "radish"]
    assert {box["box"] for box in told["boxes"]} == {"north", "lane"}
    assert "less than a day of readings of its place" in told["sowings"][0]["notes"][0]
    assert client.get("/v1/season/outlook?every_days=1").status_code == 422
