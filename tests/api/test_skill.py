"""The forecasts' record: every figure against the same one worked out here from what was issued."""

from datetime import date

import numpy as np
import pytest

from propstick.app.replay.run import report_of, run
from propstick.engine.nights import night_of
from propstick.engine.pipeline import begin


def test_night_forecasts_are_judged_by_what_came_after_them(rig, client):
    """Mean absolute error and share inside, from single readings between issue and the night's end."""
    site = rig.site()
    rows = {row["forecast"]: row for row in client.get("/v1/skill").json()["skill"]}
    night = night_of(site.garden.site, date(2026, 4, 12))
    probes = {"north": ("na", 0.5), "lane": ("node1/air", 0.0)}
    errors, inside = [], []
    for f in site.journal.issued("nights", 0, 2**33):
        if night.issue_hour(f.issued_s) < 3 or f.box not in probes:
            continue
        probe, correction = probes[f.box]
        since_ms, until_ms = max(f.issued_s, night.start_s) * 1000 - 59_999, night.end_s * 1000 + 1
        low = site.readings.columns(since_ms, until_ms, probes=[probe]).raw.min() + correction
        errors.append(abs(f.min_c - low))
        inside.append(f.low_c <= low <= f.high_c)
    row = rows["night minimum, later in the night"]
    assert row["count"] == len(errors) > 10
    assert row["error_c"] == pytest.approx(np.mean(errors), abs=0.01)
    assert row["inside_90"] == pytest.approx(np.mean(inside), abs=0.001)


def test_one_night_is_too_few_to_call_anything_better(client):
    """No comparison is claimed, and that is said in words."""
    rows = [row for row in client.get("/v1/skill").json()["skill"] if row["forecast"].startswith("night")]
    assert rows
    assert all(row["is_better"] is None and row["verdict"].startswith("too few") for row in rows)


def test_the_watch_and_a_replay_of_its_readings_give_the_same_marks(rig, client):
    """What was issued live is what the same readings give again; the store rounds chances to a thousandth."""
    site = rig.site()
    readings = site.readings.columns(0, 2**43)
    span = {"from_s": int(readings.time_ms[0]) // 1000, "to_s": rig.row_s}
    state, said, flagged = run(begin(site.garden), readings, (), **span)
    again = {
        (row["forecast"], row.get("plain")): row
        for row in report_of(said, state, flagged, covers=(), **span).skill
    }
    issued = site.journal.issued("nights", 0, 2**33)
    assert [(f.box, f.issued_s, f.min_c) for f in issued] == [
        (f.box, f.issued_s, round(f.min_c, 2)) for f in sorted(said.all("nights"), key=_by_issue)
    ]
    stored = client.get("/v1/skill").json()["skill"]
    assert len(stored) == len(again) > 3
    for row in stored:
        mine = again[row["forecast"], row.get("plain")]
        for key in row.keys() - {"reliability"}:
            is_figure = isinstance(mine[key], float)
            assert row[key] == (pytest.approx(mine[key], abs=0.011) if is_figure else mine[key]), key


def _by_issue(forecast):
    return forecast.issued_s, forecast.box


def test_a_stretch_without_forecasts_has_none(client):
    """An empty list, not a fault."""
    assert client.get("/v1/skill?from=2025-01-01&to=2025-02-01").json()["skill"] == []


@pytest.mark.parametrize("query", ["from=0001-01-01", "to=9999-12-31", "from=2026-04-13&to=2026-04-12"])
def test_a_stretch_that_cannot_be_is_refused(client, query):
    """422."""
    assert client.get(f"/v1/skill?{query}").status_code == 422
