"""However rows are cut into blocks, and wherever they end, the engine says the same: to the last bit."""

import itertools
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from propstick.blocks import Block
from propstick.codec import to_text
from propstick.engine import snapshot
from propstick.engine.pipeline import begin
from propstick.news import Acknowledged, CoverTold, GardenChanged, LidTold, ServiceChanged, Shelved, Trouble

START_S = 1_772_409_600
RELAXED = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def same(a, b, path=""):
    """Asserts that two values agree in every bit, NaN included."""
    if is_dataclass(a):
        for f in fields(a):
            same(getattr(a, f.name), getattr(b, f.name), f"{path}.{f.name}")
    elif isinstance(a, np.ndarray):
        np.testing.assert_array_equal(a, b, err_msg=path)
    elif isinstance(a, dict):
        assert a.keys() == b.keys(), path
        for key in a:
            same(a[key], b[key], f"{path}[{key}]")
    else:
        assert a == b, path


def said(result):
    """All that was said, one line each: a difference shows where it begins."""
    return [to_text(x) for x in (*result.changes, *result.notices, *result.briefs, *result.lids)]


@pytest.fixture(scope="module")
def news(garden, whole_without_news):
    """A person and a watch at work during the three days."""
    ids = [c.alarm.id for c in whole_without_news.changes if c.event == "raised"]
    day = START_S + 86_400
    warmer = replace(garden, limits=replace(garden.limits, heat_c=24.0))
    hours = (
        LidTold(time_s=START_S + 9 * 3600, box="north", opening=1.0),
        LidTold(time_s=START_S + 17 * 3600 + 30, box="north", opening=0.0),
        CoverTold(time_s=START_S + 18 * 3600, box="lane", on=True),
        Trouble(time_s=START_S + 20 * 3600, kind="store-trouble", active=True, detail="disk full"),
        Trouble(time_s=START_S + 20 * 3600 + 60, kind="store-trouble", active=True, detail="disk full"),
        Trouble(time_s=START_S + 21 * 3600, kind="store-trouble", active=False),
        GardenChanged(time_s=day + 10 * 3600 + 7 * 60, garden=warmer),
        ServiceChanged(time_s=day + 11 * 3600, box="lane", in_service=False),
        ServiceChanged(time_s=day + 13 * 3600, box="lane", in_service=True),
    )
    first = whole_without_news.changes[0].time_s
    person = (
        Acknowledged(time_s=first + 600, alarm_id=ids[0]),
        Shelved(time_s=day + 12 * 3600, alarm_id=ids[1], until_s=day + 15 * 3600),
    )
    return (*hours, *person)


@pytest.fixture(scope="module")
def whole_without_news(garden, season, feed):
    return feed(begin(garden, foresight=False), [season])


@pytest.fixture(scope="module")
def whole(garden, season, news, feed):
    return feed(begin(garden, foresight=False), [season], news)


def cut_at(block, cuts):
    edges = [0, *sorted(cuts), len(block)]
    return [block.cut(a, b) for a, b in itertools.pairwise(edges) if b > a]


def test_season_has_something_of_everything(whole):
    """The season the next tests cut is worth cutting."""
    kinds = set(whole.kinds())
    assert {"heat", "frost", "probe-silent", "probe-jump", "probe-stuck", "store-trouble"} <= kinds
    assert {"returned", "acknowledged", "out-of-service"} <= {c.event for c in whole.changes}
    assert whole.notices
    assert len(whole.briefs) == 6


@pytest.mark.slow
@RELAXED
@given(cuts=st.sets(st.integers(1, 3 * 1440 - 1), max_size=40))
def test_chopping_changes_nothing(garden, season, news, whole, feed, cuts):
    """Random cuts: the same flags, alarms, notices, briefs and the same state at the end."""
    chopped = feed(begin(garden, foresight=False), cut_at(season, cuts), news)
    assert said(chopped) == said(whole)
    np.testing.assert_array_equal(chopped.flags, whole.flags)
    same(chopped.state, whole.state)


@pytest.mark.slow
def test_row_by_row_is_the_same_as_whole(garden, season, news, whole, feed):
    """One row at a time, as in life."""
    rows = feed(begin(garden, foresight=False), cut_at(season, range(1, len(season))), news)
    assert said(rows) == said(whole)
    same(rows.state, whole.state)


@pytest.mark.slow
@RELAXED
@given(end=st.integers(1, 3 * 1440 - 1))
def test_cutting_changes_nothing_said_before(garden, season, news, whole, feed, end):
    """The engine does not look ahead: what it said up to a row is the same if the recording ends there."""
    last_s = START_S + 60 * (end - 1)
    short = feed(
        begin(garden, foresight=False), [season.cut(0, end)], [item for item in news if item.time_s <= last_s]
    )
    assert short.changes == tuple(c for c in whole.changes if c.time_s <= last_s)
    assert short.notices == tuple(x for x in whole.notices if x.issued_s <= last_s)
    assert short.briefs == tuple(x for x in whole.briefs if x.issued_s <= last_s)
    np.testing.assert_array_equal(short.flags, whole.flags[:end])


@pytest.mark.slow
@pytest.mark.parametrize("cut", [777, 1440, 2103, 2641, 3900])
def test_a_snapshot_resumes_to_the_bit(garden, season, news, whole, feed, cut):
    """Stopped, saved, loaded, continued: the rest is the same."""
    at_s = START_S + 60 * cut
    first = feed(begin(garden, foresight=False), [season.cut(0, cut)], [x for x in news if x.time_s < at_s])
    state = snapshot.load(snapshot.dump(first.state))
    rest = feed(state, [season.cut(cut, len(season))], [x for x in news if x.time_s >= at_s])
    assert first.changes + rest.changes == whole.changes
    assert first.notices + rest.notices == whole.notices
    assert first.briefs + rest.briefs == whole.briefs
    same(rest.state, whole.state)


@pytest.mark.slow
def test_missing_rows_are_rows_without_readings(garden, season, feed):
    """A gap between two calls gives what explicit empty rows give."""
    empty = season.cut(600, 2500)
    holes = Block(
        empty.start_s, 60, season.probes, np.full(empty.values.shape, np.nan), np.zeros_like(empty.flags)
    )
    after = season.cut(2500, len(season))
    explicit = feed(begin(garden, foresight=False), [season.cut(0, 600), holes, after])
    implicit = feed(begin(garden, foresight=False), [season.cut(0, 600), after])
    assert said(implicit) == said(explicit)
    same(implicit.state, explicit.state)


def test_the_order_of_columns_does_not_matter(garden, season, whole_without_news, feed):
    """Columns come as they come; an unassigned one is range-checked and otherwise let be."""
    order = [6, 0, 3, 2, 5, 1, 4]
    values = np.concatenate([season.values[:, order], np.full((len(season), 1), 300.0)], axis=1)
    flags = np.concatenate([season.flags[:, order], np.zeros((len(season), 1), dtype=np.uint16)], axis=1)
    ids = (*(season.probes[c] for c in order), "stray")
    mixed = feed(begin(garden, foresight=False), [Block(START_S, 60, ids, values, flags)])
    assert said(mixed) == said(whole_without_news)
    np.testing.assert_array_equal(mixed.flags[:, :7], whole_without_news.flags[:, order])
    assert (mixed.flags[:, 7] == 1).all()
