"""A store on PostgreSQL in an empty corner of the server, in February 2026."""

import itertools
from types import SimpleNamespace

import pytest
from sqlalchemy import text
from tests.edges.partitions.parted import NOW_S

from propstick.edges.database import _checked, _engine, open_store

_numbers = itertools.count()


@pytest.fixture
def url(postgresql_url, monkeypatch):
    """The address of an empty corner of the server; it is February 2026."""
    corner = f"corner_{next(_numbers)}"
    engine = _engine(_checked(postgresql_url))
    with engine.begin() as connection:
        connection.execute(text(f"DROP SCHEMA IF EXISTS {corner} CASCADE"))
        connection.execute(text(f"CREATE SCHEMA {corner}"))
    engine.dispose()
    for module in ("database", "readings", "copying"):
        monkeypatch.setattr(f"propstick.edges.{module}.time", SimpleNamespace(time=lambda: NOW_S))
    return f"{postgresql_url}&options=-csearch_path%3D{corner}"


@pytest.fixture
def parted(url):
    opened = open_store(url)
    yield opened
    opened.close()
