"""A store of the release before: it gets its parts, and is cared for while it has none."""

from sqlalchemy import text
from tests.edges.partitions.parted import NOW_S, at, commit, parts_of

from propstick.edges import migrations, partitions, schema
from propstick.edges.database import _checked, _engine, open_store
from propstick.edges.maintenance import prune
from propstick.edges.partitions import PARTED, drop_unkept, make_ahead
from propstick.edges.store import Store


def test_a_store_of_the_first_release_gets_its_parts(url):
    """Every row moves with its values, that of 1970 into the rest; a second migration changes nothing."""
    old = Store(_engine(_checked(url)))
    migrations.upgrade(old, "0001")
    hours = f"generate_series({at(2025, 11, 1) // 3600}, {at(2026, 2, 20) // 3600 - 1}) t"
    with old.write() as connection:
        for statement in (
            "INSERT INTO sites (name) VALUES ('home')",
            "INSERT INTO readings SELECT 1, t * 3600000::bigint, p, t % 997, 0 FROM "
            f"{hours}, generate_series(1, 3) p",
            "INSERT INTO readings VALUES (1, 5000, 1, NULL, 2)",
            f"INSERT INTO reading_hours SELECT 1, p, t, 1, 2, 3, 4 FROM {hours}, generate_series(1, 3) p",
            f"INSERT INTO heat_forecasts VALUES (1, {at(2026, 2, 3)}, 'north', 2700, 1, 2, 3)",
        ):
            connection.execute(text(statement))
    sums = (
        "SELECT count(*), sum(time_ms::numeric * probe), sum(raw_cc) FROM readings",
        "SELECT count(*), sum(hour::numeric * probe), sum(total_cc) FROM reading_hours",
        "SELECT count(*), sum(issued_s), sum(p60_permille) FROM heat_forecasts",
    )

    def summed(store):
        with store.read() as connection:
            return [tuple(connection.execute(text(query)).one()) for query in sums]

    before = summed(old)
    old.close()
    page = open_store(url)  # nobody but the watch changes anything
    assert (page.revision(), summed(page)) == ("0001", before)
    page.close()
    for _ in range(2):
        migrated = open_store(url, migrate=True)
        assert migrated.revision() == schema.REVISION
        assert summed(migrated) == before
        day = 24 * 3
        assert parts_of(migrated) == {
            "readings_2025_11": 30 * day, "readings_2025_12": 31 * day, "readings_2026_01": 31 * day,
            "readings_2026_02": 19 * day, "readings_2026_03": 0, "readings_2026_04": 0, "readings_rest": 1,
        }  # fmt: skip
        assert parts_of(migrated, "heat_forecasts") == {"heat_forecasts_2026": 1, "heat_forecasts_rest": 0}
        migrated.close()


def test_a_store_without_parts_is_cared_for_as_far_as_it_goes(url):
    """Should the migration have been put off, the daily care leaves the tables as they are."""
    old = Store(_engine(_checked(url)))
    migrations.upgrade(old, "0001")
    make_ahead(old, NOW_S)
    partitions.keep(old, None, 30)
    assert drop_unkept(old) == ()
    with old.read() as connection:
        assert not any(partitions.is_parted(connection, each.table) for each in PARTED)
    commit(old, at(2026, 1, 1), NOW_S)
    assert prune(old, now_s=NOW_S, keep_days=30, site="home") == 1
    old.close()
