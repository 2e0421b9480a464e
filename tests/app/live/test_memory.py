"""What the watch keeps in memory does not grow with the rows it has done."""

import gc
import sys
from statistics import median

import pytest
from tests.faults.season import Season

ROWS = 100


@pytest.fixture
def season(tmp_path):
    season = Season(tmp_path, seed=1)
    yield season
    season.assembly.close()


def kept_a_row(season, stretches, *, forgets=True):
    """Small objects that outlive their row: in the middle one of some stretches, for what is kept once a date
    or an alarm shows in one or two of them, what is kept of every row in all."""
    grown = []
    for _ in range(stretches):
        before = blocks(season, forgets)
        rows(season)
        grown.append(blocks(season, forgets) - before)
    return median(grown) / ROWS


def rows(season):
    for _ in range(ROWS):
        watch = season.assembly.watch
        watch.do_row(watch._rows.next_row())
        season.assembly.delivery.work_once()


def blocks(season, forgets):
    if forgets:
        season.forget()
    gc.collect()
    return sys.getallocatedblocks()


@pytest.mark.slow
def test_no_row_leaves_anything_behind(season):
    """Half a day of the whole watch on a real store; then the fakes' own lists show that it would be seen."""
    for _ in range(5):
        rows(season)
    assert kept_a_row(season, 5) < 0.5
    assert kept_a_row(season, 3, forgets=False) >= 2.0  # the row and the wait, as the fakes note them
