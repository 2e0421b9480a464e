"""The chain of migrations arrives at the schema that a fresh store is made with."""

import re
import sqlite3
from contextlib import contextmanager

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import inspect, text

from propstick.edges import migrations, schema
from propstick.edges.database import _checked, _engine, open_store
from propstick.edges.store import Store


def words_of(path):
    """The words of every table and index, sorted: the order of constraints says nothing."""
    with sqlite3.connect(path) as connection:
        found = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    return {name: sorted(re.findall(r"[^\s(),]+", sql)) for name, sql in found}


def difference(store):
    """What Alembic would still change. A part of a table is no table of the schema."""

    def is_ours(name, kind, _parents):
        return kind != "table" or name not in parts

    with store.read() as connection:
        query = "SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid"
        parts = set() if store.is_sqlite else set(connection.scalars(text(query)))
        context = MigrationContext.configure(connection, opts={"include_name": is_ours})
        return compare_metadata(context, schema.metadata)


def words_of_server(store, where):
    """Columns, constraints, indexes and what tables are parted by, as the server says them."""
    queries = (
        "SELECT table_name, column_name, data_type, is_nullable, column_default FROM "
        "information_schema.columns WHERE table_schema = :s ORDER BY 1, 2",
        "SELECT conrelid::regclass::text, conname, replace(pg_get_constraintdef(oid), :s || '.', '') FROM "
        "pg_constraint WHERE connamespace = to_regnamespace(:s) ORDER BY 1, 2",
        "SELECT relname, pg_get_partkeydef(oid) FROM pg_class WHERE relkind = 'p' "
        "AND relnamespace = to_regnamespace(:s) ORDER BY 1",
        "SELECT indexname, replace(indexdef, :s || '.', '') FROM pg_indexes WHERE schemaname = :s ORDER BY 1",
    )
    month = re.compile(r"_\d{4}(_\d\d)?|_rest")
    with store.read() as connection:
        return [
            [row for row in connection.execute(text(query), {"s": where}).all() if not month.search(str(row))]
            for query in queries
        ]


def test_migrations_make_what_a_fresh_store_has(tmp_path):
    """Table by table, column by column, constraint by constraint."""
    open_store(f"sqlite:///{tmp_path / 'fresh.db'}").close()
    migrated = Store(_engine(_checked(f"sqlite:///{tmp_path / 'migrated.db'}")))
    migrations.upgrade(migrated)
    assert migrated.revision() == schema.REVISION
    assert difference(migrated) == []
    migrated.close()
    fresh = words_of(tmp_path / "fresh.db")
    assert len(fresh) > len(schema.metadata.tables)
    assert words_of(tmp_path / "migrated.db") == fresh


def test_migrations_make_the_same_on_postgresql(postgresql_url, postgresql_store):
    """Compared by Alembic itself, which finds no difference left."""
    with postgresql_store.write() as connection:
        connection.execute(text("DROP SCHEMA IF EXISTS migrated CASCADE"))
        connection.execute(text("CREATE SCHEMA migrated"))
    elsewhere = Store(_engine(_checked(f"{postgresql_url}&options=-csearch_path%3Dmigrated")))
    migrations.upgrade(elsewhere)
    with elsewhere.read() as connection:
        assert "readings" in inspect(connection).get_table_names()
    assert difference(elsewhere) == []
    found, wanted = words_of_server(elsewhere, "migrated"), words_of_server(postgresql_store, "public")
    assert len(wanted[2]) == 3
    assert [set(map(str, each)) for each in found] == [set(map(str, each)) for each in wanted]
    elsewhere.close()


def test_watch_migrates_after_a_backup(tmp_path, monkeypatch):
    """The store as it was lies beside it before anything is changed."""
    url = f"sqlite:///{tmp_path / 'store.db'}"
    store = open_store(url)
    store.site("home")
    with store.write() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0000'"))
    store.close()
    ran = []

    def upgrade(store):
        assert list(tmp_path.glob("store.db.revision-0000-*Z"))
        ran.append(store.revision())

    monkeypatch.setattr(migrations, "upgrade", upgrade)
    open_store(url, migrate=True).close()
    assert ran == ["0000"]
    (copy,) = tmp_path.glob("store.db.revision-0000-*Z")
    kept = open_store(f"sqlite:///{copy}", migrate=True)
    assert kept.site_names() == ("home",)
    kept.close()


def test_migration_cut_off_half_way_has_not_happened(tmp_path, monkeypatch):
    """All of it is one transaction: after a power cut the old revision is still there, whole."""
    store = Store(_engine(_checked(f"sqlite:///{tmp_path / 'store.db'}")))
    real = store.write

    class PowerCut(Exception):
        pass

    @contextmanager
    def cut():
        with real() as connection:
            yield connection
            raise PowerCut

    monkeypatch.setattr(store, "write", cut)
    with pytest.raises(PowerCut):
        migrations.upgrade(store)
    monkeypatch.undo()
    assert store.revision() is None
    store.close()
