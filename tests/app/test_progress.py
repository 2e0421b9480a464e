"""The bar shows itself on a terminal, after two seconds, and leaves nothing behind."""

import io

import pytest

from propstick.app.progress import Progress


class Screen(io.StringIO):
    def __init__(self, *, terminal):
        super().__init__()
        self._terminal = terminal

    def isatty(self):
        return self._terminal


class Seconds:
    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


@pytest.fixture
def drawn():
    """What is written when steps are told at given seconds, as (second, done)."""

    def draw(*steps, terminal=True, total=100):
        screen, seconds = Screen(terminal=terminal), Seconds()
        with Progress("reading", total=total, stream=screen, monotonic=seconds) as bar:
            for seconds.now, done in steps:
                bar.to(done)
        return screen.getvalue()

    return draw


def test_quick_work_shows_nothing(drawn):
    assert drawn((0.5, 10), (1.9, 99)) == ""


def test_long_work_shows_share_and_time_left_and_wipes_itself(drawn):
    text = drawn((4.0, 25))
    assert " 25%, 12 s left" in text  # 4 s for a quarter: 12 s for the rest
    assert text.endswith("\r\x1b[K")


def test_a_pipe_gets_nothing(drawn):
    assert drawn((5.0, 50), (9.0, 90), terminal=False) == ""


def test_without_a_total_it_counts(drawn):
    assert "reading: 1,234" in drawn((3.0, 1234), total=None)


def test_it_does_not_flicker(drawn):
    assert drawn((3.0, 1), (3.05, 2), (3.1, 3)).count("reading") == 1
