"""Everything in every table goes from one database to the other and back unchanged."""

from propstick.edges import schema
from propstick.edges.copying import copy_rows
from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.lease import this_process
from propstick.edges.requests import Requests
from propstick.edges.sowings import Sowings
from propstick.news import LidTold
from propstick.records import Outcome, Reading

ROW_S = 1_770_000_000 // 3600 * 3600


def contents(store):
    """Every row of every table, by its key."""
    found = {}
    with store.read() as connection:
        for table in schema.metadata.sorted_tables:
            rows = connection.execute(table.select().order_by(*table.primary_key.columns))
            found[table.name] = [tuple(row) for row in rows]
    return found


def test_to_a_server_and_back_nothing_changes(
    sqlite_store, postgresql_store, tmp_path, make_change, make_notice
):
    """Numbers, texts, bytes, days, truth values; doing it twice changes nothing either."""
    journal = Journal(sqlite_store, "home")
    journal.take_lease(this_process(), ROW_S)
    asked = Requests(sqlite_store, "home").add("lid", {"box": "nörth"}, by="page", key="k", made_s=ROW_S)
    Sowings(sqlite_store, "home").add({"crop": "leek", "box": "north", "sown": "2026-02-01"}, by="x", at_s=9)
    for k in range(3):
        row_s = ROW_S + 3600 * k
        journal.commit(
            row_s=row_s,
            readings=[Reading("28-1", row_s * 1000, -0.06), Reading("28-2", row_s * 1000, None, 4)],
            outcome=Outcome(changes=(make_change(row_s),), notices=(make_notice(row_s),)),
            route=lambda _: ("phone",),
            news=[LidTold(time_s=row_s, box="north", opening=0.1)],
            requests_done=[asked],
            checkpoint=bytes(range(256)),
            status={"row": row_s},
        )
    told = []
    copy_rows(sqlite_store, postgresql_store, lambda done, of: told.append((done, of)))
    copy_rows(sqlite_store, postgresql_store)
    assert contents(postgresql_store) == contents(sqlite_store)
    assert told[-1] == (len(schema.metadata.tables), len(schema.metadata.tables))
    back = open_store(f"sqlite:///{tmp_path / 'back.db'}")
    copy_rows(postgresql_store, back)
    assert contents(back) == contents(sqlite_store)
    assert sum(len(rows) for rows in contents(back).values()) > 30
    back.close()
