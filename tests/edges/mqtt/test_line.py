"""Sites that share a connection, on a real broker: each hears its own, and what stands is told for each."""

import itertools
import json
import threading

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from propstick.edges.mqtt import Broker
from propstick.edges.mqtt_client import connect, make_client
from propstick.edges.mqtt_line import Line

pytestmark = [pytest.mark.broker, pytest.mark.slow]

TIME_S = 1_784_000_000
NUMBERS = itertools.count()


@pytest.fixture
def together(broker_home):
    """Sites on one line, started; stopped afterwards."""
    made: list[Broker] = []

    def make(*sites, **more) -> list[Broker]:
        settings = broker_home.access(**{"client_id": f"line-{next(NUMBERS)}", **more})
        line = Line(settings, sites)
        sides = [Broker(settings, site, now_s=lambda: TIME_S, line=line) for site in sites]
        made.extend(sides)
        for side in sides:
            side.start()
        return sides

    yield make
    for side in made:
        side.stop()


@pytest.fixture
def told(broker_home, until):
    """Everything under `propstick/` as a listener is told it, topic → payload; kept up to date."""
    heard: dict[str, str] = {}
    ready = threading.Event()
    client = make_client(broker_home.access(), f"listener-{next(NUMBERS)}")
    client.on_message = lambda c, u, m: (heard.update({m.topic: m.payload.decode()}), c.ack(m.mid, m.qos))
    client.on_connect = lambda c, *_: c.subscribe("propstick/#", 1)
    client.on_subscribe = lambda *_: ready.set()
    connect(client, broker_home.access(), keep_session=False)
    client.loop_start()
    assert ready.wait(10)
    yield heard
    client.disconnect()
    client.loop_stop()


def say(client, site, value):
    pack = json.dumps([{"n": "air", "v": value, "t": TIME_S}])
    client.publish(f"propstick/{site}/readings/shed", pack, qos=1).wait_for_publish(10)


@pytest.fixture
def node(broker_home, until):
    """May write for both sites: it has the watch's own password."""
    client = make_client(broker_home.access(), f"node-{next(NUMBERS)}")
    connect(client, broker_home.access(), keep_session=False)
    client.loop_start()
    assert until(client.is_connected)
    yield client
    client.disconnect()
    client.loop_stop()


def values(side, until):
    found = []
    assert until(lambda: found.extend(side.take()) or found)
    return [reading.value for reading in found]


def fall_dead(side):
    link = side._line.client.socket()
    side._line.client.loop_stop()
    link.close()


def test_each_site_takes_and_acknowledges_its_own(together, node, until):
    """One commits, the other dies before its commit: only the other's comes again to the next life."""
    orchard, plot = together("orchard", "plot", client_id="shared")
    assert orchard.wait_connected(10)
    assert plot.wait_connected(10)
    assert orchard._line.client is plot._line.client
    say(node, "plot", 1.0)
    say(node, "orchard", 2.0)
    assert values(plot, until) == [1.0]
    assert values(orchard, until) == [2.0]
    plot.committed()
    fall_dead(plot)
    orchard, plot = together("orchard", "plot", client_id="shared")
    assert values(orchard, until) == [2.0]
    say(node, "plot", 3.0)
    assert values(plot, until) == [3.0]


def test_all_may_wait_for_their_rows_at_once(together, node, until):
    """A connection of two sites takes what two of one would have taken unacknowledged (200 each)."""
    orchard, plot = together("orchard", "plot")
    assert plot.wait_connected(10)
    for k in range(190):
        for site in ("orchard", "plot"):
            node.publish(
                f"propstick/{site}/readings/shed", f'[{{"n": "air", "v": {k}, "t": {TIME_S}}}]', qos=1
            )
    assert until(lambda: len(plot._waiting) == len(orchard._waiting) == 190)


def test_the_will_is_the_first_sites_and_the_others_name_it(together, told, until):
    """A connection has one will. Whoever watches another site's topic is told where it stands."""
    plot, _orchard = together("plot", "orchard")
    top = "propstick/orchard/watch"
    assert until(lambda: told.get(top) == told.get("propstick/plot/watch") == "on")
    assert until(lambda: told.get("propstick/plot/watch/by") == top)
    assert not told.get("propstick/orchard/watch/by")
    fall_dead(plot)
    assert until(lambda: told[top] == "off")
    assert told["propstick/plot/watch"] == "on"


def test_one_that_leaves_says_off_for_itself_and_the_others_stay(together, told, node, until):
    """Only with the last one does the line hang up."""
    orchard, plot = together("orchard", "plot")
    assert until(lambda: told.get("propstick/plot/watch/by"))
    plot.stop()
    assert until(lambda: told["propstick/plot/watch"] == "off")
    assert until(lambda: told["propstick/plot/watch/by"] == "")
    assert told["propstick/orchard/watch"] == "on"
    say(node, "orchard", 4.0)
    assert values(orchard, until) == [4.0]
    orchard.stop()
    assert until(lambda: told["propstick/orchard/watch"] == "off")


def test_a_site_the_broker_refuses_does_not_deafen_the_others(broker_home):
    """One reason for each topic that was asked for, in that order (MQTT v5, 3.9.3)."""
    plain = broker_home.access(port=1)
    line = Line(plain, ["orchard", "plot"])
    orchard, plot = (Broker(plain, site, line=line) for site in ("orchard", "plot"))
    line._asked[7] = [orchard, orchard, plot, plot]
    granted, refused = (ReasonCode(PacketTypes.SUBACK, identifier=code) for code in (1, 135))
    line._on_subscribe(line.client, None, 7, [granted, granted, granted, refused], None)
    assert orchard.trouble() == ""
    assert plot.trouble() == "the broker does not let us listen: Not authorized"


def test_what_comes_for_a_site_of_an_earlier_life_is_let_go(together, node, until):
    """The session still listens for a site that has moved to another daemon: nothing may pile up."""
    orchard, plot = together("orchard", "plot", client_id="moved")
    assert plot.wait_connected(10)
    orchard.stop(), plot.stop()
    say(node, "plot", 6.0)
    (orchard,) = together("orchard", client_id="moved")
    assert until(lambda: orchard._line.counts["of-another-site"] == 1)
    say(node, "orchard", 7.0)
    assert values(orchard, until) == [7.0]
    assert orchard._line.counts["of-another-site"] == 1


def test_the_name_at_the_broker_is_that_of_the_first_site(broker_home):
    """So two daemons of other sites never have the same, and one that takes over the same sites has."""
    plain = broker_home.access()
    assert Line(plain, ["plot", "orchard"]).client._client_id == b"propstick-orchard"
    assert Line(plain, ["plot"]).client._client_id == b"propstick-plot"
