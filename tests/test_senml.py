"""SenML packs: what RFC 8428 prints, what it forbids, and that nothing but InputError ever comes out."""

import json

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from propstick.errors import InputError
from propstick.senml import MOST_RECORDS, SenmlRecord, parse_pack, write_pack

ARRIVAL_MS = 1_784_000_000_000


def test_smallest_pack_of_the_standard():
    """RFC 8428 §5.1.1: one temperature, no time, so it counts from its arrival."""
    pack = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
    assert parse_pack(pack, arrival_ms=ARRIVAL_MS) == (
        SenmlRecord(
            name="urn:dev:ow:10e2073a01080063", unit="Cel", value=23.1, time_ms=ARRIVAL_MS, is_relative=True
        ),
    )


def test_base_fields_resolve_as_in_the_standard():
    """RFC 8428 §5.1.2: base time 2010-06-08T18:01:16.001Z, currents from 5 s before it, in A."""
    pack = (
        '[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,'
        '"n":"voltage","u":"V","v":120.1},'
        '{"n":"current","t":-5,"v":1.2},{"n":"current","v":1.7}]'
    )
    voltage, first, last = parse_pack(pack, arrival_ms=None)
    assert (voltage.name, voltage.unit, voltage.value, voltage.time_ms) == (
        "urn:dev:ow:10e2073a0108006:voltage", "V", 120.1, 1_276_020_076_001,
    )  # fmt: skip
    assert (first.name, first.unit, first.value, first.time_ms) == (
        "urn:dev:ow:10e2073a0108006:current", "A", 1.2, 1_276_020_071_001,
    )  # fmt: skip
    assert (last.time_ms, last.value, last.is_relative) == (1_276_020_076_001, 1.7, False)


def test_base_value_and_sum_are_added_and_later_bases_replace():
    """RFC 8428 §4.6: a base holds until the next one of its kind."""
    pack = (
        '[{"bn":"a","bv":20,"bs":3,"n":".x","v":1.5},{"n":".y","v":-1},'
        '{"bn":"b","bv":0,"n":".x","v":2,"s":1}]'
    )
    found = parse_pack(pack, arrival_ms=0)
    assert [(r.name, r.value, r.sum) for r in found] == [
        ("a.x", 21.5, 3.0),
        ("a.y", 19.0, 3.0),
        ("b.x", 2.0, 4.0),
    ]


@pytest.mark.parametrize(
    ("time_s", "is_relative"), [(2**28 - 1, True), (2**28, False), (-60, True), (0, True)]
)
def test_times_below_2_to_the_28_count_from_arrival(time_s, is_relative):
    """RFC 8428 §4.5.3."""
    (record,) = parse_pack(f'[{{"n":"a","v":1,"t":{time_s}}}]', arrival_ms=ARRIVAL_MS)
    assert record.is_relative is is_relative
    assert record.time_ms == (ARRIVAL_MS if is_relative else 0) + time_s * 1000


@pytest.mark.parametrize(
    ("pack", "words"),
    [
        ('[{"n":"a","v":"12"}]', ["record 1", "field v", "'12'", "a number"]),
        ('[{"n":"a","v":1},{"n":"b","v":true}]', ["record 2", "field v", "True"]),
        ('[{"n":"a","v":1},{"n":5,"v":1}]', ["record 2", "field n", "a text"]),
        ('[{"n":"a b","v":1}]', ["record 1", "field n", "'a b'"]),
        ('[{"v":1}]', ["record 1", "field n"]),
        ('[{"n":"-a","v":1}]', ["record 1", "field n"]),
        ('[{"n":"a","v":1,"vs":"x"}]', ["record 1", "field vs", "one value"]),
        ('[{"n":"a"}]', ["record 1", "no value"]),
        ('[{"n":"a","v":1,"must_":0}]', ["record 1", "field must_"]),
        ('[{"n":"a","v":1,"bver":11}]', ["record 1", "field bver", "11"]),
        ('[{"n":"a","v":1,"v":2}]', ["'v'", "twice"]),
        ('[{"n":"a","v":NaN}]', ["NaN"]),
        ('[{"n":"a","v":1e999}]', ["record 1", "field v"]),
        ('[{"n":"a","v":1e308,"bv":1e308}]', ["record 1", "field v"]),
        ('[{"n":"a","v":1,"t":1e12}]', ["record 1", "field t"]),
        ('[{"n":"a","vd":"*"}]', ["record 1", "field vd"]),
        ('{"n":"a","v":1}', ["an object", "array"]),
        ("[5]", ["record 1", "an object"]),
        ("[]", ["empty"]),
        ("", ["not JSON"]),
        (b"\xff\xfe[\x00", ["not JSON in UTF-8"]),
        ("[" * 30_000, ["not JSON"]),
        ("x" * 70_000, ["70000 bytes", "65536"]),
    ],
)  # fmt: skip
def test_what_is_refused_is_named(pack, words):
    """Record, field, what it was and what was expected; on one line of bounded length."""
    with pytest.raises(InputError) as caught:
        parse_pack(pack, arrival_ms=0)
    assert all(word in str(caught.value) for word in words), str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 250


def test_too_many_records_are_refused():
    """A small pack can still be long."""
    pack = json.dumps([{"n": "a", "v": 1}] * (MOST_RECORDS + 1))
    with pytest.raises(InputError, match=str(MOST_RECORDS + 1)):
        parse_pack(pack, arrival_ms=0)
    assert len(parse_pack(pack, arrival_ms=0, most_records=None)) == MOST_RECORDS + 1


def test_a_relative_time_without_an_arrival_is_refused():
    """In a file nothing says from when it counts."""
    with pytest.raises(InputError, match="record 1, field t"):
        parse_pack('[{"n":"a","v":1,"t":-5}]', arrival_ms=None)


def test_unknown_fields_are_left_alone():
    """RFC 8428 §4.4: a receiver ignores what it does not know, unless the name ends in `_`."""
    (record,) = parse_pack('[{"n":"a","v":1,"battery":3.1}]', arrival_ms=0)
    assert record.value == 1.0


names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9\-:./_]{0,30}", fullmatch=True)
numbers = st.floats(allow_nan=False, allow_infinity=False)
contents = st.one_of(st.text(max_size=20), st.booleans(), st.binary(max_size=20))


@pytest.mark.slow
@given(
    st.lists(
        st.one_of(
            st.builds(
                SenmlRecord, name=names, time_ms=st.integers(2**28 * 1000, 2**33 * 1000 - 1), value=numbers,
                unit=st.sampled_from([None, "Cel", "%RH", "/"]), sum=st.one_of(st.none(), numbers),
            ),
            st.builds(
                SenmlRecord, name=names, time_ms=st.integers(2**28 * 1000, 2**33 * 1000 - 1), content=contents
            ),
        ),
        min_size=1, max_size=8,
    )
)  # fmt: skip
def test_written_packs_read_back_the_same(records):
    """Every record a probe of ours can make, to the millisecond and the last bit."""
    assert parse_pack(write_pack(records), arrival_ms=None) == tuple(records)


json_values = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=8)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=4), inner, max_size=3)
    ),
    max_leaves=6,
)
fields = st.sampled_from(
    ["n", "v", "t", "u", "bn", "bt", "bv", "bs", "bu", "bver", "s", "vs", "vb", "vd", "ut"]
)


@pytest.mark.slow
@given(st.lists(st.dictionaries(fields, json_values, max_size=5), max_size=4).map(json.dumps))
@example('[{"n":"a","v":1,"bver":1e300}]')
@example('[{"n":"a","v":' + "9" * 5000 + "}]")
@example('[{"n":"a","t":' + "9" * 400 + ',"v":1}]')
def test_nothing_but_input_error_comes_out_of_near_packs(text):
    """Right fields, any content."""
    _reads_or_refuses(text)


@given(st.binary(max_size=200))
def test_nothing_but_input_error_comes_out_of_bytes(data):
    """Whatever a radio makes of it."""
    _reads_or_refuses(data)


def _reads_or_refuses(data):
    try:
        records = parse_pack(data, arrival_ms=ARRIVAL_MS)
    except InputError:
        return
    assert all(isinstance(r, SenmlRecord) and r.name for r in records)
