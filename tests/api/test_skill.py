"""The forecasts' record: every figure against the same one worked out here from what was issued."""

from datetime import date

import numpy as np
import pytest

from propstick.engine.nights import night_of


def test_night_forecasts_are_judged_by_what_came_after_them(rig, client):
    """Mean absolute error and share inside, from single readings between issue and the night's end."""
    site = rig.site()
    rows = {row["forecast"]: row for row in client.get("/v1/skill").json()["skill"]}
    night = night_of(site.garden.site, date(2026, 4, 12))
    probes = {"north": ("na", 0.5), "lane": ("node1/air", 0.0), "outside": ("oa", 0.0)}
    errors, inside = [], []
    for f in site.journal.issued("nights", 0, 2**33):
        if night.issue_hour(f.issued_s) < 3:
            continue
        probe, correction = probes[f.box]
        first_s = -(-f.issued_s // 3600) * 3600
        last_s = night.end_s // 3600 * 3600
        if first_s >= last_s:
            continue
        low = site.readings.columns(first_s * 1000, last_s * 1000, probes=[probe]).raw.min() + correction
        errors.append(abs(f.min_c - low))
        inside.append(f.low_c <= low <= f.high_c)
    row = rows["night minimum, later in the night"]
    assert row["count"] == len(errors) > 10
    assert row["error_c"] == pytest.approx(np.mean(errors), abs=0.01)
    assert row["inside_90"] == pytest.approx(np.mean(inside), abs=0.001)


def test_without_a_night_before_nothing_is_called_better(client):
    """One night only: the plain method has nothing to say, so no comparison is claimed."""
    for row in client.get("/v1/skill").json()["skill"]:
        if row["forecast"].startswith("night"):
            assert row["plain_error_c"] is None
            assert row["is_better"] is None


def test_a_stretch_without_forecasts_has_none(client):
    """An empty list, not a fault."""
    found = client.get("/v1/skill?from=2025-01-01&to=2025-02-01").json()
    assert found["skill"] == []
    assert found["heat"]["lead_minutes_median"] is None


@pytest.mark.parametrize("query", ["from=0001-01-01", "to=9999-12-31", "from=2026-04-13&to=2026-04-12"])
def test_a_stretch_that_cannot_be_is_refused(client, query):
    """422."""
    assert client.get(f"/v1/skill?{query}").status_code == 422
