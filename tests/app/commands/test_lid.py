"""lid and cover leave requests in the store; the watch alone carries them out."""

import pytest

from propstick.app import cli
from propstick.app.commands.lid import lid_words, opening_of
from propstick.edges.database import open_store
from propstick.edges.requests import Requests
from propstick.errors import InputError


@pytest.fixture
def garden(tmp_path):
    file = tmp_path / "garden.toml"
    file.write_text(
        '[site]\nname = "lane"\n[[box]]\nname = "north"\n'
        '[[probe]]\nid = "28-00000000000a"\nbox = "north"\nplace = "air"\n'
    )
    return file


@pytest.fixture
def requests(tmp_path):
    """The pending requests of the garden, once it has a store."""
    store = open_store(f"sqlite:///{tmp_path / 'propstick.db'}")
    yield lambda: [(r.kind, r.body, r.by) for r in Requests(store, "lane").pending()]
    store.close()


@pytest.mark.parametrize(
    ("words", "kind", "body"),
    [
        (["lid", "north", "0.3"], "lid", {"box": "north", "opening": 0.3}),
        (["lid", "north", "propped"], "lid", {"box": "north", "opening": 0.1}),
        (["lid", "north", "closed"], "lid", {"box": "north", "opening": 0.0}),
        (["lid", "north", "shut"], "lid", {"box": "north", "opening": 0.0}),
        (["lid", "north", "0,3"], "lid", {"box": "north", "opening": 0.3}),
        (["cover", "north", "on"], "cover", {"box": "north", "on": True}),
        (["cover", "north", "off"], "cover", {"box": "north", "on": False}),
    ],
)
def test_a_request_is_left_for_the_watch(garden, requests, words, kind, body):
    assert cli.main([*words, "--garden", str(garden)]) == 0
    assert requests() == [(kind, body, "command")]


@pytest.mark.parametrize(
    "words",
    [["lid", "nort", "0.3"], ["lid", "north", "30"], ["lid", "north", "ajar"], ["cover", "north", "half"]],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_left(garden, requests, capsys, words):
    assert cli.main([*words, "--garden", str(garden)]) == 2
    assert requests() == []
    wrong = words[1] if words[1] == "nort" else words[2]
    assert f"'{wrong}'" in capsys.readouterr().err


def test_without_a_store_there_is_nobody_to_ask(garden, capsys):
    assert cli.main(["lid", "north", "open", "--garden", str(garden)]) == 1
    assert "Try:" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["-0.1", "1.01", "nan", "inf", "", "30%"])
def test_an_opening_outside_0_to_1_is_refused(text):
    with pytest.raises(InputError):
        opening_of(text)


@pytest.mark.parametrize(("text", "hint"), [("30", "0.3"), ("30%", "0.3"), ("5 %", "0.05"), ("ajar", "")])
def test_a_share_in_a_hundred_is_told_how_to_write_it(text, hint):
    """Not taken as it is: 1 would be either."""
    with pytest.raises(InputError) as refused:
        opening_of(text)
    assert refused.value.hint == (f"{text.rstrip(' %')} % open is {hint}" if hint else "")


@pytest.mark.parametrize(
    ("opening", "words"),
    [(0.0, "lid closed"), (0.1, "lid 10 % open"), (0.35, "lid 35 % open"), (1.0, "lid fully open")],
)
def test_what_was_told_is_read_back(opening, words):
    """A slip of the thumb shows at once."""
    assert lid_words(opening) == words
