"""Pass phrase and sessions in the store: nothing in it lets one in."""

import hashlib
import sqlite3

import pytest
from sqlalchemy import delete, insert, select

from propstick.edges import schema
from propstick.edges.access import AccessBook, Tries, token_hash
from propstick.edges.database import open_store
from propstick.errors import InputError

PHRASE = "wax arm and glass"


@pytest.fixture
def book(tmp_path):
    """The access side of a new store."""
    store = open_store(f"sqlite:///{tmp_path}/a.db")
    yield AccessBook(store, "plot")
    store.close()


def test_only_the_phrase_matches(book):
    """Not a part of it, not another case, not nothing."""
    assert not book.has_passphrase()
    assert not book.matches(PHRASE)
    book.set_passphrase(PHRASE, now_s=0)
    assert book.has_passphrase()
    assert book.matches(PHRASE)
    for other in ("", PHRASE[:-1], PHRASE.upper(), PHRASE + " ", "x" * 1000, "\ud800"):
        assert not book.matches(other)


def test_the_store_holds_neither_phrase_nor_token(book, tmp_path):
    """A copy of the file lets nobody in; the hash is scrypt with n = 2^14 (RFC 7914) and its own salt."""
    book.set_passphrase(PHRASE, now_s=0)
    token = book.open_session("x", now_s=0, lasts_s=60)
    kept = sqlite3.connect(tmp_path / "a.db").execute("SELECT value FROM settings").fetchone()[0]
    name, cost, salt, digest = kept.split("$")
    assert (name, cost) == ("scrypt", "16384,8,1")
    book.set_passphrase(PHRASE, now_s=0)
    again = sqlite3.connect(tmp_path / "a.db").execute("SELECT value FROM settings").fetchone()[0]
    assert salt not in again
    assert digest not in again
    everything = b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert PHRASE.encode() not in everything
    assert token.encode() not in everything


def test_scrypt_is_that_of_rfc_7914():
    """Section 12, third vector: P="pleaseletmein", S="SodiumChloride", N=16384, r=8, p=1."""
    made = hashlib.scrypt(b"pleaseletmein", salt=b"SodiumChloride", n=2**14, r=8, p=1, dklen=64)
    assert made.hex().startswith("7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2")


@pytest.mark.parametrize("phrase", ["", "short", "x" * 201])
def test_a_phrase_too_short_or_too_long_is_refused(book, phrase):
    """And the old one stays."""
    book.set_passphrase(PHRASE, now_s=0)
    with pytest.raises(InputError):
        book.set_passphrase(phrase, now_s=0)
    assert book.matches(PHRASE)


def test_a_session_has_an_end(book):
    """And is looked up by its hash only."""
    token = book.open_session("x", now_s=100, lasts_s=60)
    assert book.session_until(token_hash(token), now_s=159) == 160
    assert book.session_until(token_hash(token), now_s=160) is None
    assert book.session_until(token, now_s=100) is None
    book.close_session(token)
    assert book.session_until(token_hash(token), now_s=100) is None


def test_a_new_phrase_ends_sessions_and_waiting(book):
    """Whoever set it starts anew."""
    book.set_passphrase(PHRASE, now_s=0)
    token = book.open_session("x", now_s=0, lasts_s=60)
    book.note_tries(Tries(9, 60), now_s=0)
    book.set_passphrase("another three words", now_s=0)
    assert book.session_until(token_hash(token), now_s=0) is None
    assert book.tries() == Tries()


def test_removing_the_phrase(book):
    """True where there was one."""
    assert not book.remove_passphrase()
    book.set_passphrase(PHRASE, now_s=0)
    assert book.remove_passphrase()
    assert not book.has_passphrase()


def test_each_site_has_its_own_phrase_sessions_and_waiting(store):
    """Two gardens of one database: what is done at one changes nothing for the other."""
    east, west = AccessBook(store, "east"), AccessBook(store, "west")
    east.set_passphrase(PHRASE, now_s=0)
    assert not west.has_passphrase()
    assert not west.matches(PHRASE)
    west.set_passphrase("quite another phrase", now_s=0)
    assert east.matches(PHRASE)
    token, other = (book.open_session("x", now_s=0, lasts_s=60) for book in (east, west))
    assert west.session_until(token_hash(token), now_s=1) is None
    west.close_session(token)
    assert east.session_until(token_hash(token), now_s=1) == 60
    west.note_tries(Tries(9, 60), now_s=0)
    assert east.tries() == Tries()
    west.set_passphrase("a third one now", now_s=0)
    assert east.session_until(token_hash(token), now_s=1) == 60
    assert west.session_until(token_hash(other), now_s=1) is None
    assert west.remove_passphrase()
    assert east.has_passphrase()
    assert east.session_until(token_hash(token), now_s=1) == 60


def test_a_phrase_of_a_release_before_opens_a_store_of_one_garden_only(store):
    """It had no garden's name; the first phrase that is set anew takes its place."""
    lone, old = AccessBook(store, "east"), {"name": "passphrase", "changed_s": 0}
    lone.set_passphrase(PHRASE, now_s=0)
    with store.write() as connection:
        kept = connection.scalar(select(schema.settings.c.value))
        connection.execute(delete(schema.settings))
        connection.execute(insert(schema.settings).values(value=kept, **old))
    assert lone.matches(PHRASE)
    store.site("east"), store.site("west")
    assert not AccessBook(store, "west").has_passphrase()
    assert not lone.has_passphrase()


def test_a_new_phrase_leaves_none_from_before(store):
    lone = AccessBook(store, "east")
    with store.write() as connection:
        connection.execute(insert(schema.settings).values(name="passphrase", value="old", changed_s=0))
    lone.set_passphrase(PHRASE, now_s=0)
    assert lone.remove_passphrase()
    assert not lone.has_passphrase()
