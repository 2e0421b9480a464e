"""What people ask for waits for the watch, once, whoever asks and however often they press."""

import threading

import pytest

from propstick.edges.database import open_store
from propstick.edges.journal import Journal
from propstick.edges.requests import Requests
from propstick.records import Outcome, Reading


def test_request_waits_as_it_was_made(store):
    """Oldest first, with who asked and when."""
    requests = Requests(store, "home")
    first = requests.add("lid", {"box": "nörth", "opening": 0.3}, by="page", made_s=5)
    second = requests.add("watered", {"box": "north"}, by="command", made_s=4)
    assert [(r.id, r.kind, r.body, r.by, r.made_s) for r in requests.pending()] == [
        (first, "lid", {"box": "nörth", "opening": 0.3}, "page", 5),
        (second, "watered", {"box": "north"}, "command", 4),
    ]


def test_same_key_is_the_same_request(store):
    """A button pressed twice, a message delivered twice; without a key each counts."""
    requests = Requests(store, "home")
    assert requests.add("cover", {"on": True}, by="page", key="k") == requests.add(
        "cover", {}, by="page", key="k"
    )
    assert requests.add("cover", {}, by="page") != requests.add("cover", {}, by="page")
    assert Requests(store, "plot").add("cover", {}, by="page", key="k") not in [
        r.id for r in requests.pending()
    ]
    assert len(requests.pending()) == 3


def test_refused_is_answered_with_its_reason(store):
    """The page can tell the person why nothing happened."""
    requests = Requests(store, "home")
    asked = requests.add("lid", {"box": "nowhere"}, by="page")
    requests.refuse(asked, "no box 'nowhere'", row_s=60)
    assert requests.pending() == []
    assert requests.get(asked).refused == "no box 'nowhere'"
    assert requests.get(10**6) is None


@pytest.mark.slow
def test_page_and_watch_write_at_the_same_time(store_url):
    """Two openings of one file, a hundred writes each: all there, nobody refused."""
    watch, page = open_store(store_url), open_store(store_url)
    journal, requests, failed = Journal(watch, "home"), Requests(page, "home"), []

    def ask():
        try:
            for k in range(100):
                requests.add("watered", {"k": k}, by="page")
        except Exception as error:
            failed.append(error)

    asking = threading.Thread(target=ask)
    asking.start()
    for k in range(100):
        journal.commit(row_s=60 * k, readings=[Reading("a", 60_000 * k, k / 2)], outcome=Outcome())
    asking.join()
    assert failed == []
    assert len(requests.pending()) == 100
    assert journal.last_row() == 60 * 99
    watch.close()
    page.close()
