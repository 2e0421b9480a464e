"""Who gets in: pass phrase, sessions, and how wrong phrases are slowed."""

import pytest

from propstick.edges.access import AccessBook
from propstick.edges.database import open_store
from propstick.testing import HandClock
from propstick_api.gate import LONGEST_WAIT_S, REMEMBERED_S, SESSION_S, Gate, is_loopback

PHRASE = "wax arm and glass"


class Sight:
    """A gate with its store and clocks."""

    def __init__(self, folder, listen="127.0.0.1"):
        self.book = AccessBook(open_store(f"sqlite:///{folder}/gate.db"), "plot")
        self.clock = HandClock()
        self.gate = Gate(lambda: self.book, listen=listen, clock=self.clock, monotonic=self.clock.monotonic_s)


@pytest.fixture
def sight(tmp_path):
    found = Sight(tmp_path)
    found.book.set_passphrase(PHRASE, now_s=int(found.clock.wall_s()))
    return found


@pytest.mark.parametrize(
    ("listen", "is_own"),
    [("127.0.0.1", True), ("127.8.8.8", True), ("localhost", True), ("::1", True), ("[::1]", True),
     ("0.0.0.0", False), ("::", False), ("192.168.1.7", False), ("pi.local", False), ("", False)],
)  # fmt: skip
def test_loopback_is_what_other_machines_cannot_reach(listen, is_own):
    """RFC 1122 section 3.2.1.3 and RFC 4291 section 2.5.3."""
    assert is_loopback(listen) is is_own


def test_without_a_phrase_this_machine_gets_in_and_no_other(tmp_path):
    """Loopback asks for nothing; a network address always asks."""
    assert not Sight(tmp_path).gate.is_asking()
    assert Sight(tmp_path, "0.0.0.0").gate.is_asking()


def test_a_phrase_set_while_serving_counts_at_once(tmp_path):
    """Within seconds, without a restart."""
    sight = Sight(tmp_path)
    assert not sight.gate.is_asking()
    sight.book.set_passphrase(PHRASE, now_s=0)
    sight.clock.advance(5)
    assert sight.gate.is_asking()


def test_the_phrase_gives_a_session_that_lasts_and_ends(sight):
    """Good now and in a month; not after its time."""
    token = sight.gate.sign_in(PHRASE, label="browser")
    assert sight.gate.lets_in(token)
    assert sight.gate.remembers(token)
    assert not sight.gate.lets_in(token + "x")
    sight.clock.advance(30 * 86_400)
    assert sight.gate.lets_in(token)
    sight.clock.advance(SESSION_S)
    assert not sight.gate.lets_in(token)
    assert not sight.gate.remembers(token)


def test_signing_out_ends_a_session_for_good(sight):
    """Also what was remembered of it."""
    token = sight.gate.sign_in(PHRASE, label="browser")
    assert sight.gate.lets_in(token)
    sight.gate.sign_out(token)
    assert not sight.gate.remembers(token)
    assert not sight.gate.lets_in(token)


def test_a_new_phrase_signs_everybody_out(sight):
    """At the latest when what was remembered has run out."""
    token = sight.gate.sign_in(PHRASE, label="browser")
    assert sight.gate.lets_in(token)
    sight.book.set_passphrase("another three words", now_s=0)
    sight.clock.advance(REMEMBERED_S + 1)
    assert not sight.gate.remembers(token)
    assert not sight.gate.lets_in(token)


def test_wrong_phrases_wait_ever_longer_and_the_right_one_clears_it(sight):
    """Three are free; then waits double, up to a minute, and even the right phrase has to wait."""
    waits = []
    for _ in range(12):
        while isinstance(left_s := sight.gate.sign_in("wrong phrase", label="x"), int):
            waits.append(left_s)
            sight.clock.advance(left_s)
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert sight.gate.sign_in(PHRASE, label="x") == LONGEST_WAIT_S
    sight.clock.advance(LONGEST_WAIT_S)
    assert isinstance(sight.gate.sign_in(PHRASE, label="x"), str)
    assert sight.book.tries().failed == 0


def test_a_restart_is_no_way_around_waiting(sight):
    """The tries are in the store."""
    for _ in range(4):
        sight.gate.sign_in("wrong phrase", label="x")
    other = Gate(lambda: sight.book, listen="0.0.0.0", clock=sight.clock)
    assert isinstance(other.sign_in(PHRASE, label="x"), int)


def test_a_clock_set_back_keeps_nobody_out(sight):
    """A wait longer than the longest was written by a clock that was wrong."""
    for _ in range(4):
        sight.gate.sign_in("wrong phrase", label="x")
    sight.clock.advance(-86_400)
    assert isinstance(sight.gate.sign_in(PHRASE, label="x"), str)
