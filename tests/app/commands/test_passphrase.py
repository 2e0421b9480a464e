"""`propstick passphrase`."""

import io
import sys

import pytest

from propstick.app.cli import main
from propstick.edges.access import AccessBook, token_hash
from propstick.edges.database import open_store


@pytest.fixture
def garden(tmp_path, monkeypatch):
    """A garden file; the command makes the store if the watch has not yet."""
    path = tmp_path / "garden.toml"
    path.write_text(
        f'[site]\nname = "plot"\n[store]\nurl = "sqlite:///{tmp_path}/p.db"\n[[box]]\nname = "north"\n'
    )
    monkeypatch.chdir(tmp_path)
    return path


def _book(garden):
    return AccessBook(open_store(f"sqlite:///{garden.parent}/p.db"), "plot")


def _type(monkeypatch, text):
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))


def test_a_phrase_from_standard_input_is_set_and_not_shown(garden, monkeypatch, capsys):
    """Nothing of it is printed."""
    _type(monkeypatch, "wax arm and glass\n")
    assert main(["passphrase", "--garden", str(garden), "--stdin"]) == 0
    assert _book(garden).matches("wax arm and glass")
    shown = capsys.readouterr()
    assert "wax" not in shown.out + shown.err


def test_asked_twice_it_must_be_the_same(garden, monkeypatch, capsys):
    """Two different ones are refused, and nothing is set."""
    answers = iter(["wax arm and glass", "wax arm and grass"])
    monkeypatch.setattr("getpass.getpass", lambda _prompt: next(answers))
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    assert main(["passphrase", "--garden", str(garden)]) == 2
    assert "the same twice" in capsys.readouterr().err


def test_without_a_terminal_it_does_not_ask(garden, monkeypatch, capsys):
    """It names the option for scripts."""
    _type(monkeypatch, "")
    assert main(["passphrase", "--garden", str(garden)]) == 2
    assert "--stdin" in capsys.readouterr().err


def test_a_short_phrase_is_refused(garden, monkeypatch):
    """Exit 2."""
    _type(monkeypatch, "short\n")
    assert main(["passphrase", "--garden", str(garden), "--stdin"]) == 2
    assert not _book(garden).has_passphrase()


def test_a_token_is_printed_alone_and_is_good(garden, monkeypatch, capsys):
    """On standard output, so that a script can take it; none without a phrase."""
    assert main(["passphrase", "--garden", str(garden), "--token", "display"]) == 2
    _type(monkeypatch, "wax arm and glass\n")
    main(["passphrase", "--garden", str(garden), "--stdin"])
    capsys.readouterr()
    assert main(["passphrase", "--garden", str(garden), "--token", "display"]) == 0
    token = capsys.readouterr().out.strip()
    assert _book(garden).session_until(token_hash(token), now_s=0) is not None
    assert main(["passphrase", "--garden", str(garden), "--remove"]) == 0
    assert _book(garden).session_until(token_hash(token), now_s=0) is None
