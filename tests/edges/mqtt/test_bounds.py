"""Memory that somebody who may publish could fill, without any broker."""

from propstick.app.garden_file.settings import MqttSettings
from propstick.edges.mqtt_line import MOST_COUNTED, Line


def test_topics_invented_without_end_are_counted_together(caplog):
    """The first of them apart; each is still named where it is logged."""
    line = Line(MqttSettings(host="127.0.0.1"), ["plot"])
    for k in range(3 * MOST_COUNTED):
        line.log_once(f"mqtt-wrong-pack topic='propstick/plot/readings/n{k}'", "not SenML")
    line.log_once("mqtt-wrong-pack topic='propstick/plot/readings/n0'", "not SenML")
    assert len(line.counts) == MOST_COUNTED + 1
    assert sum(line.counts.values()) == 3 * MOST_COUNTED + 1
    said = [record.getMessage() for record in caplog.records]
    assert any("n0'" in text and "times=2" in text for text in said)
    assert len(said) < MOST_COUNTED + 20  # of the others the 1st, 2nd, 4th …
