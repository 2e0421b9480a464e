"""The metrics, read by the parser of the format's own library (OpenMetrics 1.0)."""

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from propstick_api.live import Health
from propstick_api.metrics import metrics_of


def _samples(text):
    assert text.endswith("# EOF\n")
    return {
        (sample.name, *sorted(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_the_last_row_is_there_with_its_age(client):
    """Values, limits, lids, open alarms, the row's time; what is not known is left out."""
    answer = client.get("/metrics")
    assert answer.headers["content-type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
    found = _samples(answer.text)
    assert found["propstick_temperature_celsius", "air", "north"] == pytest.approx(0.62)
    assert found["propstick_limit_celsius", "frost", "north"] == 1.0
    assert found["propstick_row_timestamp_seconds",] == 1_776_066_900
    assert found["propstick_watch_up",] == 1
    assert found["propstick_alarms", "frost", "north", "unacknowledged"] == 1
    assert ("propstick_temperature_celsius", "lane", "soil") not in found


def test_a_late_watch_is_down(rig, client):
    """What an alert of one's own would look at."""
    rig.clock.advance(86_400)
    assert _samples(client.get("/metrics").text)["propstick_watch_up",] == 0


def test_before_the_first_row_there_is_still_an_answer():
    """Down, and nothing else to say."""
    text = metrics_of(None, Health("not-started", "", None, None, 60), streams=0).decode()
    assert _samples(text) == {("propstick_watch_up",): 0, ("propstick_streams",): 0}
