"""Packs and requests as readings and wishes, and packs that came before."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propstick.blocks import Flag
from propstick.edges.mqtt_payloads import (
    LARGEST_PACK_BYTES,
    MOST_NODES,
    MOST_PROBES,
    PackDesk,
    node_name,
    request_of,
)
from propstick.errors import InputError
from propstick.records import Reading

ARRIVAL_MS = 1_784_000_000_123


def pack(*records: dict) -> bytes:
    return json.dumps(records).encode()


def test_a_pack_with_times_makes_readings_of_its_node():
    """Probe ids are `<node>/<name>`; a base name that is the node itself is not doubled."""
    payload = pack(
        {"bn": "shed/", "bt": 1_784_000_000, "n": "air", "u": "Cel", "v": 12.25}, {"n": "soil", "v": 8}
    )
    assert PackDesk().readings("shed", payload, arrival_ms=ARRIVAL_MS) == (
        Reading("shed/air", 1_784_000_000_000, 12.25),
        Reading("shed/soil", 1_784_000_000_000, 8.0),
    )


def test_a_node_cannot_speak_for_another():
    """Whatever it writes into the name, the probe is its own."""
    found = PackDesk().readings("shed", pack({"n": "lane/air", "v": 1}), arrival_ms=ARRIVAL_MS)
    assert [r.probe for r in found] == ["shed/lane/air"]


def test_times_without_a_date_count_from_arrival():
    """A node that knows only how long ago it measured."""
    payload = pack({"n": "counter", "v": 7}, {"n": "air", "v": 4, "t": -30})
    assert PackDesk().readings("shed", payload, arrival_ms=ARRIVAL_MS) == (
        Reading("shed/air", ARRIVAL_MS - 30_000, 4.0),
    )


def test_a_double_falls_by_node_and_counter():
    """The broker delivers at least once; the second delivery would get another time."""
    desk = PackDesk()
    payload = pack({"n": "counter", "v": 7}, {"n": "air", "v": 4})
    assert desk.readings("shed", payload, arrival_ms=ARRIVAL_MS)
    assert desk.readings("shed", payload, arrival_ms=ARRIVAL_MS + 90_000) is None
    assert desk.readings("lane", payload, arrival_ms=ARRIVAL_MS)
    assert desk.readings("shed", pack({"n": "counter", "v": 8}, {"n": "air", "v": 4}), arrival_ms=ARRIVAL_MS)


def test_a_node_that_restarts_its_counter_is_heard():
    """It counts from 0 again; another content makes another pack."""
    desk = PackDesk()
    for value in (4.0, 5.0):
        assert desk.readings("shed", pack({"n": "counter", "v": 0}, {"n": "air", "v": value}), arrival_ms=0)


def test_doubles_are_known_in_the_next_life():
    """What was taken is given on as plain text."""
    first = PackDesk()
    payload = pack({"n": "counter", "v": 7}, {"n": "air", "v": 4})
    first.readings("shed", payload, arrival_ms=ARRIVAL_MS)
    kept = json.loads(json.dumps(first.seen()))
    assert PackDesk(kept).readings("shed", payload, arrival_ms=ARRIVAL_MS + 1) is None


def test_memory_of_packs_is_bounded():
    """However many nodes and packs."""
    desk = PackDesk()
    for k in range(MOST_NODES + 50):
        desk.readings(f"node{k}", pack({"n": "counter", "v": k}, {"n": "air", "v": 4}), arrival_ms=0)
    for k in range(500):
        desk.readings("busy", pack({"n": "counter", "v": k}, {"n": "air", "v": 4}), arrival_ms=0)
    assert len(desk.seen()) == MOST_NODES
    assert len(desk.seen()["busy"]) == 64


def test_a_node_cannot_invent_probes_without_end():
    """Its first names stay good."""
    desk = PackDesk()
    for k in range(MOST_PROBES):
        assert desk.readings("shed", pack({"n": f"p{k}", "v": 1}), arrival_ms=0)
    with pytest.raises(InputError, match="names"):
        desk.readings("shed", pack({"n": "one-more", "v": 1}), arrival_ms=0)
    assert desk.readings("shed", pack({"n": "p0", "v": 2}), arrival_ms=0)
    assert desk.readings("lane", pack({"n": "one-more", "v": 1}), arrival_ms=0)


def test_nodes_invented_without_end_are_forgotten_in_turn():
    """Packs with times of their own too. Whoever goes on sending stays known by its names."""
    desk = PackDesk()
    for k in range(2 * MOST_NODES):
        desk.readings(f"node{k}", pack({"n": "air", "v": 4}), arrival_ms=0)
        desk.readings("shed", pack({"n": f"p{k % MOST_PROBES}", "v": 1}), arrival_ms=0)
    assert len(desk._names) == MOST_NODES
    with pytest.raises(InputError, match="names"):
        desk.readings("shed", pack({"n": "one-more", "v": 1}), arrival_ms=0)


@pytest.mark.parametrize(
    ("record", "expected"),
    [
        ({"u": "Cel", "v": -0.5}, (-0.5, 0)),
        ({"u": "%RH", "v": 81}, (81.0, 0)),
        ({"u": "/", "v": 0.1}, (0.1, 0)),
        ({"u": "K", "v": 273.15}, (0.0, 0)),
        ({"vb": True}, (1.0, 0)),
        ({"vb": False}, (0.0, 0)),
        ({"u": "Pa", "v": 101325}, (None, Flag.NOT_A_NUMBER)),
        ({"u": "Cel", "v": 1e9}, (None, Flag.NOT_A_NUMBER)),
        ({"vs": "warm"}, (None, Flag.NOT_A_NUMBER)),
    ],
)  # fmt: skip
def test_units_and_kinds_of_value(record, expected):
    """Units of RFC 8428's registry; what we do not read is kept as a flagged reading."""
    (reading,) = PackDesk().readings("shed", pack({"n": "x", **record}), arrival_ms=ARRIVAL_MS)
    assert (reading.value, reading.flags) == expected


@pytest.mark.parametrize(
    "payload",
    [
        b"", b"\x00", b"[]", b"{}", b"21.5", pack({"n": "air"}),
        pack({"n": "counter", "v": 1.5}, {"n": "a", "v": 1}),
        pack({"n": "counter", "vs": "x"}, {"n": "a", "v": 1}), b"[" + b" " * LARGEST_PACK_BYTES + b"]",
        pack(*[{"n": "a", "v": 1}] * 257),
    ],
)  # fmt: skip
def test_wrong_packs_are_refused(payload):
    """With the one error everybody expects."""
    with pytest.raises(InputError):
        PackDesk().readings("shed", payload, arrival_ms=ARRIVAL_MS)


@pytest.mark.parametrize("name", ["", "a/b", "#", "+", "shed\n", "x" * 41, "-a"])
def test_a_node_name_fits_a_topic(name):
    """No wildcard, no line end."""
    with pytest.raises(InputError):
        node_name(name)


def test_a_request_is_a_kind_and_a_body():
    """As the watch's news desk takes it."""
    payload = b'{"kind": "lid", "box": "north", "opening": 0.1}'
    assert request_of(payload) == ("lid", {"box": "north", "opening": 0.1})


@pytest.mark.parametrize(
    "payload", [b"", b"[]", b"\xff", b'{"kind": "erase"}', b'{"kind": ["lid"]}', b"{}", b"[" * 5000, b'"lid"']
)
def test_wrong_requests_are_refused(payload):
    """Only what may be asked for from afar."""
    with pytest.raises(InputError):
        request_of(payload)


@given(st.one_of(st.binary(max_size=60), st.from_regex(r'\{"kind": .{0,20}\}').map(str.encode)))
def test_nothing_but_input_error_comes_out_of_a_request(payload):
    """Whoever may write there may write anything."""
    try:
        kind, body = request_of(payload)
    except InputError:
        return
    assert isinstance(kind, str)
    assert isinstance(body, dict)
