"""Answer links: good once, for a while, for what they were made for."""

import sqlite3
import threading

import pytest

from propstick.edges.answers import KEPT_S, Answers
from propstick.edges.database import open_store


@pytest.fixture
def store(tmp_path):
    """A new store."""
    made = open_store(f"sqlite:///{tmp_path}/a.db")
    yield made
    made.close()


def test_a_token_is_spent_once(store):
    """Looking does not spend it."""
    answers = Answers(store, "plot")
    token = answers.issue(["north.heat.x", "lane.heat.x"], now_s=0, lasts_s=60)
    assert answers.look(token).alarm_ids == ("north.heat.x", "lane.heat.x")
    assert answers.use(token, now_s=1) is None, "of two alarms one is to be named"
    used = answers.use(token, now_s=1, alarm_id="north.heat.x")
    assert (used.action, used.alarm_ids) == ("acknowledge", ("north.heat.x",))
    assert answers.use(token, now_s=1, alarm_id="north.heat.x") is None
    assert answers.use(token, now_s=1).alarm_ids == ("lane.heat.x",)
    assert answers.use(token, now_s=1) is None
    assert answers.look(token).used_s == 1


def test_of_many_who_answer_at_once_one_does(store):
    """Two taps, two phones."""
    answers = Answers(store, "plot")
    token = answers.issue(["a"], now_s=0, lasts_s=60)
    start, won = threading.Barrier(8), []

    def tap():
        start.wait()
        won.append(answers.use(token, now_s=1) is not None)

    threads = [threading.Thread(target=tap) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(won) == 1


@pytest.mark.parametrize("now_s", [60, 10_000, -601])
def test_a_token_has_its_time(store, now_s):
    """Not after it, and not by a clock set back."""
    answers = Answers(store, "plot")
    token = answers.issue(["a"], now_s=0, lasts_s=60)
    assert answers.use(token, now_s=now_s) is None
    assert answers.use(token, now_s=59) is not None


def test_another_sites_token_is_none(store):
    """And neither is what was never issued; the store keeps no token."""
    token = Answers(store, "plot").issue(["a"], now_s=0, lasts_s=60)
    assert Answers(store, "other").look(token) is None
    assert Answers(store, "plot").look("x") is None
    kept = sqlite3.connect(store.path).execute("SELECT token_hash FROM answer_tokens").fetchall()
    assert token not in str(kept)


def test_old_links_are_forgotten(store):
    """A week after they ran out, when the next is issued."""
    answers = Answers(store, "plot")
    old = answers.issue(["a"], now_s=0, lasts_s=60)
    answers.issue(["b"], now_s=60 + KEPT_S + 1, lasts_s=60)
    assert answers.look(old) is None
