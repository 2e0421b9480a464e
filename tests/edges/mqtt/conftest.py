"""Watches and nodes on a real broker: Debian's mosquitto on loopback."""

import pytest
from tests.edges.mqtt.talk import NUMBERS, TIME_S

from propstick.edges.mqtt import Broker


@pytest.fixture(params=["5", "3.1.1"])
def version(request) -> str:
    return request.param


@pytest.fixture
def make_broker(broker_home):
    """Started brokers, each with a session of its own; stopped afterwards."""
    made: list[Broker] = []

    def make(**more) -> Broker:
        settings = broker_home.access(**{"client_id": f"watch-{next(NUMBERS)}", **more})
        broker = Broker(settings, "plot", now_s=lambda: TIME_S)
        broker.start()
        made.append(broker)
        assert broker.wait_connected(10), broker.trouble()
        return broker

    yield make
    for broker in made:
        broker.stop()


@pytest.fixture
def make_node(broker_home):
    """Connected nodes; disconnected afterwards."""
    made = []

    def make(name="shed", **more):
        made.append(broker_home.node(name, **more))
        return made[-1]

    yield make
    for client in made:
        client.disconnect()
        client.loop_stop()
